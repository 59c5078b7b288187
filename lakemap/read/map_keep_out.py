"""Where a finished map itself says not to go: its dangers and closed areas, hard things that the owner marked, and what
was sounded to stand too high for the boat."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from lakemap.geo.crs import unproject
from lakemap.model.keep_out import ClosedAreas, Hazards
from lakemap.read.lake_layers import read_layers

HARD_KINDS = ("stump", "rock", "log", "wreck")
"""Kinds of marks that a hull does not survive; how tall the thing is, a mark does not say."""
SIGMAS = 2.0
"""A thing is kept off by so many of its place's standard errors: 19 of 20 times it is within."""


def read_map_keep_out(
    folder: Path, summary: Mapping[str, Any], crs: CRS, needs_m: float
) -> tuple[Hazards, ClosedAreas]:
    """Dangers and closed areas of a map on ``crs``, in WGS 84.

    Marks of HARD_KINDS, and what was sounded to stand up to less than ``needs_m`` below the surface, are dangers too,
    each with the error of its place.

    Raises InputError where lake.gpkg is not the file that the map wrote.
    """
    layers = read_layers(folder, summary, ("hazards", "closed_areas", "hits"))
    told = {name: [(_on_wgs84(shape, crs), row) for shape, row in zip(drawn.shapes, drawn.fields, strict=True)
                   if shape is not None] for name, drawn in layers.items()}
    dangers = [(shape, float(row.get("keep_m") or 0.0), _text(row, "what")) for shape, row in told.get("hazards", ())]
    dangers += [(shape, SIGMAS * float(row.get("position_sigma_m") or 0.0), _text(row, "kind"))
                for shape, row in told.get("hits", ()) if _in_the_way(row, needs_m)]
    closed = [(shape, *(_text(row, name) for name in ("first", "last", "why")))
              for shape, row in told.get("closed_areas", ())]
    return Hazards(*zip(*dangers, strict=True)), ClosedAreas(*zip(*closed, strict=True))


def _in_the_way(row: Mapping[str, Any], needs_m: float) -> bool:
    if row.get("origin") == "mark":
        return row.get("kind") in HARD_KINDS
    depth_m, height_m = row.get("depth_m"), row.get("height_m")
    return depth_m is not None and height_m is not None and float(depth_m) - float(height_m) < needs_m


def _on_wgs84(shape: BaseGeometry, crs: CRS) -> Any:
    return shapely.transform(shape, lambda xy: np.column_stack(unproject(crs, xy[:, 0], xy[:, 1])))


def _text(row: Mapping[str, Any], name: str) -> str:
    value = row.get(name)
    return value if isinstance(value, str) else ""
