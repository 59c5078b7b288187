"""Runs in which the sounder followed its second echo: about twice the depth of the floor beside them."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from lakemap.clean.beside import floor_beside
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
STEP_M, STEP_SHARE = 0.5, 0.35
"""A step from one reading to the next that may be the way to the second echo and back: metres, share of the lesser."""
END_ROWS = 3
"""Rows beside a leap whose median is one guess of the level there."""
LEAST_TOLERANCE_M = 0.3
"""In shallow water a share of the depth is less than display step, noise and the pass's constant error (which the floor
carries twice, its second echo once)."""
OTHER_END = 2.0
"""Where one end lies at the echo's place, the other may be off by this many tolerances."""
STEP_REACH_M = 15.0
"""Rows farther apart do not show whether the depth leapt or the floor fell."""
USUAL_STEPS, USUAL_ROWS = 4.0, 8
"""A leap is this many times the usual step among so many rows before and after it."""
WEAK_STEPS = 1.5
"""Over steep floor or with few rows steps are long and no leap stands out: then this must do, and both ends must lie at
the echo's place, and no pass that crosses may have seen the floor so deep."""
BETWEEN = 1.5
"""Rows of a locked run are those deeper than this many times the floor, which lies at half their neighbours' depth;
readings of the floor in between stay."""
BACKED_SHARE = 0.7
"""Of the rows that other passes cross, this share must lie at the second echo's place."""
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
        above_m = np.where(_refers_to_surface(soundings), 0.0, draft_m)
        locked[line.rows[_locked(soundings, line, settings, above_m)]] = True
    return soundings.with_flag(Flag.second_echo_lock, locked)


def _refers_to_surface(soundings: Soundings) -> Bools:
    """Which rows (n,) came with depths below the surface."""
    table = np.array([facts.depth_reference == "surface" for facts in soundings.logs] or [True])
    return np.asarray(table[soundings.log])


def _locked(soundings: Soundings, line: SailedLine, settings: CleanSettings, above_m: Floats) -> Bools:
    """Which rows of the line are locked; ``above_m`` (n,) of water above what a row's depth counts from."""
    extra_m = above_m[line.rows]
    depth = _without_lone(line)
    first, last = _pieces(line, depth)
    usual = _usual_step(line, depth)
    tolerance = settings.second_echo_tolerance

    def twice(deep: Floats, floor: Levels, add: Floats, times: float = 1.0) -> Bools:
        place_low, place_high = 2.0 * floor[0] + add, 2.0 * floor[1] + add
        spare = times * np.maximum(tolerance * place_low, LEAST_TOLERANCE_M)
        near = (deep >= place_low - spare) & (deep <= place_high + spare)
        return np.asarray(near & (deep > BETWEEN * floor[0]))

    start, end = depth[first], depth[last]
    before = _levels(line, depth, np.maximum(first - 1, 0), -1)
    after = _levels(line, depth, np.minimum(last + 1, len(line) - 1), 1)
    early, step_in = _steps_at(line, depth, usual, first)
    later, step_out = _steps_at(line, depth, usual, last + 1)
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
    size = last - first + 1
    of = np.flatnonzero(np.repeat(asked, size))
    said = floor_beside(
        soundings, soundings.logged_depth_m + above_m, line.rows[of], soundings.usable(), same_date=False)
    crossed, at_place, floor = (np.zeros(len(line), dtype=bool) for _ in range(3))
    level = np.nan_to_num(said.level_m - above_m[line.rows[of]])
    spread, depth = np.nan_to_num(said.spread_m), line.depth_m[of]
    crossed[of] = said.known
    at_place[of] = said.known & twice(of, (level - spread, level + spread))
    near = np.maximum(LEAST_TOLERANCE_M, FLOOR_SHARE * level) + spread
    floor[of] = said.known & (np.abs(depth - level) <= near) & ~at_place[of]
    return _mostly(crossed, at_place, first, last), _mostly(crossed, floor, first, last, DENIED_SHARE)


def _floor_rows(size: Ints, joined: Bools) -> Ints:
    """Rows of a piece beside, where it is joined and long enough to be floor; else 0."""
    return np.where(joined & (size >= LEAST_FLOOR_ROWS), size, 0)


def _without_lone(line: SailedLine) -> Floats:
    """Depths with each reading that leaps away and straight back replaced by the mean of its two neighbours."""
    depth = line.depth_m.copy()
    here = np.arange(1, max(len(line) - 1, 1))
    inside = here[line.same_stretch(here - 1, here + 1)]
    before, middle, after = depth[inside - 1], depth[inside], depth[inside + 1]
    lone = _is_step(before, middle) & _is_step(middle, after) & ~_is_step(before, after)
    depth[inside[lone]] = (before[lone] + after[lone]) / 2
    return depth


def _is_step(a: Floats, b: Floats) -> Bools:
    return np.asarray(np.abs(a - b) > np.maximum(STEP_M, STEP_SHARE * np.minimum(a, b)))


def _pieces(line: SailedLine, depth: Floats) -> tuple[Ints, Ints]:
    """First and last position of the pieces between large steps and breaks."""
    cut = _is_step(depth[1:], depth[:-1]) | (line.start[1:] != line.start[:-1])
    edges = np.concatenate([[0], np.flatnonzero(cut) + 1, [len(line)]])
    return edges[:-1], edges[1:] - 1


def _levels(line: SailedLine, despiked: Floats, at: Ints, way: int) -> Levels:
    """Least and greatest of three guesses of the level at rows ``at``, looking ``way`` (1 on, -1 back): the reading
    itself, the median of END_ROWS, and the straight line of the next two carried on by one step.
    """
    rows = np.clip(at[:, None] + way * np.arange(END_ROWS), line.start[at][:, None], line.stop[at][:, None] - 1)
    depth = despiked[rows]
    guesses = np.stack([depth[:, 0], np.median(depth, axis=1), 2 * depth[:, 0] - depth[:, 1]])
    return guesses.min(axis=0), guesses.max(axis=0)


def _usual_step(line: SailedLine, depth: Floats) -> Floats:
    """Median size of the steps among USUAL_ROWS rows before and after each row (m,)."""
    step = np.abs(np.diff(depth, prepend=depth[:1]))
    here = np.arange(len(line))
    low = np.maximum(here - USUAL_ROWS, np.minimum(line.start + 1, line.stop - 1))
    high = np.minimum(here + USUAL_ROWS, line.stop)
    return np.asarray(np.median(step[spread(low, np.maximum(high, low + 1), 2 * USUAL_ROWS)], axis=1))


def _steps_at(line: SailedLine, depth: Floats, usual: Floats, to: Ints) -> tuple[Bools, Floats]:
    """Whether row ``to`` continues the stretch of the row before it, and the step of depth between the two as so many
    usual steps; 0 where they lie too far apart to tell a leap from a slope."""
    joined = line.same_stretch(to - 1, to)
    at, back = np.clip(to, 0, len(line) - 1), np.clip(to - 1, 0, len(line) - 1)
    near = line.s_m[at] - line.s_m[back] <= STEP_REACH_M
    step = np.abs(depth[at] - depth[back]) / np.maximum(usual[at], 1e-6)
    return joined, np.where(near, step, 0.0)


def _mostly(crossed: Bools, agreed: Bools, first: Ints, last: Ints, share: float = BACKED_SHARE) -> Bools:
    """Pieces that other passes cross often enough and of which they say so in at least a share of the rows crossed."""
    seen, yes = (np.concatenate([[0], np.cumsum(mask)]) for mask in (crossed, agreed))
    n_seen, n_yes = seen[last + 1] - seen[first], yes[last + 1] - yes[first]
    return np.asarray((n_seen >= LEAST_ROWS) & (n_yes >= share * n_seen))
