"""Pixels that dangers and closed areas take out of the water."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from lakemap.geo.crs import project
from lakemap.model.frame import GridFrame
from lakemap.model.keep_out import ClosedAreas, Hazards

Mask = NDArray[np.bool_]


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


def _on(crs: CRS, shape: object) -> object:
    return shapely.transform(shape, lambda xy: np.column_stack(project(crs, xy[:, 0], xy[:, 1])))
