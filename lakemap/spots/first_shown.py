"""Which reading first showed a feature: its name comes from there, as a spot's comes from its oldest hit."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lakemap.model.flags import Flag
from lakemap.model.soundings import Soundings
from lakemap.model.terrain import Features

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NEAR_M = 25.0
"""Readings this near to a feature's anchor tell its name: anchors move by some metres as a lake grows (own choice)."""
STEPS = 3
"""So often the search is taken up again around what it found."""
ARM = 3
"""Readings to either side over which a pass tells its slope."""
HIGHS, LOWS = ("hump", "point"), ("hole",)


def first_shown(features: Features, rows: Ints, soundings: Soundings) -> Ints:
    """Row into ``soundings`` of the reading that first showed each of some features best, -1 without any reading.

    Of the oldest log near the anchor it is the shallowest reading of a hump or point, the deepest of a hole, else that
    where a pass is steepest: an extreme of what was logged, which newer logs and an anchor that moves a little leave
    where it was.
    """
    some = np.flatnonzero(
        soundings.usable() & (soundings.pass_id >= 0) & ~soundings.has(Flag.rise) & np.isfinite(soundings.x_m))
    if not len(some):
        return np.full(len(rows), -1, np.int64)
    steep, age = _steepness(soundings, some), _ages(soundings)[soundings.log[some]]
    xy = np.column_stack([soundings.x_m[some], soundings.y_m[some]])
    found = []
    for row in rows.tolist():
        sign = (features.kind[row] in LOWS) - (features.kind[row] in HIGHS)
        shows = sign * soundings.logged_depth_m[some] if sign else steep
        found.append(some[_climbed(xy, (features.x_m[row], features.y_m[row]), shows, age)])
    return np.array(found, np.int64)


def _climbed(xy: Floats, start: tuple[float, float], shows: Floats, age: Ints) -> int:
    """The reading (of n at ``xy``) that shows most near ``start``, then most near that one: from anywhere beside it the
    way leads to the same one, so that an anchor that moves a little does not matter."""
    centre, best = np.array(start), 0
    for _ in range(STEPS):
        away = np.hypot(*(xy - centre).T)
        near = np.flatnonzero(away <= max(NEAR_M, float(away.min())))
        best = int(near[np.lexsort([near, -shows[near], age[near]])[0]])
        centre = xy[best]
    return best


def when_and_where(soundings: Soundings, rows: Ints) -> tuple[NDArray[np.datetime64], Floats, Floats]:
    """Time of some readings, and their place as logged (lon, lat [deg]), which corrections do not move."""
    return soundings.time_utc[rows], soundings.lon_deg[rows], soundings.lat_deg[rows]


def _ages(soundings: Soundings) -> Ints:
    """Rank of each log, the oldest 0, undated ones last."""
    late = np.iinfo(np.int64).max
    first = np.full(len(soundings.logs), late)
    dated = ~np.isnat(soundings.time_utc)
    np.minimum.at(first, soundings.log[dated], soundings.time_utc[dated].astype(np.int64))
    order = np.argsort(first, kind="stable")
    rank = np.empty(len(order), np.int64)
    rank[order] = np.arange(len(order))
    return rank


def _steepness(soundings: Soundings, some: Ints) -> Floats:
    """How much the logged depth changes over ARM readings to either side in the same pass; 0 at a pass's ends."""
    depth, sailed = soundings.logged_depth_m[some], soundings.pass_id[some]
    out = np.zeros(len(some))
    if len(some) > 2 * ARM:
        whole = sailed[2 * ARM:] == sailed[: -2 * ARM]
        out[ARM:-ARM] = np.where(whole, np.abs(depth[2 * ARM:] - depth[: -2 * ARM]), 0.0)
    return out
