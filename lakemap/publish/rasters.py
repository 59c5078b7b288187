"""Surfaces as cloud-optimized GeoTIFFs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import rasterio
import rasterio.shutil
from rasterio.io import MemoryFile

from lakemap.model.bottom import Bottom
from lakemap.model.frame import Grid
from lakemap.model.lake_map import LakeMap
from lakemap.model.outputs import (
    CHANGED,
    DEPTH,
    DEPTH_SIGMA,
    HARDNESS,
    HARDNESS_SIGMA,
    SLOPE,
    WATER_TEMPERATURE,
    WATER_TEMPERATURE_SIGMA,
    WEED_HEIGHT,
)
from lakemap.publish.wording import common_error, printable

BLOCK = 512
"""Side of a tile in pixels."""

_COG = {
    "COMPRESS": "DEFLATE", "LEVEL": "9", "PREDICTOR": "YES", "BLOCKSIZE": str(BLOCK), "OVERVIEWS": "AUTO",
    "OVERVIEW_RESAMPLING": "AVERAGE", "NUM_THREADS": "1", "BIGTIFF": "IF_SAFER",
    "STATISTICS": "YES",
}

MEAN_TAGS = {"ESTIMATE": "mean of the pixel", "SIGMA": "standard error of that mean"}


def rasters(lake_map: LakeMap) -> Iterator[tuple[str, Grid, str, dict[str, str]]]:
    """Each raster there is: name of its file, its grid, its band's description, its tags."""
    shared = {"DATUM": lake_map.soundings.datum, "COMMON_ERROR": common_error(lake_map.soundings, "m"), **MEAN_TAGS}
    depth = lake_map.depth
    yield DEPTH, depth.estimate, "depth_m", {"UNITS": "m", "POSITIVE": "down", **shared}
    yield DEPTH_SIGMA, depth.sigma, "depth_sigma_m", {"UNITS": "m", **shared}
    if lake_map.hardness is not None:
        relative = {"UNITS": "1", "SCALE": f"0 softest to 1 hardest, {_scale(lake_map)}", **MEAN_TAGS}
        yield HARDNESS, lake_map.hardness.estimate, "hardness", relative
        yield HARDNESS_SIGMA, lake_map.hardness.sigma, "hardness_sigma", relative
    yield SLOPE, lake_map.terrain.slope, "slope_deg", {"UNITS": "degree"}
    warm = lake_map.temperature
    if warm is not None:
        tags = {"UNITS": "degC", "PERIOD": warm.period, "COMMON_ERROR": f"standard error {warm.common_c:g} degC",
                "OF": "the water at the sensor, near the surface", **MEAN_TAGS}
        for file, grid in ((WATER_TEMPERATURE, warm.surface.estimate), (WATER_TEMPERATURE_SIGMA, warm.surface.sigma)):
            yield file, grid, grid.name, tags
    if lake_map.changes is not None:
        weed, moved = lake_map.changes.weed_height, lake_map.changes.changed
        if weed is not None:
            yield WEED_HEIGHT, weed, "weed_height_m", {"UNITS": "m", "ABOVE": "the floor of bare seasons"}
        if moved is not None:
            yield CHANGED, moved, "changed_m", {"UNITS": "m", "POSITIVE": "deeper now than before"}


def _scale(lake_map: LakeMap) -> str:
    return "relative" if lake_map.bottom is None else lake_map.bottom.scale


def class_raster(bottom: Bottom) -> bytes:
    """Probability of each class of the bottom as one named band, summing to 1."""
    tags = {"UNITS": "1", "ESTIMATE": "probability of the class in the band's name", "SCALE": bottom.scale}
    return geotiff_of(bottom.probability, bottom.classes, tags)


def geotiff(grid: Grid, description: str, tags: Mapping[str, str]) -> bytes:
    """A grid as one float32 band; see geotiff_of."""
    return geotiff_of((grid,), (description,), tags)


def geotiff_of(grids: Sequence[Grid], names: Sequence[str], tags: Mapping[str, str]) -> bytes:
    """Grids of one frame as float32 bands: nodata NaN, north up, deflate, 512 blocks, averaged overviews.

    Made in memory, so that a full disk is met by our own writing and not lost in a driver's closing of the file.
    """
    frame = grids[0].frame
    rows, columns = frame.shape
    profile = {
        "driver": "GTiff", "width": columns, "height": rows, "count": len(grids), "dtype": "float32", "nodata": np.nan,
        "crs": rasterio.CRS.from_wkt(frame.crs.to_wkt()), "transform": frame.transform,
    }
    with MemoryFile() as plain, MemoryFile(ext=".tif") as optimized:
        with plain.open(**profile) as raster:
            for band, (grid, name) in enumerate(zip(grids, names, strict=True), 1):
                raster.write(grid.values.astype(np.float32, copy=False), band)
                raster.set_band_description(band, printable(name))
                raster.set_band_unit(band, tags["UNITS"])
            raster.update_tags(**tags)
        rasterio.shutil.copy(plain.name, optimized.name, driver="COG", **_COG)
        return bytes(optimized.read())
