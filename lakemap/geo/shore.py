"""The shoreline on the working CRS: which pixels and points are water."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS
from rasterio.features import geometry_mask
from shapely.geometry.base import BaseGeometry

from lakemap.geo.crs import project
from lakemap.model.shoreline import NO_WALLS, Shore, Shoreline

LINE_REACH_M, AREA_REACH_M = 10.0, 1.0
"""A line drawn along a wall takes the outline within so much of it, an area what lies in it and this (own choice)."""


def shore_on(shoreline: Shoreline, crs: CRS) -> Shore:
    """The water and, of its outline, the stretches that are walls, on ``crs`` [m]."""
    water = water_polygon(shoreline, crs)
    if shoreline.walls.is_empty:
        return Shore(water)
    marks = shapely.get_parts(_on_crs(shoreline.walls, crs))
    reach = np.where(shapely.get_dimensions(marks) == 2, AREA_REACH_M, LINE_REACH_M)
    walls = shapely.intersection(shapely.boundary(water), shapely.union_all(shapely.buffer(marks, reach)))
    lines = [part for part in shapely.get_parts(walls) if part.length > 0]
    return Shore(water, shapely.union_all(lines) if lines else NO_WALLS)


def water_polygon(shore: Shoreline, crs: CRS) -> BaseGeometry:
    """The water as a polygon on ``crs`` [m]; islands are holes. Self-touching outlines are mended."""
    return shapely.make_valid(_on_crs(shore.water, crs))


def _on_crs(shape: BaseGeometry, crs: CRS) -> BaseGeometry:
    def placed(lonlat: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.column_stack(project(crs, lonlat[:, 0], lonlat[:, 1]))

    return shapely.transform(shape, placed)


def water_mask(polygon: BaseGeometry, shape: tuple[int, int], transform: Affine) -> NDArray[np.bool_]:
    """True where a pixel's centre lies in the water polygon; shape (rows, columns)."""
    if polygon.is_empty:
        return np.zeros(shape, dtype=bool)
    return np.asarray(geometry_mask([polygon], shape, transform, invert=True))


def in_water(polygon: BaseGeometry, x_m: Any, y_m: Any, margin_m: float = 0.0) -> NDArray[np.bool_]:
    """Which points (n,) lie in the water, or within ``margin_m`` of it (an outline has an error of its own)."""
    grown = polygon.buffer(margin_m) if margin_m else polygon
    shapely.prepare(grown)
    return np.asarray(shapely.contains_xy(grown, np.asarray(x_m, float), np.asarray(y_m, float)))
