"""GeoJSON (RFC 7946): its geometries, and the CRS that the form of 2008 could carry."""

from __future__ import annotations

import json
import re
from typing import Any

import numpy as np
import shapely
from shapely.geometry import shape
from shapely.geometry.base import BaseGeometry

from lakemap.errors import InputError
from lakemap.read.source import Source

LARGEST_COORDINATE = 1e12
"""No CRS counts farther; NaN and infinity, also in a hole, are beyond it."""
_START = re.compile(rb"^(?:\xef\xbb\xbf)?\s*\{")
_TYPE = re.compile(rb'"type"\s*:\s*"(?:FeatureCollection|Feature|(?:Multi)?Polygon|GeometryCollection)"')
_BROKEN = (
    ValueError, TypeError, KeyError, IndexError, AttributeError, OverflowError, RecursionError,
    shapely.errors.ShapelyError,
)


def is_geojson(source: Source) -> bool:
    """Whether the file starts as a GeoJSON object."""
    return _START.match(source.head) is not None and _TYPE.search(source.head) is not None


def _parsed(source: Source) -> dict[str, Any]:
    try:
        whole = json.loads(source.text())
    except (ValueError, RecursionError) as fault:
        reason = "nested too deep" if isinstance(fault, RecursionError) else str(fault)
        raise InputError(f"{source.name}: broken JSON ({reason}); save the file again") from None
    if not isinstance(whole, dict):
        raise InputError(f"{source.name}: no GeoJSON object; save it as a FeatureCollection")
    return whole


def geojson_crs(source: Source) -> str:
    """WGS 84, unless the file has the old ``crs`` member; axes are always longitude, latitude or x, y."""
    named = _parsed(source).get("crs")
    try:
        if not named:
            return "EPSG:4326"
        name = named["properties"]["name"] if "properties" in named else _horizontal(named["horizontal"])
    except (TypeError, KeyError):
        raise InputError(f"{source.name}: its crs member names no CRS; save it in WGS 84 (lon, lat)") from None
    return "EPSG:4326" if "CRS84" in str(name) else str(name)


def all_near(shape_or_shapes: Any) -> bool:
    """Whether every coordinate, in holes too, is a number that some CRS can have."""
    return bool((np.abs(shapely.get_coordinates(shape_or_shapes)) < LARGEST_COORDINATE).all())


def _horizontal(told: Any) -> str:
    """The CRS as B-12 writes it: a word, or authority and code."""
    return f"{told['type']}:{told['value']}" if isinstance(told, dict) else str(told)


def geojson_geometries(source: Source) -> list[BaseGeometry]:
    """All geometries, collections opened. Raises InputError for broken JSON or coordinates."""
    return [made for made, _ in geojson_features(source)]


def geojson_features(source: Source) -> list[tuple[BaseGeometry, dict[str, Any]]]:
    """All geometries with the properties of their feature. Raises InputError for broken JSON or coordinates."""
    out: list[tuple[BaseGeometry, dict[str, Any]]] = []
    for part, properties in _geometry_parts(_parsed(source), {}, 0):
        try:
            made = shape(part)
            finite = all_near(made)
        except _BROKEN:
            finite = False
        if not finite:
            raise InputError(f"{source.name}: a {part.get('type')} has broken coordinates; save the file again")
        out.append((made, properties))
    return out


def _geometry_parts(
    value: Any, properties: dict[str, Any], depth: int
) -> list[tuple[dict[str, Any], dict[str, Any]]]:
    if not isinstance(value, dict) or depth > 16:
        return []
    if value.get("type") in ("FeatureCollection", "GeometryCollection"):
        parts = value.get("features") or value.get("geometries")
        parts = parts if isinstance(parts, list) else []
        return [found for part in parts for found in _geometry_parts(part, properties, depth + 1)]
    if value.get("type") == "Feature":
        own = value.get("properties")
        return _geometry_parts(value.get("geometry"), own if isinstance(own, dict) else {}, depth + 1)
    return [(value, properties)] if "coordinates" in value else []
