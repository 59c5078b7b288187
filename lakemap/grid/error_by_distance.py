"""What the plain interpolators share: an error learnt from the distance at which left-out readings were missed."""

from __future__ import annotations

import copy
from abc import abstractmethod
from typing import Self

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lakemap.grid.distance_error import DistanceError, learn_distance_error
from lakemap.grid.fit_variogram import fit_variogram
from lakemap.grid.interpolator import Interpolator
from lakemap.grid.settings import GridSettings
from lakemap.model.observations import Observations
from lakemap.model.soundings import PassBias

Floats = NDArray[np.float64]


class ErrorByDistance(Interpolator):
    """Some way to a value at a place; its error is what left-out readings were missed by at that distance."""

    @staticmethod
    @abstractmethod
    def value(obs: Observations, at: Floats) -> Floats:
        """Value at each place ``at`` (m, 2), NaN where there is none."""

    def __init__(self, pixel_m: float = 1.0) -> None:
        self._pixel_m = pixel_m

    @classmethod
    def for_grid(cls, settings: GridSettings, pixel_m: float, pass_bias: PassBias) -> Self:
        """Needs no setting but the pixel."""
        return cls(pixel_m)

    def fit(self, obs: Observations) -> Self:
        """Learn how errors grow with distance."""
        self._error = learn_distance_error(obs, self.value)
        self.reach_m = fit_variogram(obs, self._pixel_m).supported_m
        return self._hold(obs)

    def fit_to_compete(self, obs: Observations) -> Self:
        """The readings alone; no error is learnt."""
        self._error = DistanceError(np.array([1.0]), np.array([np.nan]))
        return self._hold(obs)

    def with_data(self, obs: Observations) -> Self:
        """A copy with the same errors and other readings."""
        return copy.copy(self)._hold(obs)

    def _hold(self, obs: Observations) -> Self:
        self._obs, self._tree = obs, cKDTree(obs.xy)
        return self

    def predict(self, xy: Floats) -> tuple[Floats, Floats]:
        """Value and its error at the distance to the nearest reading (m,)."""
        estimate = self.value(self._obs, xy)
        return estimate, np.where(np.isfinite(estimate), self._error.at(self._tree.query(xy)[0]), np.nan)
