"""Linear interpolation in the Delaunay triangles of the readings."""

from __future__ import annotations

from typing import ClassVar

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import LinearNDInterpolator
from scipy.spatial import QhullError

from lakemap.grid.error_by_distance import ErrorByDistance
from lakemap.grid.nearest import nearest_value
from lakemap.model.observations import Observations

Floats = NDArray[np.float64]


class Linear(ErrorByDistance):
    """Linear within triangles, nothing outside the readings' hull; with fewer than three readings, or all on one line,
    the nearest one. The error is what left-out readings were missed by at that distance."""

    name: ClassVar[str] = "linear"

    @staticmethod
    def value(obs: Observations, at: Floats) -> Floats:
        """See linear_value."""
        return linear_value(obs, at)


def linear_value(obs: Observations, at: Floats) -> Floats:
    """Linear estimate at each place ``at`` (m, 2), NaN outside the hull; the nearest value without a triangle."""
    if len(obs) < 3:
        return nearest_value(obs, at)
    middle = obs.xy.mean(axis=0)
    try:
        return np.asarray(LinearNDInterpolator(obs.xy - middle, obs.value)(at - middle))
    except QhullError:
        return nearest_value(obs, at)
