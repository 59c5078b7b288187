"""Which way the boat points: by its compass, else by the course made good."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lakemap.geo.crs import convergence_deg
from lakemap.geo.motion import motion
from lakemap.model.soundings import Soundings

Floats = NDArray[np.float64]

COURSE_HALF_S = 3.0
"""A course is made good over this long before and after."""


def grid_heading_deg(soundings: Soundings) -> Floats:
    """Which way the boat points (n,), clockwise from grid north; NaN where neither compass nor course tell it.

    The compass of the log where it has one, turned by the grid's convergence; else the course made good. Below a knot
    that is no heading: without a compass there is none then. Readers never give a receiver's course as a heading.
    """
    course = motion(soundings, COURSE_HALF_S).course_deg
    said = soundings.heading_deg.astype(np.float64)
    if soundings.crs is not None and np.isfinite(said).any():
        placed = np.isfinite(soundings.lon_deg) & np.isfinite(said)
        turn = np.full(len(soundings), np.nan)
        turn[placed] = convergence_deg(soundings.crs, soundings.lon_deg[placed], soundings.lat_deg[placed])
        said = said - turn
    return np.asarray(np.where(np.isfinite(said), said, course) % 360.0)
