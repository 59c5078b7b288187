"""How much of the lake is at least so deep, and how much water lies below each depth."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from pyproj import Proj

from lakemap.geo.crs import unproject
from lakemap.model.frame import Grid, GridFrame
from lakemap.model.terrain import DepthAreaVolume, Intervals

Floats = NDArray[np.float64]

INTERVAL = 0.9
"""Share of the realisations that an interval holds (common)."""


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


def depth_area_volume(
    depth: Grid, step_m: float, realisations: NDArray[np.float32] | None = None
) -> DepthAreaVolume:
    """The table at every ``step_m`` from 0 to past the deepest pixel: plain sums over pixels, on-the-ground areas.

    Depths above the datum (negative) count as dry. ``area_lake_m2`` is None where no shoreline is known. With
    ``realisations`` (n, drawn pixels) each area and volume has an interval.
    """
    pixel_m2 = depth.frame.pixel_m**2 / areal_scale(depth.frame)
    drawn = depth.values[np.isfinite(depth.values)].astype(np.float64)
    deepest = float(drawn.max()) if len(drawn) else 0.0
    levels = np.arange(int(np.ceil(max(deepest, 0.0) / step_m - 1e-9)) + 1, dtype=np.float64) * step_m
    area, volume = _below(drawn, levels)
    return DepthAreaVolume(
        depth_m=levels, area_m2=area * pixel_m2, volume_m3=volume * pixel_m2, area_drawn_m2=len(drawn) * pixel_m2,
        area_lake_m2=float(np.count_nonzero(depth.frame.water)) * pixel_m2 if depth.frame.shore_known else None,
        intervals=None if realisations is None or not len(realisations) else _intervals(realisations, levels, pixel_m2),
    )


def _below(depth_m: Floats, levels: Floats) -> tuple[Floats, Floats]:
    """Pixels at least so deep, and the sum of what they are deeper [m], for each level (k,)."""
    wet = np.sort(depth_m[depth_m > 0.0])
    first = np.searchsorted(wet, levels, side="left")
    below = np.concatenate([np.cumsum(wet[::-1])[::-1], [0.0]])
    count = (len(wet) - first).astype(np.float64)
    return count, np.maximum(below[first] - count * levels, 0.0)


def _intervals(realisations: NDArray[np.float32], levels: Floats, pixel_m2: float) -> Intervals:
    made = [_below(one.astype(np.float64), levels) for one in realisations]
    ends = [(1.0 - INTERVAL) / 2.0, (1.0 + INTERVAL) / 2.0]
    area, volume = (np.quantile([pair[k] for pair in made], ends, axis=0) * pixel_m2 for k in (0, 1))
    return Intervals(INTERVAL, len(made), area[0], area[1], volume[0], volume[1])
