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
from lakemap.model.shoreline import Shoreline


def water_polygon(shore: Shoreline, crs: CRS) -> BaseGeometry:
    """The water as a polygon on ``crs`` [m]; islands are holes. Self-touching outlines are mended."""
    def on_crs(lonlat: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.column_stack(project(crs, lonlat[:, 0], lonlat[:, 1]))

    return shapely.make_valid(shapely.transform(shore.water, on_crs))


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
