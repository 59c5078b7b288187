"""A finished map back from its folder: grids, outlines, spots, and what the owner said of dangers and closed areas."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from shapely.geometry.base import BaseGeometry

from lakemap.model.drawn import Drawn
from lakemap.model.finished_map import ClosedArea, Danger, FinishedMap, OwnMark
from lakemap.model.outputs import DEPTH, DEPTH_SIGMA
from lakemap.physics.reflection import HARD_AT_LOSS_DB, SOFT_AT_LOSS_DB, hardness_index
from lakemap.read.lake_layers import read_layers
from lakemap.read.map_rasters import read_grid
from lakemap.read.outputs import listed_file, read_summary
from lakemap.read.spots_back import read_spots

Layers = Mapping[str, Drawn]
NEEDED = ("shoreline", "hazards", "closed_areas", "hits", "passes")


def read_finished_map(folder: Path) -> FinishedMap:
    """All that a chart needs. Raises InputError without a finished map, or where a file is not the one it wrote."""
    summary = read_summary(folder)
    depth = read_grid(folder, summary, DEPTH)
    layers = read_layers(folder, summary, NEEDED)
    days = sorted({str(row["day"])[:10] for row in layers.get("passes", Drawn()).fields if row.get("day")})
    common = summary.get("common_error") or {}
    soft_below, hard_from = _hardness_limits(summary)
    return FinishedMap(
        name=str(summary.get("name") or folder.resolve().name), unit=str(summary["units"]), depth=depth,
        sigma=read_grid(folder, summary, DEPTH_SIGMA), datum=_datum(listed_file(folder, summary, DEPTH)),
        offset_m=float(common.get("offset_m") or 0.0), scale=float(common.get("scale") or 0.0),
        spots=read_spots(folder, summary, depth.frame.crs), shore=_shore(layers), dangers=_dangers(layers),
        closed=_closed(layers), marks=_marks(layers), first_day=days[0] if days else "",
        last_day=days[-1] if days else "", soft_below=soft_below, hard_from=hard_from,
        contour_m=summary.get("settings", {}).get("publish", {}).get("contour_m"),
    )


def _datum(path: Path) -> str:
    with rasterio.open(path, driver="GTiff") as raster:
        return str(raster.tags().get("DATUM", "not known"))


def _hardness_limits(summary: Mapping[str, Any]) -> tuple[float, float]:
    """Hardness below which the floor is called soft, and from which it is called hard."""
    used = summary.get("settings", {}).get("hardness", {})
    losses = np.array([used.get("soft_at") or SOFT_AT_LOSS_DB, used.get("hard_at") or HARD_AT_LOSS_DB], float)
    soft_below, hard_from = hardness_index(losses)
    return float(soft_below), float(hard_from)


def _there(layers: Layers, name: str) -> Iterator[tuple[BaseGeometry, dict[str, Any]]]:
    """Shapes of a layer with their fields, without rows that have none."""
    drawn = layers.get(name, Drawn())
    return ((shape, fields) for shape, fields in zip(drawn.shapes, drawn.fields, strict=True) if shape is not None)


def _shore(layers: Layers) -> BaseGeometry | None:
    return next((shape for shape, _ in _there(layers, "shoreline")), None)


def _dangers(layers: Layers) -> tuple[Danger, ...]:
    return tuple(Danger(shape, float(row.get("keep_m") or 0.0), _text(row.get("what")))
                 for shape, row in _there(layers, "hazards"))


def _closed(layers: Layers) -> tuple[ClosedArea, ...]:
    return tuple(ClosedArea(shape, *(_text(row.get(name)) for name in ("first", "last", "why")))
                 for shape, row in _there(layers, "closed_areas"))


def _marks(layers: Layers) -> tuple[OwnMark, ...]:
    return tuple(OwnMark(float(shape.x), float(shape.y), _text(row.get("kind")), _text(row.get("note")))
                 for shape, row in _there(layers, "hits") if row.get("origin") == "mark")


def _text(value: Any) -> str:
    return value if isinstance(value, str) else ""
