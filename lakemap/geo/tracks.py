"""Tracks cut into passes: runs kept on one course."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lakemap.model.soundings import NO_PASS, Soundings

Floats = NDArray[np.float64]

TURN_DEG = 45.0
"""A change of course that ends a pass; common practice of the trade: survey lines are kept within some 20 degrees."""
STRAIGHTNESS_M = 8.0
"""How far a track may wander off a straight leg before the leg is split; a few times the error of one fix."""
SHORTEST_PASS_M = 25.0
"""Legs shorter than this (the arcs of a turn) stay with the pass before them."""
TIME_GAP_S = 30.0
"""A pause after which the boat may be anywhere."""
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
    count = 0
    for code in range(len(soundings.logs)):
        rows = np.flatnonzero(in_use & (soundings.log == code))
        if len(rows) < 2 or _is_scatter(soundings, rows):
            continue
        for leg in _legs_of_log(soundings, rows):
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


def _legs_of_log(soundings: Soundings, rows: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    x_m, y_m, time_s = soundings.x_m[rows], soundings.y_m[rows], soundings.time_s[rows]
    step_m, step_s = np.hypot(np.diff(x_m), np.diff(y_m)), np.diff(time_s)
    moving = step_m[step_m > 0]
    limit_m = max(LEAST_GAP_M, GAP_FACTOR * float(np.median(moving))) if len(moving) else LEAST_GAP_M
    has_time = soundings.logs[int(soundings.log[rows[0]])].has_time
    broken = (step_m > limit_m) | (has_time & ((step_s > TIME_GAP_S) | (step_s < 0)))
    runs = np.split(np.arange(len(rows)), np.flatnonzero(broken) + 1)
    return [rows[leg] for run in runs for leg in _straight_legs(x_m, y_m, run)]


def _straight_legs(x_m: Floats, y_m: Floats, run: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    """Cut one unbroken run where the course turns; a run of one row is no pass."""
    if len(run) < 2:
        return []
    corners = _corners(np.column_stack([x_m[run], y_m[run]]))
    return [leg for leg in np.split(run, corners) if len(leg) > 0]


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
