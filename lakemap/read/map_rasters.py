"""Rasters and spots of a finished map, as publish/ wrote them."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from pyproj import CRS

from lakemap.errors import InputError
from lakemap.model.frame import Grid, GridFrame
from lakemap.model.outputs import SPOTS
from lakemap.read.outputs import listed_file


def read_grid(folder: Path, summary: Mapping[str, Any], name: str, band: int = 1) -> Grid:
    """One band of a raster of the map; its frame's water is where it has values. Raises InputError for another file."""
    path = listed_file(folder, summary, name)
    try:
        # only this driver: a raster made of links to other files is refused
        with rasterio.open(path, driver="GTiff") as raster:
            values = raster.read(band).astype(np.float32)
            frame = GridFrame(values.shape, raster.transform, CRS.from_user_input(raster.crs.to_wkt()),
                              np.isfinite(values))
            unit = raster.tags().get("UNITS", "1")
            return Grid(frame, values, raster.descriptions[band - 1] or name, unit)
    except (rasterio.errors.RasterioError, AttributeError, IndexError) as fault:
        raise InputError(f"{path}: cannot be read ({' '.join(str(fault).split())}); make the map again") from None


def read_spot_fields(folder: Path, summary: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Fields of each spot as in spots.geojson, best first."""
    path = listed_file(folder, summary, SPOTS)
    try:
        found = json.loads(path.read_text(encoding="utf-8"))["features"]
        return [dict(feature["properties"]) for feature in found]
    except (OSError, ValueError, KeyError, TypeError) as fault:
        raise InputError(f"{path}: cannot be read ({' '.join(str(fault).split())}); make the map again") from None
