"""How the boat moved: velocity over ground from the fixes around each row; a course means nothing below a knot."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lakemap.model.soundings import Soundings
from lakemap.units import MPS_PER_KNOT

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SLOWEST_MPS = MPS_PER_KNOT
"""Slower than this, what fixes say of a course is their own error; common practice of the trade."""
TIME_GAP_S = 30.0
"""A pause after which the boat may be anywhere."""
BREAK_S = 1e6
"""Put between stretches on the running clock, so that no window reaches across."""


@dataclass(frozen=True)
class Motion:
    """Velocity on the working CRS, east and north on its grid [m/s], each (n,); NaN where nothing tells it."""

    vx_mps: Floats
    vy_mps: Floats

    @property
    def speed_mps(self) -> Floats:
        """Speed made good (n,); NaN where not known."""
        return np.hypot(self.vx_mps, self.vy_mps)

    @property
    def course_deg(self) -> Floats:
        """Course on the grid, clockwise from its north (n,); NaN below SLOWEST_MPS and where not known."""
        course = np.degrees(np.arctan2(self.vx_mps, self.vy_mps)) % 360.0
        return np.where(self.speed_mps >= SLOWEST_MPS, course, np.nan)


def motion(soundings: Soundings, half_s: float) -> Motion:
    """Velocity of each usable row with a place, made good from ``half_s`` before it to ``half_s`` after.

    Windows end where the log does, at pauses of TIME_GAP_S and where the clock runs back; a row always looks to its
    neighbours, however far apart in time they are. Logs without times, and rows alone, say nothing: NaN.
    """
    vx, vy = np.full(len(soundings), np.nan), np.full(len(soundings), np.nan)
    timed = np.array([facts.has_time for facts in soundings.logs] or [True])[soundings.log]
    rows = np.flatnonzero(soundings.usable() & timed & np.isfinite(soundings.x_m) & np.isfinite(soundings.time_s))
    if len(rows):
        rows = rows[np.argsort(soundings.log[rows], kind="stable")]
        vx[rows], vy[rows] = _made_good(soundings, rows, half_s)
    return Motion(vx, vy)


def _made_good(soundings: Soundings, rows: Ints, half_s: float) -> tuple[Floats, Floats]:
    x, y, t = soundings.x_m[rows], soundings.y_m[rows], soundings.time_s[rows]
    dt = np.diff(t)
    broken = (np.diff(soundings.log[rows]) != 0) | (dt < 0) | (dt > TIME_GAP_S)
    clock = np.concatenate([[0.0], np.cumsum(np.where(broken, BREAK_S, dt))])
    edges = np.concatenate([[0], np.flatnonzero(broken) + 1, [len(rows)]])
    start, stop = (np.repeat(side, np.diff(edges)) for side in (edges[:-1], edges[1:]))
    here = np.arange(len(rows))
    low = np.maximum(np.minimum(np.searchsorted(clock, clock - half_s), here - 1), start)
    high = np.minimum(np.maximum(np.searchsorted(clock, clock + half_s, "right") - 1, here + 1), stop - 1)
    span = clock[high] - clock[low]
    safe = np.where(span > 0, span, np.nan)
    return (x[high] - x[low]) / safe, (y[high] - y[low]) / safe
