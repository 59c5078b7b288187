"""Where an outing keeps out of: pixels that dangers and closed areas take out of the water."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from lakemap.geo.crs import project, unproject
from lakemap.geo.off_map import off_map_said
from lakemap.model.frame import GridFrame
from lakemap.model.keep_out import ClosedAreas, Hazards

Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class KeepOut:
    """Dangers and closed areas; ``start`` [UTC] and ``lasts_s`` of the outing say which of the latter count (None: all
    of them are closed)."""

    hazards: Hazards = field(default_factory=Hazards)
    closed: ClosedAreas = field(default_factory=ClosedAreas)
    start: np.datetime64 | None = None
    lasts_s: float = 0.0

    def on(self, frame: GridFrame) -> Mask:
        """Pixels that may not be entered on any of the lake's own days that the outing touches."""
        return kept_out(frame, self.hazards, self.closed, self._days(frame))

    def joined(self, hazards: Hazards, closed: ClosedAreas) -> KeepOut:
        """These, and more."""
        return replace(self, hazards=Hazards.joined([self.hazards, hazards]),
                       closed=ClosedAreas.joined([self.closed, closed]))

    def said(self, frame: GridFrame) -> tuple[str, ...]:
        """What reading them met, and how many lie off the map."""
        return (*self.hazards.messages, *self.closed.messages, *off_map_said(frame, self.hazards, self.closed))

    def _days(self, frame: GridFrame) -> list[np.datetime64] | None:
        if self.start is None:
            return None
        west, south, east, north = frame.bounds
        lon, _ = unproject(frame.crs, (west + east) / 2, (south + north) / 2)
        noon_s = float(lon) / 15.0 * 3600.0
        ends = [(self.start + np.timedelta64(round(noon_s + late), "s")).astype("datetime64[D]")
                for late in (0.0, self.lasts_s)]
        return list(np.arange(ends[0], ends[1] + 1))


def kept_out(
    frame: GridFrame, hazards: Hazards, closed: ClosedAreas, days: Sequence[np.datetime64] | None = None
) -> Mask:
    """Pixels (rows, columns) nearer to a danger than its distance, or touching an area closed on any of ``days``.

    Without days every closed area counts.
    """
    half = frame.pixel_m / np.sqrt(2.0)
    shapes = [shapely.buffer(_on(frame.crs, shape), keep + half)
              for shape, keep in zip(hazards.shape, hazards.keep_m, strict=True)]
    shapes += [shapely.buffer(_on(frame.crs, shape), half)
               for number, shape in enumerate(closed.shape)
               if any(closed.closed_on(number, day) for day in days or (None,))]
    if not shapes:
        return np.zeros(frame.shape, dtype=bool)
    whole = shapely.union_all(shapes)
    shapely.prepare(whole)
    x_m, y_m = np.meshgrid(*frame.centres())
    return np.asarray(shapely.contains_xy(whole, x_m, y_m))


def _on(crs: CRS, shape: Any) -> Any:
    return shapely.transform(shape, lambda xy: np.column_stack(project(crs, xy[:, 0], xy[:, 1])))
