"""Tracks cut into passes: runs kept on one course, and what a boat does when it keeps none.

A drift and a spell at anchor are one pass each, however the fixes wander: below a knot a course means nothing. Short
halts on the way (paddling by fits and starts) end no pass. A boat that goes round in loops keeps no course either: its
arcs are gathered into passes of some length, not cut at every turn.
"""

from __future__ import annotations

import itertools

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lakemap.geo.motion import SLOWEST_MPS, TIME_GAP_S, motion
from lakemap.model.soundings import NO_PASS, Soundings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

TURN_DEG = 45.0
"""A change of course that ends a pass; common practice of the trade: survey lines are kept within some 20 degrees."""
STRAIGHTNESS_M = 8.0
"""How far a track may wander off a straight leg before the leg is split; a few times the error of one fix."""
SHORTEST_PASS_M = 25.0
"""Legs shorter than this (the arcs of a turn) stay with the pass before them."""
SLOW_HALF_S = 10.0
"""Speed is taken over this long before and after: a fix that wanders by a metre a minute is no way made."""
HALT_S = 60.0
"""A shorter spell below a knot is a halt on the way."""
DASH_M = 20.0
"""A faster spell that gets no farther than this is a boat swinging on its rope, or a puff of wind."""
CURVED_M, CURVED_SHARE = 3.0, 0.06
"""A leg that leaves its chord by both, metres and share of its length, is an arc: a straight leg with the error of its
fixes stays within."""
LONGEST_ARC_M, LOOP_PASS_M = 120.0, 250.0
"""Arcs up to the one length are gathered into passes of up to the other; as long as the shorter legs of a survey."""
ROUND_FACTOR = 1.4
"""A leg this many times as long as its chord goes round (half a circle: 1.57, a quarter: 1.11) and is shared out."""
GAP_FACTOR = 10.0
"""A step this many times the median step of its log ends a pass."""
LEAST_GAP_M = 30.0
"""Steps shorter than this never end a pass, however dense the log."""
SCATTER_RATIO = 3.0
"""Where the median step exceeds this many times the distance to the nearest neighbour, row order is no track."""


def cut_passes(soundings: Soundings) -> Soundings:
    """Fill ``pass_id``: 0, 1, ... in the order of logs and rows; rows with a fault or without place get -1."""
    pass_id = np.full(len(soundings), NO_PASS, dtype=np.int32)
    in_use = soundings.usable() & np.isfinite(soundings.x_m)
    slow = motion(soundings, SLOW_HALF_S).speed_mps < SLOWEST_MPS
    count = 0
    for code in range(len(soundings.logs)):
        rows = np.flatnonzero(in_use & (soundings.log == code))
        if len(rows) < 2 or soundings.logs[code].single or _is_scatter(soundings, rows):
            continue
        for leg in _legs_of_log(soundings, rows, slow):
            pass_id[leg] = count
            count += 1
    return soundings.with_columns(pass_id=pass_id)


def _is_scatter(soundings: Soundings, rows: NDArray[np.int64]) -> bool:
    """Whether row order jumps about (a table of gathered points) rather than following a boat."""
    if soundings.logs[int(soundings.log[rows[0]])].has_time:
        return False
    xy = np.column_stack([soundings.x_m[rows], soundings.y_m[rows]])
    steps = np.hypot(*np.diff(xy, axis=0).T)
    distinct = np.unique(xy, axis=0)
    if len(distinct) < 3:
        return True
    nearest = cKDTree(distinct).query(distinct, k=2)[0][:, 1]
    return bool(np.median(steps) > SCATTER_RATIO * np.median(nearest))


def _legs_of_log(soundings: Soundings, rows: Ints, slow: Bools) -> list[Ints]:
    """The passes of one log; ``slow`` (n,) rows made less than a knot good."""
    x_m, y_m, time_s = soundings.x_m[rows], soundings.y_m[rows], soundings.time_s[rows]
    step_m, step_s = np.hypot(np.diff(x_m), np.diff(y_m)), np.diff(time_s)
    moving = step_m[step_m > 0]
    limit_m = max(LEAST_GAP_M, GAP_FACTOR * float(np.median(moving))) if len(moving) else LEAST_GAP_M
    has_time = soundings.logs[int(soundings.log[rows[0]])].has_time
    broken = (step_m > limit_m) | (has_time & ((step_s > TIME_GAP_S) | (step_s < 0)))
    edges = np.concatenate([[0], np.flatnonzero(broken) + 1, [len(rows)]])
    legs: list[Ints] = []
    for start, stop in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        xy = np.column_stack([x_m[start:stop], y_m[start:stop]])
        spells = _spells(xy, time_s[start:stop], slow[rows[start:stop]]) if has_time else [(0, stop - start, False)]
        for first, last, still in spells:
            legs += [rows[start + first + leg] for leg in _legs_of_spell(xy[first:last], still)]
    return legs


def _spells(xy: Floats, time_s: Floats, slow: Bools) -> list[tuple[int, int, bool]]:
    """(first, end, whether slow) of the spells of one unbroken run (m,): halts and dashes are no spells of their own.
    """
    if not slow.any() or slow.all():
        return [(0, len(slow), bool(slow.any()))]
    edges = _edges(slow)
    for first, end in itertools.pairwise(edges):
        if slow[first] and time_s[end - 1] - time_s[first] < HALT_S:
            slow[first:end] = False
    edges = _edges(slow)
    if slow.any():
        for first, end in itertools.pairwise(edges):
            if not slow[first] and np.hypot(*(xy[first:end] - xy[first]).T).max() < DASH_M:
                slow[first:end] = True
    edges = _edges(slow)
    return [(int(a), int(b), bool(slow[a])) for a, b in itertools.pairwise(edges)]


def _edges(mask: Bools) -> Ints:
    return np.concatenate([[0], np.flatnonzero(mask[1:] != mask[:-1]) + 1, [len(mask)]])


def _legs_of_spell(xy: Floats, still: bool) -> list[Ints]:
    """Row numbers (k,) of each pass within one spell; a spell of one row is no pass."""
    if len(xy) < 2:
        return []
    if still:
        return [np.arange(len(xy))]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    legs = [leg for leg in np.split(np.arange(len(xy)), _corners(xy)) if len(leg) > 0]
    return _loops_joined(xy, [part for leg in legs for part in _shared_out(xy, along, leg)])


def _shared_out(xy: Floats, along: Floats, leg: Ints) -> list[Ints]:
    """A leg that goes round, in equal parts of up to LOOP_PASS_M; any other as it is."""
    length_m = along[leg[-1]] - along[leg[0]]
    if length_m <= max(LOOP_PASS_M, ROUND_FACTOR * float(np.hypot(*(xy[leg[-1]] - xy[leg[0]])))):
        return [leg]
    part = np.floor((along[leg] - along[leg[0]]) / length_m * np.ceil(length_m / LOOP_PASS_M) * (1 - 1e-9))
    return np.split(leg, np.flatnonzero(np.diff(part)) + 1)


def _loops_joined(xy: Floats, legs: list[Ints]) -> list[Ints]:
    """The legs, with arcs that follow each other gathered into passes of up to LOOP_PASS_M."""
    joined: list[Ints] = []
    gathered_m = np.inf
    for leg in legs:
        length_m = float(np.hypot(*np.diff(xy[leg], axis=0).T).sum())
        arc = length_m <= LONGEST_ARC_M and _is_arc(xy[leg])
        if arc and gathered_m + length_m <= LOOP_PASS_M:
            joined[-1] = np.concatenate([joined[-1], leg])
            gathered_m += length_m
        else:
            joined.append(leg)
            gathered_m = length_m if arc else np.inf
    return joined


def _is_arc(xy: Floats) -> bool:
    """Whether a leg (k, 2) leaves its chord farther than a straight one would."""
    chord = xy[-1] - xy[0]
    length = float(np.hypot(*chord))
    away = np.abs(chord[0] * (xy[:, 1] - xy[0, 1]) - chord[1] * (xy[:, 0] - xy[0, 0])).max() / max(length, 1e-9)
    return bool(away > max(CURVED_M, CURVED_SHARE * length))


def _corners(xy: Floats) -> NDArray[np.int64]:
    """Row numbers at which a new leg starts; xy (n, 2).

    The track is simplified (Douglas & Peucker 1973) and cut at the corners that turn by more than TURN_DEG.
    """
    line = shapely.simplify(shapely.linestrings(xy), STRAIGHTNESS_M, preserve_topology=False)
    kept = shapely.get_coordinates(line)
    if len(kept) < 3:
        return np.empty(0, dtype=np.int64)
    at = _rows_of(kept, xy)
    leg = np.diff(kept, axis=0)
    course = np.degrees(np.arctan2(leg[:, 1], leg[:, 0]))
    return _long_enough(at, course, np.hypot(leg[:, 0], leg[:, 1]))


def _rows_of(kept: Floats, xy: Floats) -> NDArray[np.int64]:
    """Row of each kept vertex (k,): vertices are rows of xy (n, 2), in order; a place may be met twice."""
    place, vertex = xy[:, 0] + 1j * xy[:, 1], kept[:, 0] + 1j * kept[:, 1]
    candidates = np.flatnonzero(np.isin(place, vertex))
    at, next_vertex = np.empty(len(kept), dtype=np.int64), 0
    for row in candidates.tolist():
        if next_vertex < len(kept) and place[row] == vertex[next_vertex]:
            at[next_vertex] = row
            next_vertex += 1
    return at


def _long_enough(at: NDArray[np.int64], course_deg: Floats, length_m: Floats) -> NDArray[np.int64]:
    """Corners that both turn and leave the legs long enough, walking from the start."""
    corners: list[int] = []
    ref, since = course_deg[0], length_m[0]
    for i in range(1, len(course_deg)):
        turn = abs((course_deg[i] - ref + 180.0) % 360.0 - 180.0)
        if turn > TURN_DEG and since >= SHORTEST_PASS_M and length_m[i:].sum() >= SHORTEST_PASS_M:
            corners.append(int(at[i]))
            ref, since = course_deg[i], 0.0
        elif length_m[i] > SHORTEST_PASS_M:
            ref = course_deg[i]
        since += length_m[i]
    return np.asarray(corners, dtype=np.int64)


def along_pass_m(soundings: Soundings) -> Floats:
    """Distance sailed since the start of its pass [m], shape (n,); NaN for rows of no pass."""
    out = np.full(len(soundings), np.nan)
    order = np.flatnonzero(soundings.pass_id != NO_PASS)
    order = order[np.argsort(soundings.pass_id[order], kind="stable")]
    if len(order) == 0:
        return out
    step = np.hypot(np.diff(soundings.x_m[order]), np.diff(soundings.y_m[order]))
    first = np.diff(soundings.pass_id[order]) != 0
    run = np.concatenate([[0.0], np.cumsum(np.where(first, 0.0, step))])
    starts = np.concatenate([[True], first])
    out[order] = run - np.maximum.accumulate(np.where(starts, run, 0.0))
    return out
