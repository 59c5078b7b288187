"""Lines and areas of the map as one GeoJSON (RFC 7946): contours, edges, features, dangers, closed areas, gaps."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import numpy as np
import shapely
from pyproj import CRS
from shapely.geometry import mapping
from shapely.geometry.base import BaseGeometry

from lakemap.model.drawn import Drawn
from lakemap.model.outputs import CAUTION
from lakemap.publish.degrees import in_degrees
from lakemap.publish.spot_rows import DEGREE_DECIMALS
from lakemap.publish.wording import printable

LAYERS = ("contours", "edges", "features", "shoreline", "gaps", "hazards", "closed_areas", "water_suits", "weed",
          "changes")
"""Layers of lake.gpkg that go along, in this order; spots.geojson has the spots."""


def lake_geojson(layers: Mapping[str, Drawn], crs: CRS) -> bytes:
    """One feature a shape of ``layers`` (on ``crs``), its layer's name and fields as properties, lengths in SI.

    Longitude and latitude on WGS 84, seven decimals, no ``crs`` member (section 4); outer rings counterclockwise
    (3.1.6); shapes that cross the antimeridian in pieces (3.1.9).
    """
    features = [_feature(name, _rounded(in_degrees(crs, shape)), fields)
                for name in LAYERS if name in layers
                for shape, fields in zip(layers[name].shapes, layers[name].fields, strict=True) if not shape.is_empty]
    whole = {"type": "FeatureCollection", "caution": CAUTION, "features": features}
    return (json.dumps(whole, ensure_ascii=False, allow_nan=False) + "\n").encode()


def _feature(layer: str, placed: BaseGeometry, fields: Mapping[str, Any]) -> dict[str, Any]:
    properties = {"layer": layer} | {name: _plain(value) for name, value in fields.items()}
    return {"type": "Feature", "properties": properties, "geometry": mapping(placed)}


def _plain(value: Any) -> Any:
    """Text that JSON can hold as UTF-8, numbers as they are, null for what is not known."""
    return printable(value) if isinstance(value, str) else value


def _rounded(shape: BaseGeometry) -> BaseGeometry:
    """Seven decimals; pieces of one kind as one Multi geometry, which readers take more readily than a collection."""
    rounded = shapely.transform(shape, lambda xy: np.round(xy, DEGREE_DECIMALS) + 0.0)
    if rounded.geom_type == "GeometryCollection":
        kinds = {part.geom_type for part in rounded.geoms}
        several = {"Point": shapely.MultiPoint, "LineString": shapely.MultiLineString, "Polygon": shapely.MultiPolygon}
        if len(kinds) == 1 and (kind := kinds.pop()) in several:
            return several[kind](list(rounded.geoms))
    return rounded
