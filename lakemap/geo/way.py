"""Where a boat was at any moment of its logs, which way it pointed and how fast it went."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lakemap.geo.heading import grid_heading_deg
from lakemap.geo.motion import motion
from lakemap.model.soundings import Soundings

Floats = NDArray[np.float64]

GAP_S = 15.0
"""Between readings farther apart in time nobody knows where the boat was."""

SPEED_HALF_S = 3.0
"""A speed is made good over this long before and after."""


@dataclass(frozen=True)
class Afloat:
    """A boat at some moments (n,): place on the working CRS [m], heading clockwise from grid north [deg], speed [m/s]
    and standard error of the place [m]; NaN where not known."""

    x_m: Floats
    y_m: Floats
    heading_deg: Floats
    speed_mps: Floats
    sigma_m: Floats


@dataclass(frozen=True)
class Way:
    """One log's usable readings (k,) in the order of ``time_s`` (UTC, since 1970)."""

    time_s: Floats
    log: int
    afloat: Afloat

    def at(self, time_s: Floats) -> Afloat:
        """Where the boat was (n,): between the readings before and after, NaN outside the log and in gaps of GAP_S."""
        after = np.clip(np.searchsorted(self.time_s, time_s), 1, len(self.time_s) - 1)
        before = after - 1
        step = self.time_s[after] - self.time_s[before]
        share = (time_s - self.time_s[before]) / np.maximum(step, 1e-9)
        good = (step <= GAP_S) & (time_s >= self.time_s[0]) & (time_s <= self.time_s[-1])
        nearest = np.where(share < 0.5, before, after)

        def between(column: Floats) -> Floats:
            return np.where(good, column[before] + share * (column[after] - column[before]), np.nan)

        def of_nearest(column: Floats) -> Floats:
            return np.where(good, column[nearest], np.nan)

        return Afloat(between(self.afloat.x_m), between(self.afloat.y_m), of_nearest(self.afloat.heading_deg),
                      of_nearest(self.afloat.speed_mps), of_nearest(self.afloat.sigma_m))


def ways_of(soundings: Soundings) -> list[Way]:
    """The way of each log whose readings carry dates; single readings make none."""
    heading, speed = grid_heading_deg(soundings), motion(soundings, SPEED_HALF_S).speed_mps
    usable = soundings.usable() & np.isfinite(soundings.x_m) & ~np.isnat(soundings.time_utc)
    ways = []
    for log, facts in enumerate(soundings.logs):
        rows = np.flatnonzero(usable & (soundings.log == log))
        if len(rows) < 2 or facts.single:
            continue
        time_s = soundings.time_utc[rows].astype("datetime64[ms]").astype(np.int64) / 1000.0
        order = np.argsort(time_s, kind="stable")
        rows = rows[order]
        ways.append(Way(time_s[order], log, Afloat(
            soundings.x_m[rows], soundings.y_m[rows], heading[rows], speed[rows],
            soundings.position_sigma_m[rows].astype(np.float64))))
    return ways
