"""Runs in which the sounder followed its second echo: about twice the depth of the floor beside them."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from lakemap.clean.beside import floor_beside
from lakemap.clean.pieces import is_step, mostly, pieces, steps_at, usual_step, without_lone
from lakemap.clean.settings import CleanSettings
from lakemap.geo.floor_along import SailedLine, spread
from lakemap.model.flags import Flag
from lakemap.model.soundings import Soundings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Levels = tuple[Floats, Floats]
Twice = Callable[[Ints, Levels], Bools]

LEAST_ROWS = 3
"""Shorter runs are spikes."""
LEAST_FLOOR_ROWS, LEAST_SHARE = 4, 0.5
"""The floor beside a run must be seen in so many rows each side, and in half as many as the run's: a few shallow
readings in a long floor do not make the floor a second echo."""
END_ROWS = 3
"""Rows beside a leap whose median is one guess of the level there."""
LEAST_TOLERANCE_M = 0.3
"""In shallow water a share of the depth is less than display step, noise and the pass's constant error (which the floor
carries twice, its second echo once)."""
OTHER_END = 2.0
"""Where one end lies at the echo's place, the other may be off by this many tolerances."""
USUAL_STEPS = 4.0
"""A leap is this many times the usual step among the rows before and after it."""
WEAK_STEPS = 1.5
"""Over steep floor or with few rows steps are long and no leap stands out: then this must do, and both ends must lie at
the echo's place, and no pass that crosses may have seen the floor so deep."""
BETWEEN = 1.5
"""Rows of a locked run are those deeper than this many times the floor, which lies at half their neighbours' depth;
readings of the floor in between stay."""
BACKED_SHARE = 0.7
"""Of the rows that other passes cross, this share must lie at the second echo's place."""
MOST_ASKED = 24
"""Rows of a piece for which other passes are asked, evenly spread."""
DENIED_SHARE, FLOOR_SHARE = 0.5, 0.2
"""Where half of them lie within this share of the depth that other passes show, the run is floor."""


def flag_second_echo(soundings: Soundings, line: SailedLine, settings: CleanSettings, draft_m: Floats) -> Soundings:
    """Flag runs at the second echo's place: by the floor before and after them, or by passes that cross them.

    On a flat floor the echo that went down, up, and down again shows at 2 d + draft below the transducer,
    at 2 d where depths refer to the surface (geometry). ``draft_m`` (n,) of each row's log, 0 unknown. A
    step on one side alone may be a cliff: there the crossing passes must say the same.
    """
    locked = np.zeros(len(soundings), dtype=bool)
    if len(line) >= LEAST_ROWS:
        above_m = water_above(soundings, draft_m)
        locked[line.rows[_locked(soundings, line, settings, above_m)]] = True
    return soundings.with_flag(Flag.second_echo_lock, locked)


def water_above(soundings: Soundings, draft_m: Floats) -> Floats:
    """Water above what each row's depth counts from (n,) [m]: nothing for depths below the surface, else the draft."""
    table = np.array([facts.depth_reference == "surface" for facts in soundings.logs] or [True])
    return np.where(table[soundings.log], 0.0, draft_m)


def _locked(soundings: Soundings, line: SailedLine, settings: CleanSettings, above_m: Floats) -> Bools:
    """Which rows of the line are locked; ``above_m`` (n,) of water above what a row's depth counts from."""
    extra_m = above_m[line.rows]
    depth = without_lone(line)
    first, last = pieces(line, is_step(depth[1:], depth[:-1]))
    usual = usual_step(line, depth)
    tolerance = settings.second_echo_tolerance

    def twice(deep: Floats, floor: Levels, add: Floats, times: float = 1.0) -> Bools:
        place_low, place_high = 2.0 * floor[0] + add, 2.0 * floor[1] + add
        spare = times * np.maximum(tolerance * place_low, LEAST_TOLERANCE_M)
        near = (deep >= place_low - spare) & (deep <= place_high + spare)
        return np.asarray(near & (deep > BETWEEN * floor[0]))

    start, end = depth[first], depth[last]
    before = _levels(line, depth, np.maximum(first - 1, 0), -1)
    after = _levels(line, depth, np.minimum(last + 1, len(line) - 1), 1)
    early, step_in = steps_at(line, depth, usual, first)
    later, step_out = steps_at(line, depth, usual, last + 1)
    size = last - first + 1
    floor_before, floor_after = _floor_rows(np.roll(size, 1), early), _floor_rows(np.roll(size, -1), later)
    step_in, step_out = np.where(floor_before > 0, step_in, 0.0), np.where(floor_after > 0, step_out, 0.0)
    leapt_in, leapt_out = step_in >= USUAL_STEPS, step_out >= USUAL_STEPS
    in_place, out_place = twice(start, before, extra_m[first]), twice(end, after, extra_m[last])
    twice_before, twice_after = leapt_in & in_place, leapt_out & out_place
    near_before = leapt_in & twice(start, before, extra_m[first], OTHER_END)
    near_after = leapt_out & twice(end, after, extra_m[last], OTHER_END)
    long = size >= LEAST_ROWS
    between = floor_before + floor_after >= LEAST_SHARE * size
    sure = long & between & (twice_before & near_after | near_before & twice_after)
    weak = long & between & ~sure & (step_in >= WEAK_STEPS) & (step_out >= WEAK_STEPS) & in_place & out_place
    doubtful = long & ~sure & (twice_before | twice_after | (~early & ~later) | _one_weak_end(
        (early, step_in, in_place), (later, step_out, out_place)))
    asked = weak | doubtful
    if asked.any():
        backed, denied = _asked(soundings, line, asked, (first, last), above_m, lambda of, floor: twice(
            line.depth_m[of], floor, extra_m[of]))
        sure |= doubtful & backed | weak & ~denied
    return np.repeat(sure, size) & (line.depth_m > BETWEEN / 2.0 * depth)


def _one_weak_end(early: tuple[Bools, Floats, Bools], later: tuple[Bools, Floats, Bools]) -> Bools:
    """Pieces that begin or end with the stretch and lie at the echo's place at their other end."""
    (joined_in, step_in, in_place), (joined_out, step_out, out_place) = early, later
    return np.asarray(
        (~joined_out & (step_in >= WEAK_STEPS) & in_place) | (~joined_in & (step_out >= WEAK_STEPS) & out_place)
    )


def _asked(
    soundings: Soundings, line: SailedLine, asked: Bools, ends: tuple[Ints, Ints], above_m: Floats, twice: Twice
) -> tuple[Bools, Bools]:
    """Which pieces other passes say are at the echo's place, and which they say are floor."""
    first, last = ends
    of = np.unique(spread(first[asked], last[asked] + 1, MOST_ASKED))
    said = floor_beside(
        soundings, soundings.logged_depth_m + above_m, line.rows[of], soundings.usable(), same_date=False)
    crossed, at_place, floor = (np.zeros(len(line), dtype=bool) for _ in range(3))
    level, about = np.nan_to_num(said.level_m - above_m[line.rows[of]]), np.nan_to_num(said.spread_m)
    depth = line.depth_m[of]
    crossed[of] = said.known
    at_place[of] = said.known & twice(of, (level - about, level + about))
    near = np.maximum(LEAST_TOLERANCE_M, FLOOR_SHARE * level) + about
    floor[of] = said.known & (np.abs(depth - level) <= near) & ~at_place[of]
    return (
        mostly(crossed, at_place, first, last, BACKED_SHARE), mostly(crossed, floor, first, last, DENIED_SHARE)
    )


def _floor_rows(size: Ints, joined: Bools) -> Ints:
    """Rows of a piece beside, where it is joined and long enough to be floor; else 0."""
    return np.where(joined & (size >= LEAST_FLOOR_ROWS), size, 0)


def _levels(line: SailedLine, despiked: Floats, at: Ints, way: int) -> Levels:
    """Least and greatest of three guesses of the level at rows ``at``, looking ``way`` (1 on, -1 back): the reading
    itself, the median of END_ROWS, and the straight line of the next two carried on by one step.
    """
    rows = np.clip(at[:, None] + way * np.arange(END_ROWS), line.start[at][:, None], line.stop[at][:, None] - 1)
    depth = despiked[rows]
    guesses = np.stack([depth[:, 0], np.median(depth, axis=1), 2 * depth[:, 0] - depth[:, 1]])
    return guesses.min(axis=0), guesses.max(axis=0)
