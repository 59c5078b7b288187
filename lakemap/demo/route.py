"""Where the boat means to go: legs as lines of corners (k, 2) on the lake's CRS [m]."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import affinity

Floats = NDArray[np.float64]

KEEP_OFF_M = 12.0
"""Survey lines end this far from the shore."""
SHORTEST_LEG_M = 20.0


def parallel_legs(water: shapely.Polygon, heading_deg: float, spacing_m: float, first_m: float = 0.5) -> list[Floats]:
    """Legs across the water on one heading [deg from north], to and fro; ``first_m`` shifts them, in spacings."""
    around = water.centroid
    turned = affinity.rotate(water.buffer(-KEEP_OFF_M), heading_deg, origin=around)
    west, south, east, north = turned.bounds
    legs: list[Floats] = []
    for number, x in enumerate(np.arange(west + first_m * spacing_m, east, spacing_m)):
        cut = shapely.intersection(turned, shapely.LineString([(x, south), (x, north)]))
        pieces = [p for p in shapely.get_parts(cut) if p.length > SHORTEST_LEG_M]
        pieces.sort(key=lambda piece: piece.bounds[1], reverse=bool(number % 2))
        for piece in pieces:
            corners = shapely.get_coordinates(affinity.rotate(piece, -heading_deg, origin=around))
            up = shapely.get_coordinates(piece)[0, 1] < shapely.get_coordinates(piece)[-1, 1]
            legs.append(corners if up != bool(number % 2) else corners[::-1])
    return legs


def ring_legs(water: shapely.Polygon, off_m: float) -> list[Floats]:
    """Once around the lake and once around each island, ``off_m`` from the shore."""
    inside = shapely.simplify(water.buffer(-off_m), 2.0)
    rings = [ring for part in shapely.get_parts(inside) for ring in (part.exterior, *part.interiors)]
    return [shapely.get_coordinates(ring) for ring in rings if ring.length > SHORTEST_LEG_M]


def search_legs(
    water: shapely.Polygon, middle: tuple[float, float], size_m: tuple[float, float], spacing_m: float
) -> list[Floats]:
    """Close legs over a rectangle around ``middle``, north-south and then, half as many, east-west."""
    x, y = middle
    field = shapely.box(x - size_m[0] / 2, y - size_m[1] / 2, x + size_m[0] / 2, y + size_m[1] / 2)
    wet = shapely.intersection(water, field.buffer(KEEP_OFF_M))
    return parallel_legs(wet, 0.0, spacing_m) + parallel_legs(wet, 90.0, 2.0 * spacing_m)
