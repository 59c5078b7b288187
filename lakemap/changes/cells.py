"""The depth of each square on each date, at the square's middle, with its error."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lakemap.changes.medians import group_medians
from lakemap.changes.passes import pass_offsets
from lakemap.model.soundings import Soundings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MAD_TO_SIGMA = 1.4826
STIFFNESS = 0.05
"""Weight of "no slope" in the fit of a square's slope, as a share of the readings' own; keeps thin squares calm."""
FEWEST_ROWS = 3
"""Fewer rows than this say nothing of a square."""


@dataclass(frozen=True)
class CellDepths:
    """c squares that were read, k dates. ``rows`` (m,) are the soundings that took part, ``cell`` and ``date`` theirs.

    ``column, line`` (c,): place of the square, ``cell_m`` its side; ``slope`` (c, 2): fall of the floor eastward and
    northward; ``depth_m, sigma_m`` (c, k): depth at the middle and its error, NaN where not seen; ``level_m`` (m,):
    each row's depth brought to its square's middle, less what its pass is off by; ``date_offset_m`` (k,): what the
    passes of each date were off by together.
    """

    rows: Ints
    cell: Ints
    date: Ints
    column: Ints
    line: Ints
    cell_m: float
    slope: Floats
    depth_m: Floats
    sigma_m: Floats
    level_m: Floats
    date_offset_m: Floats

    @property
    def middle(self) -> Floats:
        """x and y (c, 2) of the squares' middles [m]."""
        return np.asarray((np.column_stack([self.column, self.line]) + 0.5) * self.cell_m, np.float64)


def depths_by_date(soundings: Soundings, date: Ints, dates: int, cell_m: float) -> CellDepths:
    """Depths by square and date; ``date`` (n,) numbers each row's date, below 0 for rows that take no part.

    The slope of a square is fitted to what its rows and those of the squares around it tell within each date and
    square, so a floor that rose as a whole does not tilt it.
    """
    use = soundings.usable() & np.isfinite(soundings.x_m) & np.isfinite(soundings.depth_m) & (date >= 0)
    rows = np.flatnonzero(use)
    xy = np.column_stack([soundings.x_m[rows], soundings.y_m[rows]])
    place, cell = np.unique(np.floor(xy / cell_m).astype(np.int64), axis=0, return_inverse=True)
    cell = cell.ravel().astype(np.int64)
    off = xy - (place[cell] + 0.5) * cell_m
    depth, group = soundings.depth_m[rows], cell * dates + date[rows]
    slope = _slopes(place, cell, group, off, depth)
    level = depth - (slope[cell] * off).sum(axis=1)
    sailed = np.unique(soundings.pass_id[rows], return_inverse=True)[1].astype(np.int64)
    offset = pass_offsets(level, cell, sailed)
    level = level - offset
    value, sigma = _summed_up(soundings, rows, group, level, slope[cell], len(place) * dates)
    shape = (len(place), dates)
    return CellDepths(rows, cell, date[rows], place[:, 0], place[:, 1], cell_m, slope, value.reshape(shape),
                      sigma.reshape(shape), level, np.nan_to_num(group_medians(date[rows], offset, dates)))


def _slopes(place: Ints, cell: Ints, group: Ints, off: Floats, depth: Floats) -> Floats:
    """Fall of the floor (c, 2) by least squares within groups, over each square and the eight around it."""
    count = np.bincount(group)
    x, y, z = (column - (np.bincount(group, column) / np.maximum(count, 1))[group] for column in (*off.T, depth))
    products = ((x, x), (x, y), (y, y), (x, z), (y, z))
    sums = np.column_stack([np.bincount(cell, a * b, len(place)).astype(np.float64) for a, b in products])
    xx, xy, yy, xz, yz = _with_neighbours(place, sums).T
    ridge = STIFFNESS * (xx + yy) / 2 + 1e-9
    determinant = (xx + ridge) * (yy + ridge) - xy**2
    fall = np.column_stack([(yy + ridge) * xz - xy * yz, (xx + ridge) * yz - xy * xz])
    return np.asarray(fall / determinant[:, None], np.float64)


def _with_neighbours(place: Ints, sums: Floats) -> Floats:
    total = np.zeros_like(sums)
    for number, near in neighbours(place):
        total[number] += sums[near]
    return total


def neighbours(place: Ints) -> list[tuple[Ints, Ints]]:
    """For each of the nine offsets: squares (numbers) that have a read square there, and its number; place (c, 2)."""
    low = place.min(axis=0) - 1 if len(place) else np.zeros(2, np.int64)
    width = int(place[:, 1].max() - low[1] + 2) if len(place) else 1
    key = (place[:, 0] - low[0]) * width + place[:, 1] - low[1]
    found = []
    for step in (-width - 1, -width, -width + 1, -1, 0, 1, width - 1, width, width + 1):
        at = np.clip(np.searchsorted(key, key + step), 0, max(len(key) - 1, 0))
        there = np.flatnonzero(key[at] == key + step) if len(key) else np.empty(0, np.int64)
        found.append((there, at[there]))
    return found


def _summed_up(
    soundings: Soundings, rows: Ints, group: Ints, level: Floats, slope: Floats, groups: int
) -> tuple[Floats, Floats]:
    """Median and its error (groups,). Scatter shrinks with the rows; what the rows of a pass share, with the passes."""
    count = np.bincount(group, minlength=groups)
    median = group_medians(group, level, groups)
    scatter = _calm(MAD_TO_SIGMA * group_medians(group, np.abs(level - median[group]), groups), count)
    shared = soundings.depth_sigma_m[rows].astype(float) ** 2
    place = np.nan_to_num(soundings.position_sigma_m[rows].astype(float)) ** 2 * (slope**2).sum(axis=1)
    passes = _distinct(group, soundings.pass_id[rows].astype(np.int64), groups)
    safe = np.maximum(count, 1)
    error = np.bincount(group, np.nan_to_num(shared) + place, groups) / safe / np.maximum(passes, 1)
    sigma = np.sqrt(np.pi / 2 * scatter**2 / safe + error)
    seen = count >= FEWEST_ROWS
    return np.where(seen, median, np.nan), np.where(seen, sigma, np.nan)


def _calm(scatter: Floats, count: Ints) -> Floats:
    """Scatter kept near the lake's usual one: a few rows tell it badly, and tops of weed scatter for another reason."""
    known = np.isfinite(scatter) & (count >= FEWEST_ROWS)
    usual = float(np.median(scatter[known])) if known.any() else 0.0
    return np.clip(np.nan_to_num(scatter, nan=usual), 0.5 * usual, 1.5 * usual)


def _distinct(group: Ints, pass_id: Ints, groups: int) -> Ints:
    pairs = np.unique(np.column_stack([group, pass_id]), axis=0)
    return np.bincount(pairs[:, 0], minlength=groups)
