"""The grid's frame, apart from its pixels; and a grid, which is both."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS

from lakemap.errors import FrameMismatch
from lakemap.model.shoreline import Shore

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class GridFrame:
    """``shape`` (rows, columns), north up; ``transform`` column, row -> x, y of a pixel's corner [m].

    ``water`` (rows, columns) is False on land; where no shoreline is known (``shore_known`` False) it is what the
    tracks enclose, and its edge is no bank.
    ``shore`` is the outline itself, finer than any pixel, where there is one: thin land parts water in it.
    """

    shape: tuple[int, int]
    transform: Affine
    crs: CRS
    water: NDArray[np.bool_] = field(repr=False)
    shore_known: bool = False
    shore: Shore | None = field(default=None, repr=False)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, GridFrame):
            return NotImplemented
        return self.shape == other.shape and self.transform == other.transform and self.crs == other.crs

    def __hash__(self) -> int:
        return hash((self.shape, tuple(self.transform)))

    @property
    def pixel_m(self) -> float:
        """Side of a pixel [m]."""
        return float(self.transform.a)

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east, north edge [m]."""
        rows, columns = self.shape
        west, north = self.transform.c, self.transform.f
        return west, north - rows * self.pixel_m, west + columns * self.pixel_m, north

    def centres(self) -> tuple[Floats, Floats]:
        """x of each column (columns,) and y of each row (rows,), pixel centres [m]."""
        rows, columns = self.shape
        x_m = self.transform.c + (np.arange(columns) + 0.5) * self.pixel_m
        y_m = self.transform.f - (np.arange(rows) + 0.5) * self.pixel_m
        return np.asarray(x_m, np.float64), np.asarray(y_m, np.float64)

    def water_xy(self) -> Floats:
        """Centres of the water pixels (k, 2), row by row."""
        x_m, y_m = self.centres()
        rows, columns = np.nonzero(self.water)
        return np.column_stack([x_m[columns], y_m[rows]])

    def pixel_of(self, x_m: Floats, y_m: Floats) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_]]:
        """Row and column of the pixel that holds each point, and whether it lies on the frame; inputs (n,)."""
        finite = np.isfinite(x_m) & np.isfinite(y_m)
        column = np.floor((np.where(finite, x_m, 0.0) - self.transform.c) / self.pixel_m).astype(np.int64)
        row = np.floor((self.transform.f - np.where(finite, y_m, 0.0)) / self.pixel_m).astype(np.int64)
        inside = finite & (row >= 0) & (row < self.shape[0]) & (column >= 0) & (column < self.shape[1])
        return row, column, inside


@dataclass(frozen=True)
class Grid:
    """Values on a frame: float32 (rows, columns), NaN where there is none."""

    frame: GridFrame
    values: NDArray[np.float32]
    name: str
    unit: str

    def __post_init__(self) -> None:
        if self.values.shape != self.frame.shape:
            raise FrameMismatch(
                f"{self.name} has {self.values.shape} pixels but its frame has {self.frame.shape}; "
                "make both with frame_for of grid/frame.py"
            )

    def at(self, x_m: Floats, y_m: Floats) -> Floats:
        """Value of the pixel that holds each point (n,), NaN off the frame."""
        row, column, inside = self.frame.pixel_of(np.atleast_1d(x_m), np.atleast_1d(y_m))
        out = np.full(row.shape, np.nan)
        out[inside] = self.values[row[inside], column[inside]]
        return out

    def require_frame(self, other: Grid) -> None:
        """Raises FrameMismatch unless both lie on one frame."""
        if self.frame != other.frame:
            raise FrameMismatch(
                f"{self.name} is on {self.frame} but {other.name} on {other.frame}; "
                "make both with frame_for of grid/frame.py"
            )
