"""What other passes say of the depth at a place: square by square, or point by point."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lakemap.model.flags import Flag
from lakemap.model.soundings import NO_PASS, Soundings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

LEAST_BLOCKS = 3
"""Blocks of other passes needed before they are believed against a row."""
LEAST_PASSES = 2
"""Other passes needed: of two that disagree alone, nobody knows which is wrong."""
FAR_M, FAR_SHARE, FAR_SIGMAS = 3.0, 0.5, 6.0
"""A depth is far from what others say when it differs by all three: metres, share of the depth, their own spread;
and by half as much from each single one of them, since near a wall their median may lie on its other side."""
NEAREST = 8
SCATTER_M, SCATTER_SHARE, SCATTER_SIGMAS = 1.0, 0.3, 8.0
"""The same for gathered points, judged by the NEAREST points about them."""
MAD_TO_SIGMA = 1.4826


@dataclass(frozen=True)
class Others:
    """For n rows: median depth of other passes' blocks in the 3 x 3 squares about each, their robust spread, the
    least and greatest of them, how many blocks and passes they are; NaN and 0 where there are none.
    """

    level_m: Floats
    spread_m: Floats
    least_m: Floats
    greatest_m: Floats
    blocks: Ints
    passes: Ints

    def take(self, rows: Ints) -> Others:
        """Some rows, by index."""
        return Others(
            self.level_m[rows], self.spread_m[rows], self.least_m[rows], self.greatest_m[rows], self.blocks[rows],
            self.passes[rows],
        )


def other_passes(soundings: Soundings, rows: Ints, cell_m: float) -> Others:
    """What the other passes say at ``rows`` (k,), all of which have a pass; squares of ``cell_m``."""
    x, y = soundings.x_m[rows], soundings.y_m[rows]
    column = np.floor((x - x.min()) / cell_m).astype(np.int64) + 1
    row = np.floor((y - y.min()) / cell_m).astype(np.int64) + 1
    width = int(column.max()) + 2
    cell, sailed = row * width + column, soundings.pass_id[rows].astype(np.int64)
    block_of, first, level = _blocks(cell, sailed, soundings.logged_depth_m[rows])
    pair_a, pair_b = _pairs(cell[first], sailed[first], width)
    said = _summed_up(pair_a, level[pair_b], sailed[first][pair_b], len(first))
    return said.take(block_of)


def _blocks(cell: Ints, sailed: Ints, depth: Floats) -> tuple[Ints, Ints, Floats]:
    """Block number of each row (k,), one row of each block (b,), median depth of each block (b,); by square, pass."""
    order = np.lexsort((depth, sailed, cell))
    c, p = cell[order], sailed[order]
    new = np.concatenate([[True], (c[1:] != c[:-1]) | (p[1:] != p[:-1])])
    block_of = np.empty(len(order), dtype=np.int64)
    block_of[order] = np.cumsum(new) - 1
    start = np.flatnonzero(new)
    size = np.diff(np.append(start, len(order)))
    return block_of, order[start], depth[order][start + size // 2]


def _pairs(cell: Ints, sailed: Ints, width: int) -> tuple[Ints, Ints]:
    """Pairs of blocks (a, b) of different passes in touching squares; blocks are sorted by square."""
    found_a, found_b = [], []
    for offset in (-width - 1, -width, -width + 1, -1, 0, 1, width - 1, width, width + 1):
        low, high = np.searchsorted(cell, cell + offset), np.searchsorted(cell, cell + offset, "right")
        size = high - low
        a = np.repeat(np.arange(len(cell)), size)
        b = np.arange(size.sum()) - np.repeat(np.cumsum(size) - size, size) + np.repeat(low, size)
        differs = sailed[a] != sailed[b]
        found_a.append(a[differs])
        found_b.append(b[differs])
    return np.concatenate(found_a), np.concatenate(found_b)


def _summed_up(group: Ints, value: Floats, sailed: Ints, n: int) -> Others:
    """What the values of each group 0..n-1 say together."""
    count = np.bincount(group, minlength=n)
    level = _group_median(group, value, count)
    spread = MAD_TO_SIGMA * _group_median(group, np.abs(value - level[group]), count)
    order = np.lexsort((sailed, group))
    g, p = group[order], sailed[order]
    new = np.concatenate([[True], (g[1:] != g[:-1]) | (p[1:] != p[:-1])])[: len(g)]
    least, greatest = np.full(n, np.inf), np.full(n, -np.inf)
    np.minimum.at(least, group, value)
    np.maximum.at(greatest, group, value)
    return Others(level, spread, least, greatest, count, np.bincount(g[new], minlength=n))


def _group_median(group: Ints, value: Floats, count: Ints) -> Floats:
    order = np.lexsort((value, group))
    first = np.cumsum(count) - count
    out = np.full(len(count), np.nan)
    some = count > 0
    out[some] = value[order][first[some] + (count[some] - 1) // 2]
    return out


def flag_far_outliers(soundings: Soundings, cell_m: float) -> Soundings:
    """Flag rows whose depth lies far from what at least LEAST_PASSES other passes say about their place.

    The squares are judged with all rows in use, so a pass that is wrong as a whole stands against its neighbours. Rows
    with the note ``rise`` are left alone.
    """
    rows = np.flatnonzero(
        soundings.usable() & (soundings.pass_id != NO_PASS) & np.isfinite(soundings.logged_depth_m)
    )
    far = np.zeros(len(soundings), dtype=bool)
    if len(rows):
        others = other_passes(soundings, rows, cell_m)
        depth, level = soundings.logged_depth_m[rows], np.nan_to_num(others.level_m)
        limit = np.maximum(np.maximum(FAR_M, FAR_SHARE * level), FAR_SIGMAS * np.nan_to_num(others.spread_m))
        backed = (others.blocks >= LEAST_BLOCKS) & (others.passes >= LEAST_PASSES)
        outside = (depth < others.least_m - limit / 2) | (depth > others.greatest_m + limit / 2)
        far[rows] = backed & outside & (np.abs(depth - level) > limit)
    return soundings.with_flag(Flag.far_outlier, far & ~soundings.has(Flag.rise))


def flag_scattered_spikes(soundings: Soundings) -> Soundings:
    """Flag depths of gathered points (rows that no pass holds) far from those of the NEAREST points around them."""
    alone = (soundings.pass_id == NO_PASS) & np.isfinite(soundings.x_m) & np.isfinite(soundings.logged_depth_m)
    rows = np.flatnonzero(soundings.usable() & alone)
    spike = np.zeros(len(soundings), dtype=bool)
    if len(rows) > NEAREST:
        xy = np.column_stack([soundings.x_m[rows], soundings.y_m[rows]])
        depth = soundings.logged_depth_m[rows]
        around = depth[cKDTree(xy).query(xy, k=NEAREST + 1)[1][:, 1:]]
        level = np.median(around, axis=1)
        spread = MAD_TO_SIGMA * np.median(np.abs(around - level[:, None]), axis=1)
        limit = np.maximum(np.maximum(SCATTER_M, SCATTER_SHARE * level), SCATTER_SIGMAS * spread)
        spike[rows] = np.abs(depth - level) > limit
    return soundings.with_flag(Flag.spike, spike)
