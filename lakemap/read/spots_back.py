"""Spots and features of a finished map, as publish/ wrote them, back as they are in memory."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from lakemap.errors import InputError
from lakemap.geo.crs import project
from lakemap.model.outputs import LAKE
from lakemap.model.spots import Spots
from lakemap.read.map_rasters import read_spot_fields
from lakemap.read.outputs import listed_file

_NUMBERS = ("lon_deg", "lat_deg", "position_sigma_m", "depth_m", "depth_sigma_m", "hardness", "probability", "prob_low",
            "prob_high", "score")
_PART = "score_"


def read_spots(folder: Path, summary: Mapping[str, Any], crs: CRS) -> Spots:
    """Spots of a map on ``crs``, best first; their hits stay behind, and height, which stands in the reasons only.

    Raises InputError where the file is not the one that the map wrote.
    """
    rows = read_spot_fields(folder, summary)
    if not rows:
        return Spots.empty()
    try:
        number = {name: np.array([_number(row.get(name)) for row in rows]) for name in _NUMBERS}
        x_m, y_m = project(crs, number["lon_deg"], number["lat_deg"])
        parts = {name.removeprefix(_PART): np.array([_number(row.get(name)) for row in rows])
                 for name in rows[0] if name.startswith(_PART)}
        return Spots(
            name=tuple(str(row["name"]) for row in rows), kind=tuple(str(row["kind"]) for row in rows),
            hits=(np.empty(0, np.int64),) * len(rows), x_m=x_m, y_m=y_m, height_m=np.full(len(rows), np.nan),
            seen=np.array([int(row["seen"]) for row in rows], np.int32),
            could_see=np.array([int(row["could_see"]) for row in rows], np.int32),
            last_seen=np.array([(row.get("last_seen") or "NaT").removesuffix("Z") for row in rows], "datetime64[ms]"),
            score_parts=parts, reasons=tuple((str(row.get("reasons") or ""),) for row in rows), **number,
        )
    except (KeyError, TypeError, ValueError) as fault:
        raise InputError(f"{folder}: its spots cannot be read ({fault}); make the map again") from None


def read_features(folder: Path, summary: Mapping[str, Any]) -> dict[str, list[BaseGeometry]]:
    """Outlines of the features by kind, and lines where hard and soft bottom meet as ``edge``, on the map's CRS.

    Raises InputError where the file is not the one that the map wrote.
    """
    import pyogrio

    path, found = listed_file(folder, summary, LAKE), dict[str, list[BaseGeometry]]()
    try:
        layers = pyogrio.list_layers(path)[:, 0].tolist()
        if "features" in layers:
            table = pyogrio.read_dataframe(path, layer="features")
            for kind, shape in zip(table["kind"], table.geometry, strict=True):
                found.setdefault(str(kind), []).append(shape)
        if "edges" in layers:
            found["edge"] = pyogrio.read_dataframe(path, layer="edges").geometry.tolist()
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, KeyError, ValueError) as fault:
        raise InputError(f"{path}: cannot be read ({' '.join(str(fault).split())}); make the map again") from None
    return found


def _number(value: Any) -> float:
    return float("nan") if value is None else float(value)
