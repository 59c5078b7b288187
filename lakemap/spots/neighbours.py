"""What lies near a spot: features with distance and direction, and signs of fish."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapely import STRtree, points, shortest_line

from lakemap.geo.directions import direction_word
from lakemap.model.hits import Hits
from lakemap.model.marks import MOVING_KINDS
from lakemap.model.terrain import Features

Floats = NDArray[np.float64]

SIGNS_OF_FISH = (*MOVING_KINDS, "catch")
"""Kinds that move or were caught: they count as fish near a spot and never make one."""

HALF_COUNT = 1.5
"""So many signs of fish give 1 - 1/e of the full part (our own choice)."""


@dataclass(frozen=True)
class NearFeature:
    """A feature (row number into Features) and its outline's distance [m] and direction; 0 m: the spot lies on it."""

    row: int
    distance_m: float
    direction: str


def features_near(x_m: Floats, y_m: Floats, features: Features, near_m: float) -> list[list[NearFeature]]:
    """For each place (k,), the nearest feature of each kind within ``near_m``, nearest first."""
    near: list[list[NearFeature]] = [[] for _ in x_m]
    if not len(features) or not len(x_m):
        return near
    places = points(x_m, y_m)
    at, rows = STRtree(features.geometry).query(places, predicate="dwithin", distance=near_m)
    for place, row in sorted(zip(at.tolist(), rows.tolist(), strict=True)):
        line = shortest_line(places[place], features.geometry[row])
        (x0, y0), (x1, y1) = line.coords[0], line.coords[-1]
        near[place].append(NearFeature(row, float(line.length), direction_word(x1 - x0, y1 - y0)))
    return [_nearest_of_each_kind(some, features) for some in near]


def _nearest_of_each_kind(some: list[NearFeature], features: Features) -> list[NearFeature]:
    chosen: dict[str, NearFeature] = {}
    for feature in sorted(some, key=lambda near: (round(near.distance_m, 6), near.row)):
        chosen.setdefault(features.kind[feature.row], feature)
    return list(chosen.values())


def signs_of_fish(hits: Hits) -> Hits:
    """Hits of kinds that move, and catches."""
    return hits.take(np.isin(hits.kind, SIGNS_OF_FISH) & np.isfinite(hits.x_m) & np.isfinite(hits.y_m))


def freshness(fish: Hits, newest: np.datetime64, half_life_days: float) -> Floats:
    """What each sign of fish (n,) still counts: half after each half-life before ``newest``; one without a date counts
    half.
    """
    age = (newest - fish.time_utc) / np.timedelta64(1, "D")
    return np.where(np.isnan(age), 0.5, 0.5 ** (np.maximum(np.nan_to_num(age), 0.0) / half_life_days))


def fish_near(
    x_m: Floats, y_m: Floats, fish: Hits, fresh: Floats, near_m: float
) -> tuple[Floats, NDArray[np.int64], Floats]:
    """Part of the score 0..1, how many signs of fish lie within ``near_m``, and what they still count by ``fresh``.

    NaN and 0 where the lake has none.
    """
    if not len(fish):
        return np.full(len(x_m), np.nan), np.zeros(len(x_m), np.int64), np.zeros(len(x_m))
    tree = cKDTree(np.column_stack([fish.x_m, fish.y_m]))
    near = tree.query_ball_point(np.column_stack([x_m, y_m]), near_m, return_sorted=True)
    count = np.array([len(rows) for rows in near], np.int64)
    still = np.array([float(fresh[rows].sum()) for rows in near])
    return 1.0 - np.exp(-still / HALF_COUNT), count, still
