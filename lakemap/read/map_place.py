"""What a finished map says of one place, from the files of its folder alone."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from numpy.typing import NDArray
from pyproj import CRS

from lakemap.errors import UsageError
from lakemap.geo.crs import project
from lakemap.model.map_place import MapPlace
from lakemap.model.outputs import BOTTOM_CLASSES, DEPTH, DEPTH_SIGMA, HARDNESS, HARDNESS_SIGMA, SLOPE
from lakemap.read.outputs import listed_file, read_soundings, read_summary

RASTERS = (DEPTH, DEPTH_SIGMA, HARDNESS, HARDNESS_SIGMA, SLOPE)
REACH_M, REACH_PIXELS = 25.0, 3.0
"""Readings so near are shown, the larger of the two."""


def read_place(folder: Path, lat_deg: float, lon_deg: float) -> MapPlace:
    """Rasters at the place and the readings round it. Raises InputError without a finished map, UsageError for a place
    off it."""
    if not (-90.0 <= lat_deg <= 90.0 and -180.0 <= lon_deg <= 180.0):
        raise UsageError(f"{lat_deg:g} {lon_deg:g} is no place; write latitude, then longitude, in degrees")
    summary = read_summary(folder)
    depth = listed_file(folder, summary, DEPTH)
    with rasterio.open(depth) as raster:
        crs, pixel_m = CRS.from_wkt(raster.crs.to_wkt()), float(raster.transform.a)
        bounds = raster.bounds
    x_m, y_m = (float(np.ravel(one)[0]) for one in project(crs, np.array([lon_deg]), np.array([lat_deg])))
    if not (bounds.left <= x_m <= bounds.right and bounds.bottom <= y_m <= bounds.top):
        raise UsageError(f"{lat_deg:g} {lon_deg:g} lies off the map in {folder}; write latitude first, then longitude")
    bands: dict[str, float] = {}
    for name in RASTERS:
        if name in summary["files"]:
            bands |= _at(listed_file(folder, summary, name), x_m, y_m)[0]
    classes, tags = (
        _at(listed_file(folder, summary, BOTTOM_CLASSES), x_m, y_m) if BOTTOM_CLASSES in summary["files"] else ({}, {}))
    soundings = read_soundings(folder)
    away = np.hypot(soundings.x_m - x_m, soundings.y_m - y_m)
    near = np.flatnonzero(away <= max(REACH_M, REACH_PIXELS * pixel_m))
    near = near[np.argsort(away[near], kind="stable")]
    there = soundings.take(near)
    slope = np.full(len(near), np.nan)
    if SLOPE in summary["files"]:
        slope = _under(listed_file(folder, summary, SLOPE), there.x_m, there.y_m)
    return MapPlace(
        lat_deg, lon_deg, bands, classes, there, away[near], slope, summary, tags.get("SCALE", ""), pixel_m)


def _under(path: Path, x_m: NDArray[np.float64], y_m: NDArray[np.float64]) -> NDArray[np.float64]:
    """A raster's first band at places (n,)."""
    with rasterio.open(path) as raster:
        told = raster.sample(zip(x_m.tolist(), y_m.tolist(), strict=True), indexes=1)
        return np.array([float(value[0]) for value in told])


def _at(path: Path, x_m: float, y_m: float) -> tuple[dict[str, float], dict[str, Any]]:
    """Every band's value at a place by the band's name, and the tags."""
    with rasterio.open(path) as raster:
        values = next(raster.sample([(x_m, y_m)]))
        names = [name or f"band {number}" for number, name in enumerate(raster.descriptions, 1)]
        return {name: float(value) for name, value in zip(names, values, strict=True)}, dict(raster.tags())
