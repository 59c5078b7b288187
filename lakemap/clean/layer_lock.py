"""Runs in which the sounder followed something in the water, a layer or the top of weed.

Passes that cross there on the same date saw the floor much deeper.

What rides above the floor of other dates may be weed that has grown, or a floor that has moved: changes/ judges that.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lakemap.clean.beside import floor_beside
from lakemap.clean.pieces import pieces, without_lone
from lakemap.clean.pieces import usual_step as usual_steps
from lakemap.clean.settings import CleanSettings
from lakemap.geo.floor_along import SailedLine, spread
from lakemap.model.flags import Flag
from lakemap.model.soundings import Soundings

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

LEAP_M, LEAP_SHARE, LEAP_STEPS = 0.5, 0.08, 4.0
"""A leap onto a layer: metres, share of the depth, and so many of the steps usual there."""
CROSSED_M = 5.0
"""Another pass speaks of a row when it was read this near to it: twice the error of a fix."""
SHALLOWER_M, SHALLOWER_SHARE, SHALLOWER_SIGMAS = 0.5, 0.15, 5.0
"""Much shallower than other passes: by all three, metres, share of their depth, and their spread."""
BACKED_SHARE, LEAST_SEEN, LEAST_PASSES = 0.8, 3, 2
"""Of the rows that others cross, this share must be much shallower; so many rows, and other passes in all."""
MOST_ASKED = 32


def flag_layer_lock(
    soundings: Soundings, line: SailedLine, depth_m: Floats, settings: CleanSettings
) -> Soundings:
    """Flag pieces of ``line`` between leaps, longer than a thing on the floor, that lie much above what passes of the
    same date found where they cross; ``depth_m`` (n,) counts from one zero for all logs."""
    locked = np.zeros(len(soundings), dtype=bool)
    if len(line) > LEAST_SEEN:
        depth = without_lone(line)
        step = np.abs(np.diff(depth))
        usual = usual_steps(line, depth)
        limit = np.maximum(LEAP_M, LEAP_SHARE * np.minimum(depth[1:], depth[:-1]))
        first, last = pieces(line, step > np.maximum(limit, LEAP_STEPS * usual[1:]))
        long = (line.s_m[last] - line.s_m[first] > settings.rise_longest_m) & (last - first >= LEAST_SEEN)
        first, last = first[long], last[long]
        above = _lies_above(soundings, line, depth_m, (first, last))
        for start, stop in zip(first[above], last[above] + 1, strict=True):
            locked[line.rows[start:stop]] = True
    return soundings.with_flag(Flag.layer_lock, locked & soundings.usable())


def _lies_above(
    soundings: Soundings, line: SailedLine, depth_m: Floats, ends: tuple[NDArray[np.int64], NDArray[np.int64]]
) -> Bools:
    """Which pieces (k,) other passes of the same date contradict."""
    first, last = ends
    if len(first) == 0:
        return np.zeros(0, dtype=bool)
    asked = spread(first, last + 1, MOST_ASKED)
    piece = np.repeat(np.arange(len(first)), MOST_ASKED)
    rows = line.rows[asked.ravel()]
    said = floor_beside(soundings, depth_m, rows, soundings.usable(), same_date=True)
    crossed = said.known & (said.nearest_m <= CROSSED_M)
    level, about = np.nan_to_num(said.level_m), np.nan_to_num(said.spread_m)
    limit = np.maximum(np.maximum(SHALLOWER_M, SHALLOWER_SHARE * level), SHALLOWER_SIGMAS * about)
    shallow = crossed & (level - depth_m[rows] > limit)
    seen, agreed = (np.bincount(piece, mask, len(first)) for mask in (crossed, shallow))
    pairs = np.unique(np.column_stack([piece[crossed], said.nearest_pass[crossed]]), axis=0)
    passes = np.bincount(pairs[:, 0], minlength=len(first))
    return np.asarray((seen >= LEAST_SEEN) & (agreed >= BACKED_SHARE * seen) & (passes >= LEAST_PASSES))
