"""What stands on the invented lake's floor: stumps, boulders and brush."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from lakemap.demo.shape import HUMPS, POINT_LINES, Floor

Floats = NDArray[np.float64]

STUMP_FIELDS = ((560.0, 255.0), (215.0, 330.0))
"""Middles of the two stands of flooded timber, some 100 m wide."""
STUMPS_IN_FIELD, STUMPS_ALONE, BOULDERS, BRUSH_PILES = 16, 8, 16, 14
HEIGHT_M = {"stump": (0.5, 1.5), "rock": (0.5, 1.2), "brush": (0.8, 2.0)}
WIDTH_M = {"stump": (0.4, 0.8), "rock": (1.0, 2.0), "brush": (2.0, 6.0)}
APART_M = 7.0
"""Least distance between two things, so that each can be told apart."""
DEPTHS_M = (1.8, 9.0)
"""Cover stands where the water is this deep, and at least 1.6 times as deep as the thing is high."""


@dataclass(frozen=True)
class Cover:
    """k things: kind, middle [m], height above the floor and width [m], depth of the floor at its foot [m]."""

    kind: tuple[str, ...]
    x_m: Floats
    y_m: Floats
    height_m: Floats
    width_m: Floats
    floor_m: Floats

    def __len__(self) -> int:
        return len(self.x_m)


def plant_cover(floor: Floor, water: shapely.Polygon, rng: np.random.Generator) -> Cover:
    """Stumps in two fields and alone, boulders on humps and points, brush anywhere; metres from the box's corner."""
    stones = [(hump.x_m, hump.y_m) for hump in HUMPS] + [tip for _, tip in POINT_LINES]
    middle = (650.0, 400.0)
    wanted = (
        [("stump", field, 38.0) for field in STUMP_FIELDS for _ in range(STUMPS_IN_FIELD)]
        + [("stump", middle, 330.0)] * STUMPS_ALONE
        + [("rock", stones[i % len(stones)], 24.0) for i in range(BOULDERS)]
        + [("brush", middle, 330.0)] * BRUSH_PILES
    )
    shapely.prepare(water)
    placed: list[tuple[float, float]] = []
    rows = [_plant(kind, around, spread, floor, placed, rng) for kind, around, spread in wanted]
    columns = [np.array(column) for column in zip(*rows, strict=True)]
    return Cover(tuple(kind for kind, _, _ in wanted), *columns)


def _plant(
    kind: str, around: tuple[float, float], spread_m: float, floor: Floor, placed: list[tuple[float, float]],
    rng: np.random.Generator,
) -> tuple[float, float, float, float, float]:
    """Draw places until one is deep enough and free; its x, y, height, width and depth."""
    height, width = rng.uniform(*HEIGHT_M[kind]), rng.uniform(*WIDTH_M[kind])
    least = max(DEPTHS_M[0], 1.6 * height)
    rows, columns = floor.depth_m.shape
    while True:
        x, y = rng.normal(around, spread_m)
        if not (0 < x < columns - 1 and 0 < y < rows - 1):
            continue
        depth = floor.depth_m[round(y), round(x)]
        free = all((x - px) ** 2 + (y - py) ** 2 > APART_M**2 for px, py in placed)
        if free and least < depth < DEPTHS_M[1]:
            placed.append((x, y))
            return x, y, height, width, float(depth)
