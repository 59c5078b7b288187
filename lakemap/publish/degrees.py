"""Shapes of the map as longitude and latitude, cut where they cross the antimeridian."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from shapely.affinity import translate
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from lakemap.geo.crs import unproject

HALF_TURN = 180.0


def in_degrees(crs: CRS, shape: BaseGeometry) -> BaseGeometry:
    """A shape on ``crs`` as WGS 84, longitude first, within -180..180: what crosses the antimeridian comes in pieces
    on either side (as RFC 7946, section 3.1.9, wants it); outer rings run counterclockwise (section 3.1.6).
    """
    first = float(unproject(crs, *shapely.get_coordinates(shape)[0])[0]) if not shape.is_empty else 0.0

    def turned(xy: NDArray[np.float64]) -> NDArray[np.float64]:
        lon, lat = unproject(crs, xy[:, 0], xy[:, 1])
        return np.column_stack([first + (lon - first + HALF_TURN) % (2 * HALF_TURN) - HALF_TURN, lat])

    placed = shapely.transform(shapely.force_2d(shape), turned)
    west, _, east, _ = placed.bounds if not placed.is_empty else (0.0, 0.0, 0.0, 0.0)
    if west < -HALF_TURN or east > HALF_TURN:
        placed = _cut(placed)
    return _oriented(placed)


def _cut(shape: BaseGeometry) -> BaseGeometry:
    found: list[BaseGeometry] = []
    for turns in (-1, 0, 1):
        moved = translate(shape, xoff=2 * HALF_TURN * turns)
        found.extend(shapely.get_parts(shapely.clip_by_rect(moved, -HALF_TURN, -90.0, HALF_TURN, 90.0)))
    return shapely.GeometryCollection([piece for piece in found if not piece.is_empty])


def _oriented(shape: BaseGeometry) -> BaseGeometry:
    if isinstance(shape, shapely.Polygon):
        return orient(shape) if not shape.is_empty else shape
    if hasattr(shape, "geoms"):
        return type(shape)([_oriented(part) for part in shape.geoms])
    return shape
