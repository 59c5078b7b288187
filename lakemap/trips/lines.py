"""Lines that could be driven: straight pieces through open water at many headings."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lakemap.model.frame import GridFrame
from lakemap.trips.error_field import ErrorField

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]

HEADINGS = 12
"""Headings tried over half a circle: 15 degrees apart."""
SHORTEST_SHARE = 0.08
"""Pieces shorter than this share of the water's extent are not worth the turn (own choice)."""
OFFSET_STEPS = 1.5
"""Nodes between parallel candidates."""
MEETS_M = 5.0
"""Passes that come so near each other can be compared (some errors of a fix; own choice)."""


@dataclass(frozen=True)
class Line:
    """From ``start`` to ``end`` (2,) [m]; ``nodes`` of the error field it passes over; ``tied``: whether it meets what
    was driven before."""

    start: Floats
    end: Floats
    nodes: Ints
    tied: bool = False

    def turned(self) -> Line:
        """The same line driven the other way."""
        return replace(self, start=self.end, end=self.start)

    @property
    def length_m(self) -> float:
        """Its length [m]."""
        return float(np.hypot(*(self.end - self.start)))

    @property
    def bearing_deg(self) -> float:
        """Direction from start to end, clockwise from the grid's north [deg]."""
        east, north = self.end - self.start
        return float(np.degrees(np.arctan2(east, north)) % 360.0)

    @property
    def heading(self) -> float:
        """Direction [rad] from east, modulo half a turn."""
        return float(np.arctan2(self.end[1] - self.start[1], self.end[0] - self.start[0]) % np.pi)

    def crosses(self, other: Line) -> bool:
        """Whether two lines meet within both at a fair angle."""
        u, v, w = self.end - self.start, other.end - other.start, other.start - self.start
        cross = u[0] * v[1] - u[1] * v[0]
        if abs(cross) < 0.3 * np.hypot(*u) * np.hypot(*v):
            return False
        along, across = (w[0] * v[1] - w[1] * v[0]) / cross, (w[0] * u[1] - w[1] * u[0]) / cross
        return bool(0 < along < 1 and 0 < across < 1)


def candidate_lines(frame: GridFrame, drivable: Mask, field: ErrorField, driven: Floats | None = None) -> list[Line]:
    """Straight pieces within drivable pixels (rows, columns), of HEADINGS headings, side by side over the water.

    Those within MEETS_M of a place ``driven`` (k, 2) are tied.
    """
    low, high = field.xy.min(axis=0), field.xy.max(axis=0)
    middle, extent = (low + high) / 2, float(np.hypot(*(high - low)))
    found = []
    for heading in np.arange(HEADINGS) * np.pi / HEADINGS:
        along, across = np.array([np.cos(heading), np.sin(heading)]), np.array([-np.sin(heading), np.cos(heading)])
        side = OFFSET_STEPS * field.step_m
        for offset in np.arange(-extent / 2, extent / 2 + side, side):
            found += _pieces(frame, drivable, field, middle + offset * across, along * extent / 2)
    if driven is None or not len(driven):
        return found
    tree = cKDTree(driven)
    return [replace(line, tied=_meets(line, tree)) for line in found]


def _meets(line: Line, driven: cKDTree) -> bool:
    steps = max(2, int(line.length_m / MEETS_M) + 1)
    places = line.start + np.linspace(0.0, 1.0, steps)[:, None] * (line.end - line.start)
    return bool(np.isfinite(driven.query(places, distance_upper_bound=MEETS_M)[0]).any())


def _pieces(frame: GridFrame, drivable: Mask, field: ErrorField, middle: Floats, half: Floats) -> list[Line]:
    """The drivable pieces of one long line about ``middle``."""
    length = 2 * float(np.hypot(*half))
    count = max(2, int(5 * length / frame.pixel_m))
    xy = middle + np.linspace(-1.0, 1.0, count)[:, None] * half
    row, column, inside = frame.pixel_of(xy[:, 0], xy[:, 1])
    open_ = np.zeros(count + 2, dtype=bool)
    open_[1:-1][inside] = drivable[row[inside], column[inside]]
    change = np.flatnonzero(open_[1:] != open_[:-1])
    lines = []
    for first, past in zip(change[::2], change[1::2], strict=True):
        start, end = xy[first], xy[past - 1]
        nodes = field.on_line(start, end)
        if np.hypot(*(end - start)) >= SHORTEST_SHARE * length and len(nodes) > 1:
            lines.append(Line(start, end, nodes))
    return lines
