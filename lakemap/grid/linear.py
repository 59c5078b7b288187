"""Linear interpolation in the Delaunay triangles of the readings."""

from __future__ import annotations

import copy
from typing import ClassVar, Self

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import LinearNDInterpolator
from scipy.spatial import QhullError, cKDTree

from lakemap.grid.distance_error import learn_distance_error
from lakemap.grid.fit_variogram import fit_variogram
from lakemap.grid.interpolator import Interpolator
from lakemap.grid.nearest import nearest_value
from lakemap.grid.settings import GridSettings
from lakemap.model.observations import Observations
from lakemap.model.soundings import PassBias

Floats = NDArray[np.float64]


class Linear(Interpolator):
    """Linear within triangles, nothing outside the readings' hull; with fewer than three readings, or all on one line,
    the nearest one. The error is what left-out readings were missed by at that distance."""

    name: ClassVar[str] = "linear"

    def __init__(self, pixel_m: float = 1.0) -> None:
        self._pixel_m = pixel_m

    @classmethod
    def for_grid(cls, settings: GridSettings, pixel_m: float, pass_bias: PassBias) -> Self:
        """Needs no setting but the pixel."""
        return cls(pixel_m)

    def fit(self, obs: Observations) -> Self:
        """Learn how errors grow with distance."""
        self._error = learn_distance_error(obs, linear_value)
        self.reach_m = fit_variogram(obs, self._pixel_m).supported_m
        return self._hold(obs)

    def with_data(self, obs: Observations) -> Self:
        """A copy with the same errors and other readings."""
        return copy.copy(self)._hold(obs)

    def _hold(self, obs: Observations) -> Self:
        self._obs, self._tree = obs, cKDTree(obs.xy)
        return self

    def predict(self, xy: Floats) -> tuple[Floats, Floats]:
        """Linear estimate and its error at the distance to the nearest reading (m,)."""
        estimate = linear_value(self._obs, xy)
        return estimate, np.where(np.isfinite(estimate), self._error.at(self._tree.query(xy)[0]), np.nan)


def linear_value(obs: Observations, at: Floats) -> Floats:
    """Linear estimate at each place ``at`` (m, 2), NaN outside the hull; the nearest value without a triangle."""
    if len(obs) < 3:
        return nearest_value(obs, at)
    middle = obs.xy.mean(axis=0)
    try:
        return np.asarray(LinearNDInterpolator(obs.xy - middle, obs.value)(at - middle))
    except QhullError:
        return nearest_value(obs, at)
