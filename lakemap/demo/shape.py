"""The invented lake's floor: basins, banks, an old river bed, humps, a hole, points, a ledge, a drop-off, roughness."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, gaussian_filter

Floats = NDArray[np.float64]

BOX_M = (1320, 800)
"""Width and height of the box that holds the lake; the lattice has one node a metre."""
LEAST_DEPTH_M = 0.15
"""Depth of the water's very edge."""
ROUGHNESS = ((4.0, 0.06), (12.0, 0.10))
"""Correlation length (one sigma of the smoothing) and standard deviation of the floor's roughness [m]."""


@dataclass(frozen=True)
class Planted:
    """A feature of the floor: what it is, its middle, how far it reaches and how much it stands out [m]."""

    kind: str
    x_m: float
    y_m: float
    radius_m: float
    relief_m: float


HUMPS = (
    Planted("hump", 420, 575, 26, 3.2), Planted("hump", 1100, 520, 27, 5.5), Planted("hump", 770, 205, 24, 3.4),
    Planted("hump", 250, 360, 20, 2.4),
)
HOLES = (Planted("hole", 330, 470, 24, 3.2),)
POINTS = (Planted("point", 674, 428, 55, 4.5), Planted("point", 489, 140, 70, 3.2))
POINT_LINES = (((648.0, 470.0), (700.0, 385.0)), ((500.0, 75.0), (478.0, 205.0)))
"""Root in the shore and tip of each point; it falls away beyond its tip."""
POINT_WIDTH_M = 23.0
LEDGE = Planted("ledge", 1020, 150, 150, 4.6)
"""For the ledge ``relief_m`` is the depth at which it lies."""
DROP_OFF = Planted("drop-off", 780, 695, 110, 7.0)
"""For the drop-off ``relief_m`` is the depth at which it is steepest."""
CHANNEL = (
    (75, 500), (180, 470), (275, 405), (390, 330), (500, 300), (600, 285), (700, 300), (790, 390), (880, 470),
    (990, 460), (1120, 400), (1250, 410),
)
"""The old river bed, from the inlet in the west to the east end."""
CHANNEL_DEPTH_M, CHANNEL_WIDTH_M = 2.0, 15.0


@dataclass(frozen=True)
class Floor:
    """Lattice values (rows from south, columns from west, one a metre): depth, and weights 0..1 of what lies there."""

    depth_m: Floats
    stony: Floats
    channel: Floats


def features() -> tuple[Planted, ...]:
    """All features put into the floor, in metres from the box's corner."""
    return (*HUMPS, *HOLES, *POINTS, LEDGE, DROP_OFF)


def blob(x: Floats, y: Floats, at: tuple[float, float], radius_m: float) -> Floats:
    """A bell of height 1 around a place."""
    return np.asarray(np.exp(-((x - at[0]) ** 2 + (y - at[1]) ** 2) / (2.0 * radius_m**2)))


def lattice() -> tuple[Floats, Floats]:
    """x and y of every node [m]."""
    x, y = np.meshgrid(np.arange(BOX_M[0] + 1.0), np.arange(BOX_M[1] + 1.0))
    return x, y


def make_floor(water: shapely.Polygon, rng: np.random.Generator) -> Floor:
    """Depth on the lattice, 0 on land; ``water`` in metres from the box's corner."""
    x, y = lattice()
    shapely.prepare(water)
    wet = shapely.contains_xy(water, x.ravel(), y.ravel()).reshape(x.shape)
    to_shore = np.maximum(distance_transform_edt(wet) - 0.5, 0.0)
    channel = _channel(x, y) * np.minimum(to_shore / 70.0, 1.0)
    depth = _terraces(x, y, _basins(x, y, to_shore)) + CHANNEL_DEPTH_M * channel
    stony = np.zeros_like(depth)
    for hump in HUMPS:
        bell = blob(x, y, (hump.x_m, hump.y_m), hump.radius_m)
        depth, stony = depth - hump.relief_m * bell, np.maximum(stony, bell)
    for point, (root, tip) in zip(POINTS, POINT_LINES, strict=True):
        tongue = _tongue(x, y, root, tip, POINT_WIDTH_M)
        depth, stony = depth - point.relief_m * tongue, np.maximum(stony, 0.8 * tongue)
    for hole in HOLES:
        depth = depth + hole.relief_m * blob(x, y, (hole.x_m, hole.y_m), hole.radius_m)
    depth = depth + _roughness(rng, depth.shape) * np.minimum(to_shore / 15.0, 1.0)
    # A bank keeps its slope under whatever was put on it, so that nothing planted breaks the surface.
    depth = np.maximum(depth, LEAST_DEPTH_M + 0.05 * np.minimum(to_shore, 25.0))
    return Floor(np.where(wet, depth, 0.0), stony, channel)


def _basins(x: Floats, y: Floats, to_shore: Floats) -> Floats:
    """Two basins and an arm, with banks that are steep in the east and gentle in the north-west."""
    west, east = 2.8 * blob(x, y, (300, 440), 140), 7.5 * blob(x, y, (950, 520), 180)
    deep = 7.0 + west + east + 2.5 * blob(x, y, (600, 250), 110)
    bank_m = 52.0 - 16.0 * blob(x, y, (1250, 330), 150) + 22.0 * blob(x, y, (180, 620), 130)
    return np.asarray(LEAST_DEPTH_M + deep * (1.0 - np.exp(-((to_shore / bank_m) ** 1.2))))


def _terraces(x: Floats, y: Floats, depth: Floats) -> Floats:
    """Depths with the ledge flattened into the bank and the drop-off made steep."""
    off = (depth - LEDGE.relief_m) / 1.9
    bench = depth - 0.95 * blob(x, y, (LEDGE.x_m, LEDGE.y_m), LEDGE.radius_m) * 1.9 * off * np.exp(-(off**2))
    fall = np.tanh((bench - DROP_OFF.relief_m) / 0.8)
    return np.asarray(bench + 2.1 * blob(x, y, (DROP_OFF.x_m, DROP_OFF.y_m), 0.7 * DROP_OFF.radius_m) * fall)


def _channel(x: Floats, y: Floats) -> Floats:
    """1 in the middle of the old river bed, falling off to its sides."""
    bed = np.ones(x.shape, dtype=bool)
    along = shapely.line_interpolate_point(shapely.LineString(CHANNEL), np.arange(0.0, 1500.0, 0.5))
    places = np.rint(shapely.get_coordinates(along)).astype(np.int64)
    bed[places[:, 1], places[:, 0]] = False
    return np.asarray(np.exp(-((gaussian_filter(distance_transform_edt(bed), 4.0) / CHANNEL_WIDTH_M) ** 2)))


def _tongue(x: Floats, y: Floats, root: tuple[float, float], tip: tuple[float, float], width_m: float) -> Floats:
    """A ridge of height 1 at its root in the shore that falls to 0 some way beyond its tip."""
    dx, dy = tip[0] - root[0], tip[1] - root[1]
    length = np.hypot(dx, dy)
    along = ((x - root[0]) * dx + (y - root[1]) * dy) / length
    across = ((x - root[0]) * dy - (y - root[1]) * dx) / length
    fall = np.clip(1.0 - along / (1.6 * length), 0.0, 1.0) * np.clip(1.0 + along / 20.0, 0.0, 1.0)
    return np.asarray(fall * np.exp(-((across / width_m) ** 2)))


def _roughness(rng: np.random.Generator, shape: tuple[int, ...]) -> Floats:
    total = np.zeros(shape)
    for length_m, sigma_m in ROUGHNESS:
        noise = gaussian_filter(rng.standard_normal(shape), length_m, truncate=3.0)
        total += sigma_m * noise / noise.std()
    return total
