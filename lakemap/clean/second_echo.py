"""Runs in which the sounder followed its second echo: about twice the depth of the floor beside them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lakemap.clean.neighbours import LEAST_BLOCKS, Others, other_passes
from lakemap.clean.settings import CleanSettings
from lakemap.geo.floor_along import SailedLine, spread
from lakemap.model.flags import Flag
from lakemap.model.soundings import Soundings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

SMOOTH_ROWS = 5
"""Running median in which single spikes vanish and edges stay."""
LEAST_ROWS = 3
"""Shorter runs are spikes."""
STEP_M, STEP_SHARE = 0.5, 0.35
"""A step from one reading to the next that may be the way to the second echo and back: metres, share of the lesser."""
STEP_REACH_M = 15.0
"""Rows farther apart do not show whether the depth leapt or the floor fell."""
USUAL_STEPS, USUAL_ROWS = 5.0, 8
"""A leap is this many times the usual step among so many rows before and after it."""
BETWEEN = 1.5
"""Rows of a locked run are those deeper than this many times the floor; readings of the floor in between stay."""
BACKED_SHARE = 0.8
"""Of the rows that other passes cross, this share must lie at the second echo's place."""


def flag_second_echo(soundings: Soundings, line: SailedLine, settings: CleanSettings, draft_m: Floats) -> Soundings:
    """Flag runs at the second echo's place: by the floor before and after them, or by passes that cross them.

    On a flat floor the echo that went down, up, and down again shows at 2 d + draft below the transducer,
    at 2 d where depths refer to the surface (geometry). ``draft_m`` (n,) of each row's log, 0 unknown. A
    step on one side alone may be a cliff: there the crossing passes must say the same.
    """
    locked = np.zeros(len(soundings), dtype=bool)
    if len(line) >= LEAST_ROWS:
        extra = np.where(_refers_to_surface(soundings)[line.rows], 0.0, draft_m[line.rows])
        locked[line.rows[_locked(soundings, line, settings, extra)]] = True
    return soundings.with_flag(Flag.second_echo_lock, locked)


def _refers_to_surface(soundings: Soundings) -> Bools:
    """Which rows (n,) came with depths below the surface."""
    table = np.array([facts.depth_reference == "surface" for facts in soundings.logs] or [True])
    return np.asarray(table[soundings.log])


def _locked(soundings: Soundings, line: SailedLine, settings: CleanSettings, extra_m: Floats) -> Bools:
    smooth = _running_median(line)
    first, last = _pieces(line, smooth)
    start, end = smooth[first], smooth[last]
    usual = _usual_step(line, smooth)
    tolerance = settings.second_echo_tolerance

    def twice(deep: Floats, floor: Floats, add: Floats) -> Bools:
        place = 2.0 * floor + add
        return np.asarray((deep > BETWEEN * floor) & (np.abs(deep - place) <= tolerance * place))

    early, leapt_in = _leaps(line, smooth, usual, first)
    later, leapt_out = _leaps(line, smooth, usual, last + 1)
    before, after = np.roll(end, 1), np.roll(start, -1)
    twice_before = early & leapt_in & twice(start, before, extra_m[first])
    twice_after = later & leapt_out & twice(end, after, extra_m[last])
    long = last - first + 1 >= LEAST_ROWS
    sure = long & twice_before & twice_after
    doubtful = long & ~sure & (twice_before | twice_after | (~early & ~later))
    if doubtful.any():
        others = other_passes(soundings, line.rows, settings.neighbour_cell_m)
        sure |= doubtful & _backed(others, twice(line.depth_m, np.nan_to_num(others.level_m), extra_m), first, last)
    floor = np.where(twice_before, before, np.where(twice_after, after, np.minimum(start, end) / 2))
    sizes = last - first + 1
    return np.repeat(sure, sizes) & (line.depth_m > BETWEEN * np.repeat(floor, sizes))


def _running_median(line: SailedLine) -> Floats:
    """Median over SMOOTH_ROWS rows; near the ends of a stretch the end row is repeated."""
    here = np.arange(len(line))
    reach = SMOOTH_ROWS // 2
    columns = [
        line.depth_m[np.clip(here + shift, line.start, line.stop - 1)] for shift in range(-reach, reach + 1)
    ]
    return np.asarray(np.median(np.stack(columns), axis=0))


def _pieces(line: SailedLine, smooth: Floats) -> tuple[Ints, Ints]:
    """First and last position of the pieces between large steps and breaks."""
    step = np.abs(np.diff(smooth)) > np.maximum(STEP_M, STEP_SHARE * np.minimum(smooth[1:], smooth[:-1]))
    cut = step | (line.start[1:] != line.start[:-1])
    edges = np.concatenate([[0], np.flatnonzero(cut) + 1, [len(line)]])
    return edges[:-1], edges[1:] - 1


def _usual_step(line: SailedLine, smooth: Floats) -> Floats:
    """Median size of the steps among USUAL_ROWS rows before and after each row (m,)."""
    step = np.abs(np.diff(smooth, prepend=smooth[:1]))
    here = np.arange(len(line))
    low = np.maximum(here - USUAL_ROWS, np.minimum(line.start + 1, line.stop - 1))
    high = np.minimum(here + USUAL_ROWS, line.stop)
    return np.asarray(np.median(step[spread(low, np.maximum(high, low + 1), 2 * USUAL_ROWS)], axis=1))


def _leaps(line: SailedLine, smooth: Floats, usual: Floats, to: Ints) -> tuple[Bools, Bools]:
    """Whether row ``to`` continues the stretch of the row before it, and whether the depth leaps between the two."""
    joined = line.same_stretch(to - 1, to)
    at, back = np.clip(to, 0, len(line) - 1), np.clip(to - 1, 0, len(line) - 1)
    near = line.s_m[at] - line.s_m[back] <= STEP_REACH_M
    return joined, near & (np.abs(smooth[at] - smooth[back]) >= USUAL_STEPS * usual[at])


def _backed(others: Others, at_place: Bools, first: Ints, last: Ints) -> Bools:
    """Pieces that other passes cross often enough and nearly everywhere find at half the depth."""
    crossed = others.blocks >= LEAST_BLOCKS
    seen, agreed = (np.concatenate([[0], np.cumsum(mask)]) for mask in (crossed, crossed & at_place))
    n_seen, n_agreed = seen[last + 1] - seen[first], agreed[last + 1] - agreed[first]
    return np.asarray((n_seen >= LEAST_ROWS) & (n_agreed >= BACKED_SHARE * n_seen))
