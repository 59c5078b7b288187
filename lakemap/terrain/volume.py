"""How much of the lake is at least so deep, and how much water lies below each depth."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from pyproj import Proj

from lakemap.geo.crs import unproject
from lakemap.model.frame import Grid, GridFrame
from lakemap.model.terrain import DepthAreaVolume

Floats = NDArray[np.float64]


def frustum_volume(areas_m2: Sequence[float] | Floats, step_m: float) -> float:
    """Volume [m3] between parallel areas [m2] that lie ``step_m`` apart: sum of h/3 (A1 + A2 + sqrt(A1 A2)).

    Hutchinson 1957; Taube in Schneider 2000, Manual of Fisheries Survey Methods II, ch. 12. Exact for cones.
    """
    upper, lower = np.asarray(areas_m2, float)[:-1], np.asarray(areas_m2, float)[1:]
    return float(np.sum(step_m / 3.0 * (upper + lower + np.sqrt(upper * lower))))


def areal_scale(frame: GridFrame) -> float:
    """Area on the grid over area on the ground at the frame's middle (0.9992 to 1.002 within a UTM zone)."""
    if not frame.crs.is_projected:
        return 1.0
    west, south, east, north = frame.bounds
    lon, lat = unproject(frame.crs, (west + east) / 2.0, (south + north) / 2.0)
    scale = float(Proj(frame.crs).get_factors(float(lon), float(lat)).areal_scale)
    return scale if np.isfinite(scale) and scale > 0 else 1.0


def depth_area_volume(depth: Grid, step_m: float) -> DepthAreaVolume:
    """The table at every ``step_m`` from 0 to past the deepest pixel: plain sums over pixels, on-the-ground areas.

    Depths above the datum (negative) count as dry. ``area_lake_m2`` is None where no shoreline is known.
    """
    pixel_m2 = depth.frame.pixel_m**2 / areal_scale(depth.frame)
    drawn = np.sort(depth.values[np.isfinite(depth.values)].astype(np.float64))
    wet = drawn[drawn > 0.0]
    deepest = float(wet[-1]) if len(wet) else 0.0
    levels = np.arange(int(np.ceil(deepest / step_m - 1e-9)) + 1, dtype=np.float64) * step_m
    first = np.searchsorted(wet, levels, side="left")
    below = np.concatenate([np.cumsum(wet[::-1])[::-1], [0.0]])
    count = (len(wet) - first).astype(np.float64)
    return DepthAreaVolume(
        depth_m=levels, area_m2=count * pixel_m2,
        volume_m3=np.maximum(below[first] - count * levels, 0.0) * pixel_m2,
        area_drawn_m2=len(drawn) * pixel_m2,
        area_lake_m2=float(np.count_nonzero(depth.frame.water)) * pixel_m2 if depth.frame.shore_known else None,
    )
