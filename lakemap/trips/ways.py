"""Shortest ways by water between places: over pixels first, then straightened where the straight line stays in it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra
from scipy.spatial import cKDTree

from lakemap.model.frame import GridFrame

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]

STEPS = ((0, 1), (1, 0), (1, 1), (1, -1), (1, 2), (2, 1), (1, -2), (2, -1))
"""Moves on the lattice (row, column); with the knight's moves a way is at most 2.8 % longer than the straight one."""
ABSENT = -9999
"""Predecessor of a node that cannot be reached, as SciPy writes it."""


@dataclass(frozen=True)
class Waterways:
    """A lattice of open pixels: ``node`` (rows, columns) numbers them, -1 elsewhere; ``links`` their distances [m]."""

    frame: GridFrame
    open_: Mask
    node: Ints
    xy: Floats
    links: coo_array

    def nearest(self, xy: Floats, within_m: float) -> Ints:
        """Node (k,) nearest to each place (k, 2), -1 where none lies within the distance."""
        node = np.full(len(xy), -1, dtype=np.int64)
        known = np.isfinite(xy).all(axis=1)
        if len(self.xy) and known.any():
            away, number = cKDTree(self.xy).query(xy[known])
            node[known] = np.where(away <= within_m, number, -1)
        return node


def waterways(frame: GridFrame, open_: Mask) -> Waterways:
    """The lattice of the pixels where a boat may go (rows, columns)."""
    rows, columns = np.nonzero(open_)
    node = np.full(open_.shape, -1, dtype=np.int64)
    node[rows, columns] = np.arange(len(rows))
    x_m, y_m = frame.centres()
    parts = [_linked(open_, node, step) for step in STEPS]
    a, b = (np.concatenate([part[side] for part in parts]) for side in (0, 1))
    length = np.concatenate([np.full(len(part[0]), np.hypot(*step)) for part, step in zip(parts, STEPS, strict=True)])
    links = coo_array((length * frame.pixel_m, (a, b)), shape=(len(rows), len(rows)))
    return Waterways(frame, open_, node, np.column_stack([x_m[columns], y_m[rows]]), links)


def _linked(open_: Mask, node: Ints, step: tuple[int, int]) -> tuple[Ints, Ints]:
    """Nodes joined by one move; every pixel that the move passes beside must be open too."""
    down, right = step
    rows, columns = open_.shape
    if down >= rows or abs(right) >= columns:
        return np.empty(0, np.int64), np.empty(0, np.int64)

    def shifted(by_row: int, by_column: int) -> tuple[slice, slice]:
        left = max(0, -right)
        return (slice(by_row, rows - down + by_row),
                slice(left + by_column, columns - max(0, right) + by_column))

    clear = np.ones((rows - down, columns - abs(right)), dtype=bool)
    for by_row, by_column in _passed(down, right):
        clear &= open_[shifted(by_row, by_column)]
    return node[shifted(0, 0)][clear], node[shifted(down, right)][clear]


def _passed(down: int, right: int) -> list[tuple[int, int]]:
    """Pixels from (0, 0) to the end of a move that it touches."""
    sign = 1 if right >= 0 else -1
    return [(r, sign * c) for r in range(down + 1) for c in range(abs(right) + 1)
            if max(down, abs(right)) < 2 or abs(r * abs(right) - c * down) <= 1]


@dataclass(frozen=True)
class Ways:
    """Between k places xy (k, 2): ``length_m`` (k, k), infinite where there is no way, and what is needed to draw one.
    """

    water: Waterways
    xy: Floats
    at: Ints
    length_m: Floats
    before: Ints

    def off(self, place: int) -> Floats:
        """How far a place lies to the east and north (2,) [m] of where its ways end."""
        return np.asarray(self.xy[place] - self.water.xy[self.at[place]])

    def line(self, start: int, end: int) -> Floats:
        """The way from one place to another as a line (p, 2) whose every piece stays in open water."""
        nodes = [int(self.at[end])]
        while nodes[-1] != self.at[start]:
            previous = int(self.before[start, nodes[-1]])
            if previous == ABSENT:
                return np.empty((0, 2))
            nodes.append(previous)
        return straightened(self.water, self.water.xy[nodes[::-1]])


def ways_between(water: Waterways, xy: Floats, within_m: float) -> Ways:
    """Shortest ways between all places xy (k, 2); a place farther than ``within_m`` from open water has none."""
    at = water.nearest(xy, within_m)
    known = np.flatnonzero(at >= 0)
    length = np.full((len(xy), len(xy)), np.inf)
    before = np.full((len(xy), len(water.xy)), ABSENT, dtype=np.int64)
    if len(known):
        from_known, previous = dijkstra(
            water.links.tocsr(), directed=False, indices=at[known], return_predecessors=True)
        length[np.ix_(known, known)] = from_known[:, at[known]]
        before[known] = previous
    np.fill_diagonal(length, 0.0)
    return Ways(water, xy, at, length, before)


def straightened(water: Waterways, line: Floats) -> Floats:
    """The line with every corner left out that a straight piece through open water makes needless."""
    if len(line) < 3:
        return line
    kept, start = [0], 0
    while start < len(line) - 1:
        end = start + 1
        while end + 1 < len(line) and in_open_water(water, line[start], line[end + 1]):
            end += 1
        kept.append(end)
        start = end
    return line[kept]


def in_open_water(water: Waterways, start: Floats, end: Floats) -> bool:
    """Whether a straight piece stays within open pixels; looked at every fifth of a pixel."""
    steps = max(2, int(np.ceil(5 * np.hypot(*(end - start)) / water.frame.pixel_m)) + 1)
    along = start + np.linspace(0.0, 1.0, steps)[:, None] * (end - start)
    row, column, inside = water.frame.pixel_of(along[:, 0], along[:, 1])
    return bool(inside.all() and water.open_[row, column].all())
