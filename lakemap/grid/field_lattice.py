"""Nodes on nested square lattices that carry the Markov fields, their prior precisions, and the way to any place.

A Matern field with nu = 1 has on a lattice the precision K K / (4 pi kappa^2 ...) with K = kappa^2 + Laplacian
(Lindgren, Rue & Lindstrom 2011). Long fields live on coarse lattices: fewer nodes, same plane.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.ndimage import binary_dilation, map_coordinates

from lakemap.geo.bank import open_links
from lakemap.grid.dissection import Dissection, dissect
from lakemap.model.shoreline import Shore

Floats = NDArray[np.float64]
Index = NDArray[np.int64]
Mask = NDArray[np.bool_]

STEPS_A_RANGE = 16
"""Lattice steps in the range sqrt(8) / kappa of a field that is given a lattice of its own."""
MARGIN_RANGES = 0.75
"""Width of the margin around the places in question, in ranges: a lattice's edge raises the variance near it."""
SPECTRUM = 256
"""Waves each way in the sum for a node's variance on an endless lattice."""


@dataclass(frozen=True)
class Level:
    """Nodes of one field: every ``step``-th of the finest lattice (whole number), numbered from ``first`` on.

    ``number`` (rows, columns) is a node's number among this level's or -1; its first node lies at ``corner`` (column,
    row) in units of this level's step.
    """

    step: int
    corner: tuple[int, int]
    number: Index
    kappa: float
    first: int

    @property
    def count(self) -> int:
        """How many nodes there are."""
        return int(self.number.max()) + 1

    def places(self) -> Index:
        """Column and row of each node (count, 2) in finest steps."""
        row, column = np.nonzero(self.number >= 0)
        return np.column_stack([column + self.corner[0], row + self.corner[1]]) * self.step

    def precision(self, links: tuple[Mask, Mask]) -> sparse.csr_matrix:
        """Prior precision (count, count) of a field whose variance is 1 on the mean over a cell; ``links`` towards the
        next column and row say where water goes on."""
        held = self.number >= 0
        pairs = []
        right, up = links
        for a, b, wet in ((np.s_[:, :-1], np.s_[:, 1:], right), (np.s_[:-1], np.s_[1:], up)):
            both = held[a] & held[b] & wet
            pairs.append(np.column_stack([self.number[a][both], self.number[b][both]]))
        i, j = np.concatenate(pairs).T
        ties = np.bincount(i, minlength=self.count) + np.bincount(j, minlength=self.count)
        own = np.arange(self.count)
        value = np.concatenate([self.kappa**2 + ties, -np.ones(2 * len(i))])
        place = np.concatenate([own, i, j]), np.concatenate([own, j, i])
        half = sparse.csr_matrix((value, place), shape=(self.count, self.count))
        return (half @ half * _variance(self.kappa)).tocsr()

    def weights(self, at: Floats) -> tuple[Index, Floats]:
        """Numbers (m, 4) of the nodes around places (m, 2), in finest steps, and their bilinear weights."""
        scaled = at / self.step - np.array(self.corner)
        low = np.floor(scaled).astype(np.int64)
        low = np.clip(low, 0, np.array(self.number.shape)[::-1] - 2)
        part = scaled - low
        column, row = low.T
        corners = [(row, column), (row, column + 1), (row + 1, column), (row + 1, column + 1)]
        x, y = part.T
        weight = np.column_stack([(1 - y) * (1 - x), (1 - y) * x, y * (1 - x), y * x])
        return np.column_stack([self.number[place] for place in corners]) + self.first, weight

    def value_at(self, nodes: Floats, at: Floats) -> Floats:
        """The field (m,) at places (m, 2), in finest steps, from the values of all levels' nodes."""
        own = np.where(self.number >= 0, nodes[self.number + self.first], 0.0)
        place = (at / self.step - np.array(self.corner)).T[::-1]
        return np.asarray(map_coordinates(own, place, order=1, mode="nearest"))


def _variance(kappa: float) -> float:
    """Variance of the field with precision K K on an endless lattice of step 1, as the mean over a cell between nodes
    (bilinear weights)."""
    wave = 2 * np.pi * (np.arange(SPECTRUM) + 0.5) / SPECTRUM
    cosine = np.cos(wave)
    power = 1.0 / (kappa**2 + 4 - 2 * cosine[:, None] - 2 * cosine[None, :]) ** 2
    own, beside = power.mean(), (power * cosine[:, None]).mean()
    across = (power * cosine[:, None] * cosine[None, :]).mean()
    return float(4 * own + 4 * beside + across) / 9


@dataclass(frozen=True)
class Lattice:
    """The levels together; ``step_m`` is the finest step, ``origin`` (2,) the place of its node (0, 0) [m]; ``cells``
    (k, 2) the finest cells that the lattice serves; through the land of ``shore`` nothing leaks."""

    step_m: float
    origin: Floats
    levels: tuple[Level, ...]
    cells: Index
    shore: Shore | None = None

    @property
    def count(self) -> int:
        """Nodes of all levels."""
        return sum(level.count for level in self.levels)

    def precision(self) -> sparse.csr_matrix:
        """Prior precision of all nodes."""
        return sparse.block_diag([level.precision(self._links(level)) for level in self.levels], format="csr")

    def _links(self, level: Level) -> tuple[Mask, Mask]:
        """Which links of a level land does not cut."""
        rows, columns = level.number.shape
        x, y = ((low + np.arange(n)) * level.step for low, n in zip(level.corner, (columns, rows), strict=True))
        return open_links(self.shore, self.origin[0] + x * self.step_m, self.origin[1] + y * self.step_m)

    def weights(self, xy: Floats, size: Floats) -> sparse.csr_matrix:
        """The matrix (m, count) from nodes to places ``xy`` (m, 2), rows of each level times ``size`` (m, levels)."""
        at = (xy - self.origin) / self.step_m
        parts = [level.weights(at) for level in self.levels]
        column = np.concatenate([number for number, _ in parts], axis=1)
        value = np.concatenate([w * size[:, k, None] for k, (_, w) in enumerate(parts)], axis=1)
        start = np.arange(len(xy) + 1) * column.shape[1]
        return sparse.csr_matrix((value.ravel(), column.ravel(), start), shape=(len(xy), self.count))

    def covers(self, xy: Floats) -> NDArray[np.bool_]:
        """Which places (m, 2) lie in a cell with all its nodes, on every level."""
        at = (xy - self.origin) / self.step_m
        inside = np.ones(len(xy), dtype=bool)
        for level in self.levels:
            low = np.floor(at / level.step - np.array(level.corner)).astype(np.int64)
            rows, columns = level.number.shape
            inside &= (low >= 0).all(axis=1) & (low[:, 0] < columns - 1) & (low[:, 1] < rows - 1)
            column, row = np.where(inside[:, None], low, 0).T
            for right, up in ((0, 0), (0, 1), (1, 0), (1, 1)):
                inside &= level.number[row + up, column + right] >= 0
        return inside

    def middles(self) -> Floats:
        """Middle of each served cell (k, 2) [m]."""
        return np.asarray(self.origin + (self.cells + 0.5) * self.step_m)

    def dissection(self) -> Dissection:
        """Order of elimination of all nodes."""
        reach = np.concatenate([np.full(level.count, level.step) for level in self.levels])
        return dissect(np.concatenate([level.places() for level in self.levels]), reach)


def cell_number(cell: Index) -> Index:
    """One number for each cell (n, 2) of whole numbers, in their order: far faster to sort than pairs."""
    return np.asarray(cell[:, 0] * 2**31 + cell[:, 1])


def lattice_for(
    xy: Floats, step_m: float, ranges_m: tuple[float, ...], margin: float = MARGIN_RANGES,
    steps_a_range: float = STEPS_A_RANGE,
) -> Lattice:
    """One that serves the places ``xy`` (m, 2) with one level for each range [m]; the finest step is ``step_m``, longer
    ranges have 1, 2, 4 ... times it, at least ``steps_a_range`` to a range."""
    origin = np.floor(xy.min(axis=0) / step_m) * step_m
    cells = np.floor((xy - origin) / step_m).astype(np.int64)
    cells = cells[np.unique(cell_number(cells), return_index=True)[1]]
    levels: list[Level] = []
    first = 0
    for range_m in ranges_m:
        step = 2 ** max(int(np.floor(np.log2(max(range_m / steps_a_range / step_m, 1.0)))), 0)
        level = _level(cells, step, range_m / step_m, margin, first)
        levels.append(level)
        first += level.count
    return Lattice(step_m, origin, tuple(levels), cells)


def _level(cells: Index, step: int, range_steps: float, margin: float, first: int) -> Level:
    coarse = np.unique(np.floor_divide(cells, step), axis=0)
    wide = int(np.ceil(margin * range_steps / step)) + 1
    low = coarse.min(axis=0) - wide
    columns, rows = coarse.max(axis=0) + wide + 2 - low
    held = np.zeros((rows, columns), dtype=bool)
    for right, up in ((0, 0), (0, 1), (1, 0), (1, 1)):
        held[coarse[:, 1] - low[1] + up, coarse[:, 0] - low[0] + right] = True
    held = binary_dilation(held, iterations=wide) if wide > 1 else held
    number = np.where(held, np.cumsum(held).reshape(held.shape) - 1, -1)
    return Level(step, (int(low[0]), int(low[1])), number, float(np.sqrt(8.0) * step / range_steps), first)
