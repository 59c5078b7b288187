"""Finds the places where two passes meet and what their depths say there."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from lakemap.model.crossovers import Crossovers
from lakemap.model.flags import Flag
from lakemap.model.soundings import NO_PASS, Soundings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

PIECE = 16
"""Segments a piece: boxes of pieces are searched first, single segments only inside pairs of boxes that touch."""
LEAST_ANGLE_SIN = 0.25
"""Passes that meet at less than some 15 degrees share a stretch rather than a place, and are left out."""
LONGEST_SEGMENT_M, LONGEST_STEPS = 30.0, 3.0
"""Between rows farther apart, and farther than so many usual steps, nothing is known of the floor."""
SHORTEST_SEGMENT_M = 0.5
"""Steps shorter than this are within the jitter of any fix; at anchor they would cross each other without end."""
SAME_PLACE_M = 10.0
"""Two passes that weave about each other differ by the same depths all along: that counts once."""


def find_crossovers(soundings: Soundings) -> Crossovers:
    """Every place where two passes cross, depths interpolated along both; near-linear in the number of rows.

    Rows with a fault or the note ``rise`` take no part. Passes that weave about each other, or about a boat at anchor,
    meet once each SAME_PLACE_M. The sigma of a difference joins both rows' depth_sigma_m.
    """
    start, end = _segments(soundings)
    i, j, along_i, along_j = _meeting(soundings, start, end)
    order = np.lexsort((along_i, start[j], start[i]))
    found = _differences(soundings, (start[i], end[i], along_i), (start[j], end[j], along_j), order)
    return found.take(_one_a_place(found))


def disagreement_m(soundings: Soundings) -> float:
    """Median of what depths differ by where passes cross [m]; NaN where none do."""
    return find_crossovers(soundings).median_abs_m


def _segments(soundings: Soundings) -> tuple[Ints, Ints]:
    """First and last row of each usable segment (m,), pass by pass; rows closer than SHORTEST_SEGMENT_M are skipped."""
    from lakemap.geo.crossing_kernel import thin  # numba takes its time to load: only where needed

    good = soundings.usable() & ~soundings.has(Flag.rise) & np.isfinite(soundings.depth_m)
    rows = np.flatnonzero(good & (soundings.pass_id != NO_PASS))
    rows = rows[np.argsort(soundings.pass_id[rows], kind="stable")]
    x, y, sailed = soundings.x_m[rows], soundings.y_m[rows], soundings.pass_id[rows].astype(np.int64)
    rows = rows[thin(x, y, sailed, SHORTEST_SEGMENT_M)]
    a, b = rows[:-1], rows[1:]
    length = np.hypot(soundings.x_m[b] - soundings.x_m[a], soundings.y_m[b] - soundings.y_m[a])
    keep = (soundings.pass_id[a] == soundings.pass_id[b]) & (length > 0)
    if keep.any():
        keep &= length <= max(LONGEST_SEGMENT_M, LONGEST_STEPS * float(np.median(length[keep])))
    return a[keep], b[keep]


def _meeting(soundings: Soundings, start: Ints, end: Ints) -> tuple[Ints, Ints, Floats, Floats]:
    """Pairs of segments of different passes that cross, each pair once, with the share (0..1) of each where they do."""
    from lakemap.geo.crossing_kernel import meet

    if len(start) == 0:
        return np.empty(0, np.int64), np.empty(0, np.int64), np.empty(0), np.empty(0)
    first = _piece_starts(soundings.pass_id[start])
    boxes = _piece_boxes(soundings, start, end, first)
    a, b = shapely.STRtree(boxes).query(boxes, predicate="intersects")
    piece_pass = soundings.pass_id[start[first]]
    keep = (a < b) & (piece_pass[a] != piece_pass[b])
    x, y = soundings.x_m, soundings.y_m
    ends = np.column_stack([x[start], y[start], x[end], y[end]])
    room, bounds = len(start), np.append(first, len(start)).astype(np.int64)
    while True:
        count, i, j, along_i, along_j = meet(
            ends, bounds, a[keep].astype(np.int64), b[keep].astype(np.int64), LEAST_ANGLE_SIN, room)
        if count <= room:
            return i[:count], j[:count], along_i[:count], along_j[:count]
        room = count


def _one_a_place(found: Crossovers) -> Ints:
    """Of crossovers of the same two passes that lie within SAME_PLACE_M of the one before, the one in the middle."""
    if len(found) == 0:
        return np.empty(0, np.int64)
    order = np.lexsort((found.row_a, found.pass_b, found.pass_a))
    step = np.hypot(np.diff(found.x_m[order]), np.diff(found.y_m[order]))
    a, b = found.pass_a[order], found.pass_b[order]
    new = np.concatenate([[True], (np.diff(a) != 0) | (np.diff(b) != 0) | (step > SAME_PLACE_M)])
    group = np.cumsum(new) - 1
    by_size = np.lexsort((order, found.difference_m[order], group))
    first = np.flatnonzero(new)
    size = np.diff(np.append(first, len(order)))
    return np.sort(order[by_size][first + (size - 1) // 2])


def _piece_starts(segment_pass: NDArray[np.int32]) -> Ints:
    """Number of the first segment of each piece; a piece never spans two passes."""
    new_pass = np.concatenate([[True], segment_pass[1:] != segment_pass[:-1]])
    number = np.arange(len(segment_pass))
    since = number - np.maximum.accumulate(np.where(new_pass, number, 0))
    return np.flatnonzero(since % PIECE == 0)


def _piece_boxes(soundings: Soundings, start: Ints, end: Ints, first: Ints) -> NDArray[np.object_]:
    x, y = soundings.x_m, soundings.y_m
    low = (np.minimum(x[start], x[end]), np.minimum(y[start], y[end]))
    high = (np.maximum(x[start], x[end]), np.maximum(y[start], y[end]))
    west, south = (np.minimum.reduceat(side, first) for side in low)
    east, north = (np.maximum.reduceat(side, first) for side in high)
    return np.asarray(shapely.box(west, south, east, north))


def _differences(
    soundings: Soundings, a: tuple[Ints, Ints, Floats], b: tuple[Ints, Ints, Floats], order: Ints
) -> Crossovers:
    def along(column: NDArray[np.floating], side: tuple[Ints, Ints, Floats]) -> Floats:
        start, end, share = (part[order] for part in side)
        return np.asarray(column[start] * (1 - share) + column[end] * share, dtype=np.float64)

    def nearer(side: tuple[Ints, Ints, Floats]) -> Ints:
        start, end, share = (part[order] for part in side)
        return np.where(share < 0.5, start, end)

    row_a, row_b = nearer(a), nearer(b)
    return Crossovers(
        row_a=row_a, row_b=row_b, pass_a=soundings.pass_id[row_a], pass_b=soundings.pass_id[row_b],
        x_m=along(soundings.x_m, a), y_m=along(soundings.y_m, a),
        difference_m=along(soundings.depth_m, a) - along(soundings.depth_m, b),
        sigma_m=np.hypot(along(soundings.depth_sigma_m, a), along(soundings.depth_sigma_m, b)),
    )
