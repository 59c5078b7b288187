"""Nearest reading: the plainest interpolator, and the example for writing another."""

from __future__ import annotations

import copy
from typing import ClassVar, Self

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lakemap.grid.distance_error import learn_distance_error
from lakemap.grid.fit_variogram import fit_variogram
from lakemap.grid.interpolator import Interpolator
from lakemap.grid.settings import GridSettings
from lakemap.model.observations import Observations
from lakemap.model.soundings import PassBias

Floats = NDArray[np.float64]


class Nearest(Interpolator):
    """The value of the nearest reading; its error is what left-out readings were missed by at that distance."""

    name: ClassVar[str] = "nearest"

    def __init__(self, pixel_m: float = 1.0) -> None:
        self._pixel_m = pixel_m

    @classmethod
    def for_grid(cls, settings: GridSettings, pixel_m: float, pass_bias: PassBias) -> Self:
        """Needs no setting but the pixel."""
        return cls(pixel_m)

    def fit(self, obs: Observations) -> Self:
        """Learn how errors grow with distance."""
        self._error = learn_distance_error(obs, nearest_value)
        self.reach_m = fit_variogram(obs, self._pixel_m).supported_m
        return self._hold(obs)

    def with_data(self, obs: Observations) -> Self:
        """A copy with the same errors and other readings."""
        return copy.copy(self)._hold(obs)

    def _hold(self, obs: Observations) -> Self:
        self._obs, self._tree = obs, cKDTree(obs.xy)
        return self

    def predict(self, xy: Floats) -> tuple[Floats, Floats]:
        """Value of the nearest reading and its error at that distance (m,)."""
        lag, row = self._tree.query(xy)
        return self._obs.value[row], self._error.at(lag)


def nearest_value(obs: Observations, at: Floats) -> Floats:
    """Value of the reading nearest to each place ``at`` (m, 2)."""
    return np.asarray(obs.value[cKDTree(obs.xy).query(at)[1]])
