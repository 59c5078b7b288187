"""A finished map back from its folder: grids, outlines, spots, and what the owner said of dangers and closed areas."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from shapely.geometry.base import BaseGeometry

from lakemap.errors import InputError
from lakemap.model.finished_map import ClosedArea, Danger, FinishedMap, OwnMark
from lakemap.model.outputs import DEPTH, DEPTH_SIGMA, LAKE
from lakemap.physics.reflection import HARD_AT_LOSS_DB, SOFT_AT_LOSS_DB, hardness_index
from lakemap.read.map_rasters import read_grid
from lakemap.read.outputs import listed_file, read_summary
from lakemap.read.spots_back import read_spots

Rows = list[dict[str, Any]]


def read_finished_map(folder: Path) -> FinishedMap:
    """All that a chart needs. Raises InputError without a finished map, or where a file is not the one it wrote."""
    summary = read_summary(folder)
    depth = read_grid(folder, summary, DEPTH)
    layers = _layers(folder, summary)
    days = sorted({str(row["day"])[:10] for row in layers.get("passes", []) if row.get("day")})
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


def _layers(folder: Path, summary: Mapping[str, Any]) -> dict[str, Rows]:
    """The rows of those layers of lake.gpkg that are needed, with their ``geometry``; none where it has none."""
    import pyogrio

    if LAKE not in summary["files"]:
        return {}
    path, found = listed_file(folder, summary, LAKE), dict[str, Rows]()
    try:
        there = set(pyogrio.list_layers(path)[:, 0].tolist())
        for name in ("shoreline", "hazards", "closed_areas", "hits", "passes"):
            if name in there:
                found[name] = pyogrio.read_dataframe(path, layer=name).to_dict("records")
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, ValueError) as fault:
        raise InputError(f"{path}: cannot be read ({' '.join(str(fault).split())}); make the map again") from None
    return found


def _datum(path: Path) -> str:
    with rasterio.open(path, driver="GTiff") as raster:
        return str(raster.tags().get("DATUM", "not known"))


def _hardness_limits(summary: Mapping[str, Any]) -> tuple[float, float]:
    """Hardness below which the floor is called soft, and from which it is called hard."""
    used = summary.get("settings", {}).get("hardness", {})
    losses = np.array([used.get("soft_at") or SOFT_AT_LOSS_DB, used.get("hard_at") or HARD_AT_LOSS_DB], float)
    soft_below, hard_from = hardness_index(losses)
    return float(soft_below), float(hard_from)


def _shore(layers: Mapping[str, Rows]) -> BaseGeometry | None:
    rows = [row["geometry"] for row in layers.get("shoreline", []) if row["geometry"] is not None]
    return rows[0] if rows else None


def _dangers(layers: Mapping[str, Rows]) -> tuple[Danger, ...]:
    return tuple(
        Danger(row["geometry"], float(row.get("keep_m") or 0.0), _text(row.get("what")))
        for row in layers.get("hazards", []) if row["geometry"] is not None
    )


def _closed(layers: Mapping[str, Rows]) -> tuple[ClosedArea, ...]:
    return tuple(
        ClosedArea(row["geometry"], *(_text(row.get(name)) for name in ("first", "last", "why")))
        for row in layers.get("closed_areas", []) if row["geometry"] is not None
    )


def _marks(layers: Mapping[str, Rows]) -> tuple[OwnMark, ...]:
    return tuple(
        OwnMark(float(row["geometry"].x), float(row["geometry"].y), _text(row.get("kind")), _text(row.get("note")))
        for row in layers.get("hits", []) if row.get("origin") == "mark" and row["geometry"] is not None
    )


def _text(value: Any) -> str:
    return value if isinstance(value, str) else ""
