"""Sheets of paper: sizes, what part of one is map, and the way from the ground to millimetres on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely.affinity import affine_transform
from shapely.geometry import box
from shapely.geometry.base import BaseGeometry

Floats = NDArray[np.float64]

SIZES_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height upright: ISO 216 A4, ANSI Y14.1 letter."""

PAPER_WORDS = {"a4": "A4", "letter": "letter paper"}

MARGIN_MM = 9.0
"""Left free on all sides: more than what desk printers cannot reach, usually some 6 mm (common practice)."""
BORDER_MM = 5.0
"""Between the edge of the map and that of the frame: degrees and minutes stand in it."""
STRIP_MM = 42.0
"""Below the map: title, scale, signs, cautions."""


@dataclass(frozen=True)
class Box:
    """A rectangle: west, south, east and north edge, on paper [mm] or on the ground [m]."""

    west: float
    south: float
    east: float
    north: float

    @property
    def width(self) -> float:
        """From west to east."""
        return self.east - self.west

    @property
    def height(self) -> float:
        """From south to north."""
        return self.north - self.south

    def grown(self, by: float) -> Box:
        """Wider by so much on each side; narrower where it is negative."""
        return Box(self.west - by, self.south - by, self.east + by, self.north + by)

    def polygon(self) -> BaseGeometry:
        """The same as a shape."""
        return box(self.west, self.south, self.east, self.north)


@dataclass(frozen=True)
class Paper:
    """One format, turned as it is used; ``name`` as people call it."""

    name: str
    width_mm: float
    height_mm: float

    @classmethod
    def named(cls, name: str, *, across: bool = False) -> Paper:
        """A format of SIZES_MM, upright or across."""
        width, height = SIZES_MM[name]
        return cls(name, height, width) if across else cls(name, width, height)

    @property
    def frame(self) -> Box:
        """All that is printed on [mm]."""
        return Box(MARGIN_MM, MARGIN_MM, self.width_mm - MARGIN_MM, self.height_mm - MARGIN_MM)

    @property
    def map(self) -> Box:
        """The map itself [mm]."""
        frame = self.frame
        return Box(frame.west + BORDER_MM, frame.south + STRIP_MM + BORDER_MM, frame.east - BORDER_MM,
                   frame.north - BORDER_MM)


@dataclass(frozen=True)
class View:
    """Ground to paper: ``x_m, y_m`` of the map's CRS lies in the middle of ``at`` [mm]; ``mm_per_m`` of that CRS."""

    x_m: float
    y_m: float
    mm_per_m: float
    at: Box

    @property
    def ground(self) -> Box:
        """What ``at`` shows [m]."""
        width, height = self.at.width / self.mm_per_m / 2, self.at.height / self.mm_per_m / 2
        return Box(self.x_m - width, self.y_m - height, self.x_m + width, self.y_m + height)

    def to_mm(self, x_m: Floats, y_m: Floats) -> tuple[Floats, Floats]:
        """Places on the ground [m] as places on the sheet [mm]."""
        middle_x, middle_y = (self.at.west + self.at.east) / 2, (self.at.south + self.at.north) / 2
        return middle_x + (x_m - self.x_m) * self.mm_per_m, middle_y + (y_m - self.y_m) * self.mm_per_m

    def to_ground(self, x_mm: Floats, y_mm: Floats) -> tuple[Floats, Floats]:
        """Places on the sheet [mm] as places on the ground [m]."""
        middle_x, middle_y = (self.at.west + self.at.east) / 2, (self.at.south + self.at.north) / 2
        return self.x_m + (x_mm - middle_x) / self.mm_per_m, self.y_m + (y_mm - middle_y) / self.mm_per_m

    def shape_mm(self, shape: BaseGeometry) -> BaseGeometry:
        """A shape on the ground as it lies on the sheet [mm], cut to the map's box."""
        x_mm, y_mm = self.to_mm(np.array(0.0), np.array(0.0))
        return affine_transform(
            shape.intersection(self.ground.grown(1.0 / self.mm_per_m).polygon()),
            (self.mm_per_m, 0, 0, self.mm_per_m, float(x_mm), float(y_mm))
        ).intersection(self.at.polygon())
