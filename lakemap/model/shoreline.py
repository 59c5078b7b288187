"""The shoreline: water polygons in longitude and latitude; islands are holes."""

from __future__ import annotations

from dataclasses import dataclass

import shapely
from shapely.geometry.base import BaseGeometry

NO_WALLS: BaseGeometry = shapely.MultiLineString([])


@dataclass(frozen=True)
class Shoreline:
    """``water`` is a polygon or multipolygon in WGS 84 degrees (lon, lat); ``source`` names the file(s).

    ``walls``, in degrees too, are the lines or areas marked ``bank = wall``: where they touch the outline, the water is
    deep at once (a dam, a quay, a rock face).
    """

    water: BaseGeometry
    source: str
    messages: tuple[str, ...] = ()
    walls: BaseGeometry = NO_WALLS


@dataclass(frozen=True, eq=False)
class Shore:
    """The same on a working CRS [m]: ``water`` an area, ``walls`` the stretches of its outline (lines) that count
    neither as shore nor as zero depth."""

    water: BaseGeometry
    walls: BaseGeometry = NO_WALLS
