"""The shoreline: water polygons in longitude and latitude; islands are holes."""

from __future__ import annotations

from dataclasses import dataclass

from shapely.geometry.base import BaseGeometry


@dataclass(frozen=True)
class Shoreline:
    """``water`` is a polygon or multipolygon in WGS 84 degrees (lon, lat); ``source`` names the file(s)."""

    water: BaseGeometry
    source: str
    messages: tuple[str, ...] = ()
