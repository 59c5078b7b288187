"""Lines and outlines as the page carries them: millionths of a degree, each point as a step from the one before."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from lakemap.geo.shore import water_polygon
from lakemap.model.frame import GridFrame
from lakemap.model.lake_map import LakeMap
from lakemap.publish.html_map.placing import unwrapped_lonlat
from lakemap.publish.passes import pass_lines

STEPS_PER_DEGREE = 1_000_000
"""0.11 m of latitude: well below a pixel and below any position error."""

EDGE_SLACK, OUTLINE_SLACK = 0.15, 0.3
"""How far a simplified line may leave its course, in pixels: not visible at the scale the grid supports."""


def steps(frame: GridFrame, points: NDArray[np.float64]) -> list[int]:
    """Points (n, 2) on the frame's CRS as ``[lat, lon, dlat, dlon, ...]`` in millionths of a degree."""
    lon, lat = unwrapped_lonlat(frame, points[:, 0], points[:, 1])
    whole = np.rint(np.column_stack([lat, lon]) * STEPS_PER_DEGREE).astype(np.int64)
    return [int(value) for value in np.diff(whole, axis=0, prepend=0).ravel()]


def line_steps(frame: GridFrame, shape: BaseGeometry, slack_m: float) -> list[list[int]]:
    """Every line of a (multi)line, simplified."""
    parts = shapely.get_parts(shapely.simplify(shape, slack_m))
    return [steps(frame, shapely.get_coordinates(part)) for part in parts if shapely.get_num_coordinates(part) > 1]


def outline_steps(frame: GridFrame, shape: BaseGeometry, slack_m: float) -> list[list[list[int]]]:
    """Every polygon of a shape as its rings, outer ring first; lines and points in it are left out."""
    parts = [part for part in shapely.get_parts(shapely.simplify(shape, slack_m)) if part.geom_type == "Polygon"]
    return [
        [steps(frame, shapely.get_coordinates(ring)) for ring in (part.exterior, *part.interiors)]
        for part in parts if not part.is_empty
    ]


def passes(lake_map: LakeMap, tolerance_m: float) -> list[dict[str, Any]]:
    """Each pass of two usable rows or more: its number, its day (None without dates) and its course."""
    frame = lake_map.depth.frame
    return [
        {"id": one.pass_id, "day": one.day, "lines": [steps(frame, shapely.get_coordinates(one.line))]}
        for one in pass_lines(lake_map.soundings, min(tolerance_m, frame.pixel_m / 2))
    ]


def day_of(moment: Any) -> str | None:
    """``2024-05-31``, or None for a moment that is not known."""
    return None if np.isnat(moment) else str(np.datetime64(moment, "D"))


def features(lake_map: LakeMap) -> list[dict[str, Any]]:
    """Features of the floor: kind, outlines, depth at the anchor and relief [m]."""
    frame, found = lake_map.depth.frame, lake_map.terrain.features
    slack_m = OUTLINE_SLACK * frame.pixel_m
    return [
        {
            "kind": kind, "outlines": outline_steps(frame, shape, slack_m),
            "anchor": steps(frame, np.array([[found.x_m[k], found.y_m[k]]])),
            "depth_m": number(found.depth_m[k]), "relief_m": number(found.relief_m[k]),
        }
        for k, (kind, shape) in enumerate(zip(found.kind, found.geometry, strict=True))
    ]


def shore(lake_map: LakeMap) -> list[list[list[int]]]:
    """The shoreline's rings; empty where no shoreline is known."""
    if lake_map.shore is None:
        return []
    frame = lake_map.depth.frame
    return outline_steps(frame, water_polygon(lake_map.shore, frame.crs), OUTLINE_SLACK * frame.pixel_m)


def number(value: Any, decimals: int = 3) -> float | None:
    """A number for JSON; None where it is not known."""
    return round(float(value), decimals) if np.isfinite(value) else None


def numbers(values: NDArray[np.floating[Any]], decimals: int = 3) -> list[float | None]:
    """Numbers for JSON; None where one is not known."""
    return [number(value, decimals) for value in values]
