"""Faults of position: jumps, frozen fixes, rows far from all others, readings that came twice."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from lakemap.clean.settings import CleanSettings
from lakemap.model.flags import FAULT_BITS, Flag
from lakemap.model.soundings import Soundings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

LOOK_BACK = 40
"""Pieces of track looked back over when a row's piece seeks one it can have come from."""
USUAL_SPEED_FACTOR, LEAST_LIMIT_MPS = 2.5, 8.0
"""A step out and back is a jump beyond this many times the log's 99th percentile of speed, at least 8 m/s."""
LEAST_STEP_S = 0.01
"""Rows closer in time than this say nothing of speed: no receiver gives a hundred fixes a second."""
EXCURSION_ROWS = 5
UNTIMED_JUMP_FACTOR, UNTIMED_JUMP_M = 50.0, 100.0
"""Without times, a step out and back of 50 median steps and 100 m is a jump."""
CATCH_UP_FACTOR, CATCH_UP_M = 3.0, 6.0
"""After a freeze the fix catches up: at over three times the log's usual step, by over 6 m."""
FAR_SHARE, FAR_SPACINGS = 0.01, 50.0
"""A group far from the bulk is held out when it holds at most 1 % of all rows and lies 50 median steps away."""
LEAST_TO_JUDGE = 10
"""With fewer rows nothing is far from all others."""


def flag_duplicates(soundings: Soundings) -> Soundings:
    """Flag every row after the first with the same time, place and depth in one log; across logs where dated."""
    s = soundings
    rows = np.flatnonzero(s.usable())
    timed = np.array([facts.has_time for facts in s.logs] or [True])[s.log[rows]]
    dated = ~np.isnat(s.time_utc[rows])
    key = np.zeros(len(rows), dtype=[("log", "i8"), ("t", "f8"), ("x", "f8"), ("y", "f8"), ("z", "f8")])
    key["log"] = np.where(dated, -1, s.log[rows])
    key["t"] = np.where(timed, np.nan_to_num(s.time_s[rows], nan=-1.0), 0.0)
    key["x"], key["y"], key["z"] = s.lon_deg[rows], s.lat_deg[rows], s.logged_depth_m[rows]
    alike = _may_be_alike(key)
    rows, key = rows[alike], key[alike]
    order = np.lexsort((rows, key["z"], key["y"], key["x"], key["t"], key["log"]))
    again = np.concatenate([[False], key[order][1:] == key[order][:-1]])[: len(rows)]
    mask = np.zeros(len(s), dtype=bool)
    mask[rows[order[again]]] = True
    return s.with_flag(Flag.duplicate, mask)


def _may_be_alike(key: NDArray[np.void]) -> Ints:
    """The few rows whose mixed bits some other row has too; equal keys always have."""
    mixed = key["log"].astype(np.uint64)
    for name in ("t", "x", "y", "z"):
        bits = np.ascontiguousarray(key[name] + 0.0).view(np.uint64)
        mixed = (mixed ^ bits ^ (bits >> np.uint64(29))) * np.uint64(0x9E3779B97F4A7C15)
    order = np.argsort(mixed, kind="stable")
    same = mixed[order][1:] == mixed[order][:-1]
    return np.sort(order[np.append(same, False) | np.append(False, same)]) if len(order) else order


def flag_jumps(soundings: Soundings, settings: CleanSettings) -> Soundings:
    """Flag positions that the boat cannot have reached; those before and after a jump stay.

    Each log falls into pieces at steps that are too fast, and where one fix stands still: what is read there tells no
    speed, and is left to ``flag_frozen``. The chain of pieces that holds most rows, each reachable
    from the one before it, is the boat's track; rows of the others are jumps. Then short steps out and back
    are judged by the log's own speed.
    """
    bad = np.zeros(len(soundings), dtype=bool)
    for rows in _rows_by_log(soundings):
        timed = soundings.logs[int(soundings.log[rows[0]])].has_time if soundings.logs else True
        if timed:
            still = _still(soundings, rows, settings.frozen_rows)
            kept = _main_chain(soundings, rows, still, settings)
            bad[rows[~kept & ~still]] = True
            rows = rows[kept]
        bad[rows[_out_and_back(soundings, rows, timed, settings)]] = True
    return soundings.with_flag(Flag.position_jump, bad)


def _rows_by_log(soundings: Soundings) -> list[Ints]:
    """Rows with a place, log by log, in the order they came, usable but for off_water; logs without any left out."""
    others = np.uint32(FAULT_BITS & ~Flag.off_water.value)
    placed = ((soundings.flags & others) == 0) & np.isfinite(soundings.x_m)
    found = [np.flatnonzero(placed & (soundings.log == code)) for code in np.unique(soundings.log)]
    return [rows for rows in found if len(rows)]


def _still(soundings: Soundings, rows: Ints, least_rows: float) -> Bools:
    """Rows (m,) of runs of one identical fix, but for the first of each, which was fresh."""
    edges = np.concatenate([[0], np.flatnonzero(_steps(soundings, rows[:-1], rows[1:]) > 0) + 1, [len(rows)]])
    long = np.repeat(np.diff(edges) >= least_rows, np.diff(edges))
    long[edges[:-1]] = False
    return long


def _main_chain(soundings: Soundings, rows: Ints, still: Bools, settings: CleanSettings) -> Bools:
    """Which rows (m,) lie on the heaviest chain of reachable pieces. A clock that runs backwards is no evidence."""
    speed_mps, noise_m = settings.max_speed_mps, settings.gps_noise_m
    x, y, t = soundings.x_m[rows], soundings.y_m[rows], np.nan_to_num(soundings.time_s[rows])
    step, dt = np.hypot(np.diff(x), np.diff(y)), np.diff(t)
    cut = (step > speed_mps * np.maximum(dt, 0.0) + noise_m) | (dt < 0) | (still[1:] != still[:-1])
    edges = np.concatenate([[0], np.flatnonzero(cut) + 1, [len(rows)]])
    first, last, weight = edges[:-1], edges[1:] - 1, np.diff(edges)
    # one fix said a thousand times is hardly more than one fix
    best, before, top = np.where(still[first], np.sqrt(weight), weight), np.full(len(weight), -1), 0
    for i in range(1, len(weight)):
        back = np.append(np.arange(max(0, i - LOOK_BACK), i), top)
        length = np.hypot(x[first[i]] - x[last[back]], y[first[i]] - y[last[back]])
        gap_s = t[first[i]] - t[last[back]]
        reach = (length <= speed_mps * np.maximum(gap_s, 0.0) + noise_m) | (gap_s < 0)
        if reach.any():
            before[i] = back[reach][np.argmax(best[back[reach]])]
            best[i] += best[before[i]]
        top = i if best[i] > best[top] else top
    kept = np.zeros(len(weight), dtype=bool)
    while top >= 0:
        kept[top] = True
        top = int(before[top])
    return np.repeat(kept, weight)


def _steps(soundings: Soundings, a: Ints, b: Ints) -> Floats:
    return np.hypot(soundings.x_m[b] - soundings.x_m[a], soundings.y_m[b] - soundings.y_m[a])


def _out_and_back(soundings: Soundings, rows: Ints, timed: bool, settings: CleanSettings) -> Bools:
    """Rows (m,) of short runs that are left out of a track which runs on at usual speed without them."""
    out = np.zeros(len(rows), dtype=bool)
    if len(rows) < 4:
        return out
    allowed = _usual_reach(soundings, rows, timed, settings)
    long = _steps(soundings, rows[:-1], rows[1:]) > allowed(np.arange(len(rows) - 1), np.arange(1, len(rows)))
    edges = np.flatnonzero(long) + 1
    start, stop = edges[:-1], edges[1:]
    short = stop - start <= EXCURSION_ROWS
    start, stop = start[short], stop[short]
    bridged = _steps(soundings, rows[start - 1], rows[stop]) <= allowed(start - 1, stop)
    for first, end in zip(start[bridged], stop[bridged], strict=True):
        if not out[first - 1]:
            out[first:end] = True
    return out


def _usual_reach(
    soundings: Soundings, rows: Ints, timed: bool, settings: CleanSettings
) -> Callable[[Ints, Ints], Floats]:
    """How far [m] the boat may get between two positions in ``rows`` by the log's own habits, as a function."""
    step = _steps(soundings, rows[:-1], rows[1:])
    if not timed:
        limit_m = max(UNTIMED_JUMP_M, UNTIMED_JUMP_FACTOR * float(np.median(step)))
        return lambda a, b: np.full(len(a), limit_m)
    t = np.nan_to_num(soundings.time_s[rows])
    dt = np.diff(t)
    apart = dt >= LEAST_STEP_S
    speed = step[apart] / dt[apart]
    usual = float(np.quantile(speed, 0.99)) if len(speed) else LEAST_LIMIT_MPS
    limit = min(settings.max_speed_mps, max(LEAST_LIMIT_MPS, USUAL_SPEED_FACTOR * usual))
    return lambda a, b: limit * np.maximum(t[b] - t[a], 0.0) + settings.gps_noise_m / 2


def flag_frozen(soundings: Soundings, settings: CleanSettings) -> Soundings:
    """Flag runs of one identical fix after which the position leaps to catch up, and the rows of the leap.

    A boat at anchor gives identical fixes too, but sails off at its usual step; its rows stay, and so does
    the first row of every run, whose fix was fresh.
    """
    bad = np.zeros(len(soundings), dtype=bool)
    for rows in _rows_by_log(soundings):
        bad[rows[_frozen_rows(soundings, rows, settings.frozen_rows)]] = True
    return soundings.with_flag(Flag.frozen_fix, bad)


def _frozen_rows(soundings: Soundings, rows: Ints, least_rows: float) -> Bools:
    frozen = np.zeros(len(rows), dtype=bool)
    step = _steps(soundings, rows[:-1], rows[1:])
    if not (step > 0).any():
        return frozen
    leap = step > CATCH_UP_FACTOR * float(np.median(step[step > 0]))
    edges = np.concatenate([[0], np.flatnonzero(step > 0) + 1, [len(rows)]])
    # a row between two fixes may have gone part of the leap: the leap shows in the first or the second step
    soon = leap | np.append(leap[1:], False)
    leaves = np.append(soon[edges[1:-1] - 1], False)
    still = np.flatnonzero((np.diff(edges) >= least_rows) & leaves)
    for first, stop in zip(edges[still], edges[still + 1], strict=True):
        landed = stop - 1 if leap[stop - 1] else stop
        while landed < len(leap) and leap[landed]:
            landed += 1
        if step[stop - 1 : landed].sum() > CATCH_UP_M:
            frozen[first + 1 : landed] = True
    return frozen


def flag_far_groups(soundings: Soundings, settings: CleanSettings) -> Soundings:
    """Flag small groups of rows far from all others, as far_outlier: another lake, or the shop's test run.

    Rows are gathered in squares whose side is the larger of ``far_group_m`` and FAR_SPACINGS usual steps; squares that
    touch belong together.
    """
    rows = np.flatnonzero(soundings.usable() & np.isfinite(soundings.x_m))
    if len(rows) < LEAST_TO_JUDGE:
        return soundings
    step = _steps(soundings, rows[:-1], rows[1:])
    side_m = max(settings.far_group_m, FAR_SPACINGS * float(np.median(step)))
    column, row = (np.floor(values[rows] / side_m).astype(np.int64) for values in (soundings.x_m, soundings.y_m))
    row -= row.min()
    keys, cell_of = np.unique((column - column.min()) * (row.max() + 1) + row, return_inverse=True)
    cells = np.column_stack(np.divmod(keys, row.max() + 1))
    pairs = cKDTree(cells).query_pairs(1.5, output_type="ndarray")
    graph = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(cells), len(cells)))
    group = connected_components(graph, directed=False)[1][cell_of]
    small = np.bincount(group) <= max(1.0, FAR_SHARE * len(rows))
    far = np.zeros(len(soundings), dtype=bool)
    far[rows[small[group]]] = True
    return soundings.with_flag(Flag.far_outlier, far)
