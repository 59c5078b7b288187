"""The floor that other passes show at a place, by a plane through what they read around it: for the few rows in doubt.

Squares of neighbours.py serve all rows and are coarse; on a slope their medians are off by metres. Here each other
pass counts once a few metres, and slope is taken out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lakemap.model.soundings import NO_PASS, Soundings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

BLOCK_M = 3.0
"""Each pass counts once in a square of this side."""
REACH_M, NEAR_M = 15.0, 8.0
"""Readings farther away are no longer beside; within, those nearer count more (a bell of this width)."""
NEAREST = 40
STIFFNESS = 0.05
"""Weight of "no slope" in the plane's fit, as a share of the readings' own: keeps thin sets calm."""
LEAST_BLOCKS = 3
SAME_DATE_S = 3 * 86_400.0
"""Weed grows and sand moves between dates: only readings within so many seconds speak of the same floor."""
MAD_TO_SIGMA = 1.4826


@dataclass(frozen=True)
class Beside:
    """For k rows: ``level_m`` of the floor that other passes show there, NaN where fewer than LEAST_BLOCKS lie within
    REACH_M; ``spread_m`` of their readings about the plane; ``nearest_m`` how far away the nearest was read, and
    ``nearest_pass`` by which pass (-1: none)."""

    level_m: Floats
    spread_m: Floats
    nearest_m: Floats
    nearest_pass: Ints

    @property
    def known(self) -> Bools:
        """Where other passes say something."""
        return np.isfinite(self.level_m)


@dataclass(frozen=True)
class _Blocks:
    xy: Floats
    depth: Floats
    sailed: Ints
    dated_s: Floats


def floor_beside(soundings: Soundings, depth_m: Floats, rows: Ints, use: Bools, same_date: bool) -> Beside:
    """The floor at ``rows`` (k,) by the rows of ``use`` (n,) that belong to other passes, in terms of ``depth_m`` (n,):
    depths of all logs from one zero.

    With ``same_date`` only readings within SAME_DATE_S count, where both are dated.
    """
    blocks = _block_medians(soundings, depth_m, np.flatnonzero(use & (soundings.pass_id != NO_PASS)))
    if len(blocks.depth) == 0 or len(rows) == 0:
        nothing = np.full(len(rows), np.nan)
        return Beside(nothing, nothing, np.full(len(rows), np.inf), np.full(len(rows), -1))
    xy = np.column_stack([soundings.x_m[rows], soundings.y_m[rows]])
    count = min(NEAREST, len(blocks.depth))
    away, near = cKDTree(blocks.xy).query(xy, k=count, distance_upper_bound=REACH_M)
    away, near = away.reshape(len(rows), count), near.reshape(len(rows), count)
    there = np.isfinite(away)
    near = np.where(there, near, 0)
    there &= blocks.sailed[near] != soundings.pass_id[rows][:, None]
    if same_date:
        apart = np.abs(blocks.dated_s[near] - _dated_s(soundings, rows)[:, None])
        there &= ~(apart > SAME_DATE_S)
    return _planes(blocks, near, there, away, xy)


def _planes(blocks: _Blocks, near: Ints, there: Bools, away: Floats, xy: Floats) -> Beside:
    bell = np.where(there, np.exp(-((np.where(there, away, 0.0) / NEAR_M) ** 2)), 0.0)
    weight = bell
    offset = (blocks.xy[near] - xy[:, None, :]) / REACH_M
    depth = blocks.depth[near]
    design = np.concatenate([np.ones((*offset.shape[:2], 1)), offset], axis=2)
    level = np.zeros(len(near))
    left = np.zeros_like(depth)
    for _ in range(3):
        total = weight.sum(axis=1)
        normal = np.einsum("kni,kn,knj->kij", design, weight, design)
        normal += np.diag([0.0, 1.0, 1.0]) * (STIFFNESS * np.maximum(total, 1e-9))[:, None, None]
        normal += 1e-12 * np.eye(3)
        found = np.linalg.solve(normal, np.einsum("kni,kn,kn->ki", design, weight, depth)[..., None])[..., 0]
        level, left = found[:, 0], depth - np.einsum("kni,ki->kn", design, found)
        spread = MAD_TO_SIGMA * _median_where(np.abs(left), there)
        limit = 2.0 * np.maximum(spread, 0.05)[:, None]
        weight = bell * np.minimum(1.0, limit / np.maximum(np.abs(left), 1e-9))
    told = there.sum(axis=1) >= LEAST_BLOCKS
    reached = np.where(there, away, np.inf)
    first, row = reached.argmin(axis=1), np.arange(len(near))
    sailed = np.where(there.any(axis=1), blocks.sailed[near[row, first]], -1)
    return Beside(np.where(told, level, np.nan), np.where(told, spread, np.nan), reached[row, first], sailed)


def _median_where(values: Floats, there: Bools) -> Floats:
    """Lower median of the values (k, n) that are there, 0 where none is."""
    ordered = np.sort(np.where(there, values, np.inf), axis=1)
    middle = np.maximum(there.sum(axis=1) - 1, 0) // 2
    found = ordered[np.arange(len(values)), middle]
    return np.where(np.isfinite(found), found, 0.0)


def _dated_s(soundings: Soundings, rows: Ints) -> Floats:
    """Seconds since 1970, NaN for undated rows."""
    dated = soundings.time_utc[rows]
    return np.where(np.isnat(dated), np.nan, dated.astype(np.int64) / 1000.0)


def _block_medians(soundings: Soundings, depth_m: Floats, rows: Ints) -> _Blocks:
    """One reading of each pass in each square of BLOCK_M, median depth at its mean place."""
    rows = rows[np.isfinite(depth_m[rows])]
    x, y, sailed = soundings.x_m[rows], soundings.y_m[rows], soundings.pass_id[rows].astype(np.int64)
    if len(rows) == 0:
        return _Blocks(np.empty((0, 2)), np.empty(0), np.empty(0, np.int64), np.empty(0))
    column, line = (np.floor((values - values.min()) / BLOCK_M).astype(np.int64) for values in (x, y))
    cell = (sailed * (line.max() + 1) + line) * (column.max() + 1) + column
    depth = depth_m[rows]
    order = np.lexsort((depth, cell))
    new = np.concatenate([[True], np.diff(cell[order]) != 0])
    block, first = np.cumsum(new) - 1, np.flatnonzero(new)
    size = np.diff(np.append(first, len(rows)))

    def mean(values: Floats) -> Floats:
        return np.asarray(np.bincount(block, values[order]) / size)

    return _Blocks(
        np.column_stack([mean(x - x[0]) + x[0], mean(y - y[0]) + y[0]]), depth[order][first + size // 2],
        sailed[order][first], _dated_s(soundings, rows[order][first]),
    )
