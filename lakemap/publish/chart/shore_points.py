"""Points on the shore that a spot is found from: marks of the owner's, else where the land juts out."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from lakemap.geo.crs import GEOD, unproject
from lakemap.model.finished_map import FinishedMap

Floats = NDArray[np.float64]

SHORE_WORDS = re.compile(
    r"\b(shore|ramp|slip|slipway|launch|landing|dock|pier|jetty|quay|boathouse|lighthouse|church|tower|flagpole|chimney)s?\b",
    re.IGNORECASE)
"""Words in a mark that say it stands on the shore or is seen on it."""
LEAST_TURN_DEG = 25.0
SIMPLIFIED_SHARE, LEAST_SIMPLIFIED_M = 0.01, 4.0
"""Bends smaller than this share of the lake's size, or this, are no headlands (own choice)."""
APART_SHARE = 0.06
MOST_POINTS, WEIGHED = 24, 12
FAR_M = 1000.0
"""A bearing taken by hand is good to some 2 degrees, 35 m at this distance (common practice): nearer points count more.
"""


@dataclass(frozen=True)
class ShorePoint:
    """A point at x, y on the map's CRS [m] and in degrees, and its name; ``own`` where the owner marked it."""

    name: str
    x_m: float
    y_m: float
    lon_deg: float
    lat_deg: float
    own: bool


@dataclass(frozen=True)
class Sight:
    """A shore point as seen from a spot: true bearing to it, the true bearing back from it [deg], distance [m]."""

    point: ShorePoint
    to_deg: float
    from_deg: float
    distance_m: float


def shore_points(lake: FinishedMap) -> list[ShorePoint]:
    """The owner's marks on the shore; two or more of them suffice, else prominent points of the shoreline join them.

    None without such marks and without a shoreline.
    """
    marks = [(mark.words or mark.kind, mark.x_m, mark.y_m) for mark in lake.marks
             if SHORE_WORDS.search(f"{mark.kind} {mark.words}")]
    own = len(marks)
    if own < 2 and lake.shore is not None:
        marks += headlands(lake.shore)
    if not marks:
        return []
    lon, lat = unproject(lake.depth.frame.crs, np.array([x for _, x, _ in marks]), np.array([y for _, _, y in marks]))
    return [ShorePoint(name, x, y, float(lon[k]), float(lat[k]), k < own) for k, (name, x, y) in enumerate(marks)]


def headlands(shore: BaseGeometry) -> list[tuple[str, float, float]]:
    """Names and places of points where land juts into the water, most prominent first; the four ends of the lake join
    them where there are fewer than three."""
    west, south, east, north = shore.bounds
    size = float(np.hypot(east - west, north - south))
    smooth = shore.simplify(max(LEAST_SIMPLIFIED_M, SIMPLIFIED_SHARE * size))
    found = [corner for part in shapely.get_parts(smooth) if part.geom_type == "Polygon"
             for corner in _corners(shapely.geometry.polygon.orient(part))]
    found.sort(key=lambda one: (-round(one[0], 3), one[1], one[2]))
    kept: list[tuple[str, float, float]] = []
    for _, x, y, on_island in found:
        if len(kept) < MOST_POINTS and all(np.hypot(x - a, y - b) > APART_SHARE * size for _, a, b in kept):
            kept.append((f"{'corner of an island' if on_island else 'headland'}, {_side(x, y, shore)}", x, y))
    return kept if len(kept) >= 3 else kept + _ends(shore)


def _corners(water: BaseGeometry) -> list[tuple[float, float, float, bool]]:
    """Corners of the land: how far each juts out [m], x, y, and whether it is an island's. Rings run with the water on
    their left, so the land juts out where they turn right."""
    made = []
    for ring, on_island in [(water.exterior, False), *((hole, True) for hole in water.interiors)]:
        at = np.asarray(ring.coords)[:-1, :2]
        back, ahead = at - np.roll(at, 1, axis=0), np.roll(at, -1, axis=0) - at
        cross = back[:, 0] * ahead[:, 1] - back[:, 1] * ahead[:, 0]
        turn = np.degrees(np.arctan2(cross, (back * ahead).sum(axis=1)))
        legs = np.minimum(np.hypot(*back.T), np.hypot(*ahead.T))
        made += [(float(legs[k] * -turn[k] / 180.0), float(at[k, 0]), float(at[k, 1]), on_island)
                 for k in np.flatnonzero(turn <= -LEAST_TURN_DEG)]
    return made


def _side(x: float, y: float, shore: BaseGeometry) -> str:
    """Where on the lake a place lies: ``north-east``, seen from the middle of the box."""
    west, south, east, north = shore.bounds
    across, up = (x - (west + east) / 2) / max(east - west, 1.0), (y - (south + north) / 2) / max(north - south, 1.0)
    words = [word for word, is_so in (("north", up > 0.08), ("south", up < -0.08)) if is_so]
    words += [word for word, is_so in (("east", across > 0.08), ("west", across < -0.08)) if is_so]
    return "-".join(words) or "middle"


def _ends(shore: BaseGeometry) -> list[tuple[str, float, float]]:
    corners = shapely.get_coordinates(shore)
    found: list[tuple[str, float, float]] = []
    for word, axis, sign in (("north", 1, 1), ("east", 0, 1), ("south", 1, -1), ("west", 0, -1)):
        x, y = corners[int(np.argmax(sign * corners[:, axis]))].tolist()
        if (x, y) not in [(a, b) for _, a, b in found]:
            found.append((f"{word} end of the lake", float(x), float(y)))
    return found


def sights(lake: FinishedMap, k: int, points: Sequence[ShorePoint]) -> list[Sight]:
    """Three shore points (or as many as there are) for spot ``k``, by true bearing: near ones whose bearings cross at
    open angles, those in sight over water first."""
    spots = lake.spots
    away = [round(float(np.hypot(one.x_m - spots.x_m[k], one.y_m - spots.y_m[k])), 2) for one in points]
    near = [points[i] for i in sorted(range(len(points)), key=lambda i: (not points[i].own, away[i], points[i].name))]
    seen = [one for one in near if _over_water(lake, k, one)]
    told = [_sight(lake, k, one) for one in (seen if len(seen) >= 2 else near)[:WEIGHED]]
    if len(told) <= 3:
        chosen: tuple[Sight, ...] = tuple(told)
    else:
        chosen = max(combinations(told, 3), key=_crossing)
    return sorted(chosen, key=lambda one: one.to_deg)


def _over_water(lake: FinishedMap, k: int, point: ShorePoint) -> bool:
    """Whether the way to a point is open, but for its last 15 m: outlines and fixes have errors."""
    if lake.shore is None:
        return True
    line = LineString([(lake.spots.x_m[k], lake.spots.y_m[k]), (point.x_m, point.y_m)])
    dry = line.difference(lake.shore).difference(shapely.Point(point.x_m, point.y_m).buffer(15.0))
    return bool(dry.length < 1.0)


def _sight(lake: FinishedMap, k: int, point: ShorePoint) -> Sight:
    """Geodesic on WGS 84."""
    there, back, length = GEOD.inv(float(lake.spots.lon_deg[k]), float(lake.spots.lat_deg[k]), point.lon_deg,
                                   point.lat_deg)
    return Sight(point, float(there) % 360.0, float(back) % 360.0, float(length))


def _crossing(three: Sequence[Sight]) -> float:
    """How well three bearings fix a place: the flattest of their angles, far points counting less; each of the owner's
    own marks counts for more than any angle."""
    bearings = np.radians([one.to_deg for one in three])
    angles = [abs(np.sin(a - b)) for a, b in combinations(bearings, 2)]
    far = max(one.distance_m for one in three)
    return round(float(min(angles)) / (1.0 + far / FAR_M) + sum(one.point.own for one in three), 9)
