"""How far the bank is, and what lies behind land: distances to the shore, and lattice links that land cuts."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from rasterio.features import shapes
from scipy.ndimage import distance_transform_edt
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import dijkstra
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from lakemap.model.frame import GridFrame
from lakemap.model.shoreline import Shore

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

BANK_STEP_M = 1.0
"""The outline is looked at in points so far apart; no outline is known better."""

MOST_BANK_POINTS = 400_000

WALL_WIDTH_M = 1.0
"""A wall takes so much of the outline on either side of its line."""

DETOUR_NODES = 40_000
"""Nodes of the lattice on which the way round a wall is looked for."""


def shore_of(frame: GridFrame) -> Shore | None:
    """The frame's outline; drawn along its pixels where only these are known; None without a shore."""
    if not frame.shore_known:
        return None
    if frame.shore is not None:
        return frame.shore
    found = shapes(frame.water.astype(np.uint8), frame.water, transform=frame.transform)
    return Shore(shapely.union_all([shapely.geometry.shape(outline) for outline, _ in found]))


def bank_lines(shore: Shore) -> BaseGeometry:
    """The outline without its walls, lines [m]."""
    edge = shapely.boundary(shore.water)
    return edge if shore.walls.is_empty else shapely.difference(edge, shapely.buffer(shore.walls, WALL_WIDTH_M))


def bank_points(shore: Shore, every_m: float = BANK_STEP_M) -> Floats:
    """Points (k, 2) along the outline without its walls, ``every_m`` apart (farther on a very long one)."""
    return _points_along(bank_lines(shore), every_m)


def bank_distance_m(shore: Shore, xy: Floats) -> Floats:
    """Distance (n,) [m] from ``xy`` (n, 2) to the nearest bank; walls are none. Infinite where there is no bank.

    Where a wall stands between a place and the bank nearest to it, the way round through the water counts.
    """
    points = bank_points(shore)
    if len(points) == 0:
        return np.full(len(xy), np.inf)
    away, nearest = cKDTree(points).query(xy)
    if not shore.walls.is_empty:
        straight = shapely.linestrings(np.stack([xy, points[nearest]], axis=1))
        shapely.prepare(shore.walls)
        behind = np.asarray(shapely.intersects(shore.walls, straight))
        if behind.any():
            away[behind] = np.maximum(away[behind], _way_round_m(shore, points, xy[behind]))
    return np.asarray(away, dtype=np.float64)


def open_links(shore: Shore | None, x_m: Floats, y_m: Floats) -> tuple[Mask, Mask]:
    """Which links of the lattice with nodes at ``x_m`` (columns,) and ``y_m`` (rows,) land does not cut.

    Returns two masks: towards the next column (rows, columns - 1) and towards the next row (rows - 1, columns).
    Between two nodes in the water a link is cut where the straight line crosses land. Nodes on land go with the water
    nearest to them, so that the lattice goes on behind a bank, but not through to water on the far side of thin land.
    """
    rows, columns = len(y_m), len(x_m)
    right, down = np.ones((rows, columns - 1), dtype=bool), np.ones((rows - 1, columns), dtype=bool)
    if shore is None:
        return right, down
    x, y = np.meshgrid(x_m, y_m)
    shapely.prepare(shore.water)
    wet = np.asarray(shapely.contains_xy(shore.water, x, y))
    if not wet.any():
        return right, down
    at_row, at_column = distance_transform_edt(~wet, return_distances=False, return_indices=True)
    home = at_row.astype(np.int64) * columns + at_column
    places = np.column_stack([x.ravel(), y.ravel()])
    right = _clear(shore, places, home[:, :-1], home[:, 1:])
    down = _clear(shore, places, home[:-1], home[1:])
    return right, down


def land_between(shore: Shore, start: Floats, end: Floats) -> Mask:
    """Whether the straight line from each ``start`` (n, 2) to each ``end`` (n, 2) meets the outline."""
    lines = shapely.linestrings(np.stack([start, end], axis=1))
    hit = np.zeros(len(lines), dtype=bool)
    tree = shapely.STRtree(lines)
    hit[tree.query(_segments(shapely.boundary(shore.water)), predicate="intersects")[1]] = True
    return hit


def _clear(shore: Shore, places: Floats, first: NDArray[np.int64], second: NDArray[np.int64]) -> Mask:
    """For links between homes of any shape: the same home, or a straight line that meets no land."""
    low, high = np.minimum(first, second).ravel(), np.maximum(first, second).ravel()
    pairs, back = np.unique(low * len(places) + high, return_inverse=True)
    start, end = places[pairs // len(places)], places[pairs % len(places)]
    edge = cKDTree(_points_along(shapely.boundary(shore.water), BANK_STEP_M))
    length = np.hypot(*(end - start).T)
    near = (length > 0) & (edge.query(start)[0] <= length + 2 * BANK_STEP_M)
    clear = np.ones(len(pairs), dtype=bool)
    clear[near] = ~land_between(shore, start[near], end[near])
    return clear[back].reshape(first.shape)


def _segments(lines: BaseGeometry) -> NDArray[np.object_]:
    """Every straight piece of ``lines`` as a geometry of its own."""
    parts = []
    for line in shapely.get_parts(lines):
        corner = shapely.get_coordinates(line)
        parts.append(np.stack([corner[:-1], corner[1:]], axis=1))
    return np.asarray(shapely.linestrings(np.concatenate(parts)))


def _points_along(lines: BaseGeometry, every_m: float) -> Floats:
    parts = [part for part in shapely.get_parts(lines) if part.length > 0]
    step = max(every_m, float(sum(part.length for part in parts)) / MOST_BANK_POINTS)
    return np.concatenate([_placed(part, step) for part in parts]) if parts else np.empty((0, 2))


def _placed(line: BaseGeometry, every_m: float) -> Floats:
    """Points every so far along one line; each asked of the geometry by itself would walk the line from its start."""
    corner = shapely.get_coordinates(line)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(corner, axis=0).T))])
    at = np.arange(0.0, along[-1], every_m)
    return np.column_stack([np.interp(at, along, corner[:, k]) for k in (0, 1)])


def _way_round_m(shore: Shore, points: Floats, xy: Floats) -> Floats:
    """Length of the way through the water from each place (n, 2) to the bank, on a lattice of DETOUR_NODES nodes that
    are joined to their eight neighbours (at most 8 % too long)."""
    west, south, east, north = shapely.bounds(shore.water)
    step = float(np.sqrt((east - west) * (north - south) / DETOUR_NODES))
    x_m, y_m = np.arange(west, east + step, step), np.arange(south, north + step, step)
    right, down = open_links(shore, x_m, y_m)
    number = np.arange(len(y_m) * len(x_m)).reshape(len(y_m), len(x_m))
    slanted = right[:-1] & down[:, 1:] & right[1:] & down[:, :-1]
    links = [
        (number[:, :-1][right], number[:, 1:][right], 1.0), (number[:-1][down], number[1:][down], 1.0),
        (number[:-1, :-1][slanted], number[1:, 1:][slanted], 2**0.5),
        (number[:-1, 1:][slanted], number[1:, :-1][slanted], 2**0.5),
    ]
    first, second = (np.concatenate([link[k] for link in links]) for k in (0, 1))
    length = np.concatenate([np.full(len(link[0]), step * link[2]) for link in links])
    graph = coo_matrix((length, (first, second)), shape=(number.size, number.size)).tocsr()
    nodes = np.column_stack([np.tile(x_m, len(y_m)), np.repeat(y_m, len(x_m))])
    shapely.prepare(shore.water)
    wet = np.asarray(shapely.contains_xy(shore.water, nodes[:, 0], nodes[:, 1]))
    tree = cKDTree(nodes)
    banks = np.unique(tree.query(points)[1])
    way = dijkstra(graph, directed=False, indices=banks, min_only=True)
    wet_nodes = np.flatnonzero(wet)
    return np.asarray(way[wet_nodes[cKDTree(nodes[wet]).query(xy)[1]]], dtype=np.float64)
