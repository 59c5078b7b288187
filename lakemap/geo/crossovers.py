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
LONGEST_SEGMENT_M = 30.0
"""Between rows farther apart nothing is known of the floor."""


def find_crossovers(soundings: Soundings) -> Crossovers:
    """Every place where two passes cross, depths interpolated along both.

    Rows with a fault or the note ``rise`` take no part. The sigma of a difference joins both rows' depth_sigma_m.
    """
    start, end = _segments(soundings)
    i, j = _candidate_pairs(soundings, start, end)
    i, j, along_i, along_j = _meeting(soundings, start, end, i, j)
    order = np.lexsort((along_i, start[j], start[i]))
    return _differences(soundings, (start[i], end[i], along_i), (start[j], end[j], along_j), order)


def _segments(soundings: Soundings) -> tuple[Ints, Ints]:
    """First and last row of each usable segment (m,), pass by pass."""
    good = soundings.usable() & ~soundings.has(Flag.rise) & np.isfinite(soundings.depth_m)
    rows = np.flatnonzero(good & (soundings.pass_id != NO_PASS))
    rows = rows[np.argsort(soundings.pass_id[rows], kind="stable")]
    a, b = rows[:-1], rows[1:]
    length = np.hypot(soundings.x_m[b] - soundings.x_m[a], soundings.y_m[b] - soundings.y_m[a])
    keep = (soundings.pass_id[a] == soundings.pass_id[b]) & (length > 0) & (length <= LONGEST_SEGMENT_M)
    return a[keep], b[keep]


def _candidate_pairs(soundings: Soundings, start: Ints, end: Ints) -> tuple[Ints, Ints]:
    """Pairs of segments of different passes whose pieces' boxes touch, each pair once."""
    if len(start) == 0:
        return np.empty(0, np.int64), np.empty(0, np.int64)
    first = _piece_starts(soundings.pass_id[start])
    boxes = _piece_boxes(soundings, start, end, first)
    a, b = shapely.STRtree(boxes).query(boxes, predicate="intersects")
    piece_pass = soundings.pass_id[start[first]]
    keep = (a < b) & (piece_pass[a] != piece_pass[b])
    return _unroll(first, len(start), a[keep], b[keep])


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


def _unroll(first: Ints, total: int, a: Ints, b: Ints) -> tuple[Ints, Ints]:
    """All segment pairs of the piece pairs (a, b)."""
    size = np.diff(np.append(first, total))
    grid = np.arange(PIECE)
    i = (first[a][:, None, None] + grid[None, :, None]) + np.zeros((1, 1, PIECE), np.int64)
    j = (first[b][:, None, None] + grid[None, None, :]) + np.zeros((1, PIECE, 1), np.int64)
    real = (grid[None, :, None] < size[a][:, None, None]) & (grid[None, None, :] < size[b][:, None, None])
    return i[real], j[real]


def _meeting(soundings: Soundings, start: Ints, end: Ints, i: Ints, j: Ints) -> tuple[Ints, Ints, Floats, Floats]:
    """Pairs that really cross, with the share (0..1) of each segment at which they do."""
    x, y = soundings.x_m, soundings.y_m
    ux, uy = x[end[i]] - x[start[i]], y[end[i]] - y[start[i]]
    vx, vy = x[end[j]] - x[start[j]], y[end[j]] - y[start[j]]
    wx, wy = x[start[j]] - x[start[i]], y[start[j]] - y[start[i]]
    cross = ux * vy - uy * vx
    steep = np.abs(cross) > LEAST_ANGLE_SIN * np.hypot(ux, uy) * np.hypot(vx, vy)
    safe = np.where(steep, cross, 1.0)
    along_i, along_j = (wx * vy - wy * vx) / safe, (wx * uy - wy * ux) / safe
    hit = steep & (along_i >= 0) & (along_i < 1) & (along_j >= 0) & (along_j < 1)
    return i[hit], j[hit], along_i[hit], along_j[hit]


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
