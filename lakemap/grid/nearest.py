"""Nearest reading: the plainest interpolator, and the example for writing another."""

from __future__ import annotations

from typing import ClassVar

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lakemap.grid.error_by_distance import ErrorByDistance
from lakemap.model.observations import Observations

Floats = NDArray[np.float64]


class Nearest(ErrorByDistance):
    """The value of the nearest reading; its error is what left-out readings were missed by at that distance."""

    name: ClassVar[str] = "nearest"

    @staticmethod
    def value(obs: Observations, at: Floats) -> Floats:
        """See nearest_value."""
        return nearest_value(obs, at)


def nearest_value(obs: Observations, at: Floats) -> Floats:
    """Value of the reading nearest to each place ``at`` (m, 2)."""
    return np.asarray(obs.value[cKDTree(obs.xy).query(at)[1]])
