"""Which parts of a sheet are taken: nothing that is printed may lie on something else that must be read."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lakemap.publish.chart.paper import Box

Floats = NDArray[np.float64]

CELL_MM = 0.25
"""Fineness of the bookkeeping: less than the gap that parts two figures."""


class Occupied:
    """Cells of a map's box: ``taken`` by what must be read, ``lined`` by lines that may be broken or crossed."""

    def __init__(self, inside: Box) -> None:
        self.inside = inside
        shape = int(np.ceil(inside.height / CELL_MM)), int(np.ceil(inside.width / CELL_MM))
        self.taken = np.zeros(shape, bool)
        self.lined = np.zeros(shape, bool)

    def is_free(self, place: Box, *, of_lines: bool = False) -> bool:
        """Whether a box lies inside the map and on nothing; ``of_lines``: on no line either."""
        inside = self.inside
        if not (place.west >= inside.west and place.east <= inside.east and place.south >= inside.south
                and place.north <= inside.north):
            return False
        cells = self._cells(place)
        return not (self.taken[cells].any() or (of_lines and self.lined[cells].any()))

    def take(self, place: Box) -> None:
        """From now on nothing may lie there."""
        self.taken[self._cells(place)] = True

    def take_line(self, corners: Floats) -> None:
        """Cells under a line (n, 2) [mm]."""
        steps = np.maximum(1, np.ceil(np.hypot(*np.diff(corners, axis=0).T) / CELL_MM)).astype(np.int64)
        if not len(steps):
            return
        along = np.concatenate([np.arange(n) / n for n in steps])
        first = np.repeat(np.arange(len(steps)), steps)
        places = corners[first] + along[:, None] * (corners[first + 1] - corners[first])
        column = np.floor((places[:, 0] - self.inside.west) / CELL_MM).astype(np.int64)
        row = np.floor((places[:, 1] - self.inside.south) / CELL_MM).astype(np.int64)
        seen = (row >= 0) & (row < self.lined.shape[0]) & (column >= 0) & (column < self.lined.shape[1])
        self.lined[row[seen], column[seen]] = True

    def _cells(self, place: Box) -> tuple[slice, slice]:
        west, south = self.inside.west, self.inside.south
        return (slice(max(0, int(np.floor((place.south - south) / CELL_MM))),
                      max(0, int(np.ceil((place.north - south) / CELL_MM)))),
                slice(max(0, int(np.floor((place.west - west) / CELL_MM))),
                      max(0, int(np.ceil((place.east - west) / CELL_MM)))))


def box_around(x_mm: float, y_mm: float, width_mm: float, height_mm: float) -> Box:
    """A box of that size with its middle there."""
    return Box(x_mm - width_mm / 2, y_mm - height_mm / 2, x_mm + width_mm / 2, y_mm + height_mm / 2)
