"""Distance to the bank, walls, and thin land between two waters."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from affine import Affine
from pyproj import CRS
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import dijkstra
from shapely.geometry import LineString, Polygon, box

from lakemap.geo.bank import bank_distance_m, bank_points, land_between, open_links, shore_of
from lakemap.geo.shore import shore_on
from lakemap.model.frame import GridFrame
from lakemap.model.shoreline import Shore, Shoreline

UTM = CRS.from_epsg(32632)
SQUARE = box(0, 0, 1000, 600)
EAST_WALL = LineString([(1000, 0), (1000, 600)])
TONGUE = box(497, 0, 503, 450)
PARTED = SQUARE.difference(TONGUE)


def test_distance_to_the_nearest_side():
    "In a square the nearest side counts; on land it is how far the water is."
    xy = np.array([[500.0, 100.0], [30.0, 300.0], [980.0, 300.0], [-40.0, 300.0]])
    assert bank_distance_m(Shore(SQUARE), xy) == pytest.approx([100, 30, 20, 40], abs=0.6)


def test_walls_are_no_bank():
    "Beside a dam the shore is the next side of the lake, not the dam."
    xy = np.array([[980.0, 300.0], [980.0, 100.0]])
    assert bank_distance_m(Shore(SQUARE, EAST_WALL), xy) == pytest.approx([300, 100], abs=2)
    assert bank_points(Shore(SQUARE, EAST_WALL))[:, 0].max() < 999.5


def test_a_lake_of_walls_has_no_bank():
    "Then the distance is infinite, and nothing fails."
    assert np.isinf(bank_distance_m(Shore(SQUARE, SQUARE.boundary), np.array([[500.0, 300.0]]))).all()


def test_behind_a_wall_the_way_round_counts():
    "A causeway of walls through the lake: the shore on its far side is as far as a boat would sail."
    west_side = LineString([(497, 0), (497, 450)])
    narrow = Polygon([(0, 0), (1000, 0), (1000, 3000), (503, 3000), (503, 2), (497, 2), (497, 3100), (0, 3100)])
    walls = narrow.boundary.intersection(box(490, 3, 510, 3200))
    place = np.array([[495.0, 2000.0]])
    assert bank_distance_m(Shore(narrow, walls), place)[0] == pytest.approx(495, rel=0.09)
    assert bank_distance_m(Shore(PARTED, west_side), np.array([[490.0, 200.0]]))[0] == pytest.approx(200, rel=0.09)
    assert bank_distance_m(Shore(PARTED, west_side), np.array([[510.0, 200.0]]))[0] == pytest.approx(7, abs=0.6)


def way_m(shore, step_m, start, end):
    "Length of the way over open links between two places."
    x_m, y_m = np.arange(-100.0, 1100.1, step_m), np.arange(-100.0, 700.1, step_m)
    right, down = open_links(shore, x_m, y_m)
    number = np.arange(len(x_m) * len(y_m)).reshape(len(y_m), len(x_m))
    first = np.concatenate([number[:, :-1][right], number[:-1][down]])
    second = np.concatenate([number[:, 1:][right], number[1:][down]])
    graph = coo_matrix((np.full(len(first), step_m), (first, second)), shape=(number.size, number.size))
    at = [int(number[np.abs(y_m - y).argmin(), np.abs(x_m - x).argmin()]) for x, y in (start, end)]
    return dijkstra(graph.tocsr(), directed=False, indices=at[0])[at[1]]


@pytest.mark.parametrize("step_m", [4.0, 20.0, 50.0])
def test_thin_land_cuts_links_however_wide_the_lattice(step_m):
    "Across a tongue 6 m wide the way goes round its tip; without it, straight."
    start, end = (470.0, 100.0), (530.0, 100.0)
    assert way_m(Shore(SQUARE), step_m, start, end) < 130
    assert way_m(Shore(PARTED), step_m, start, end) > 650


def test_links_go_on_behind_a_plain_bank():
    "Land nodes stay joined to their own water: a lattice may reach past the outline."
    x_m, y_m = np.arange(-100.0, 1100.1, 20.0), np.arange(-100.0, 700.1, 20.0)
    right, down = open_links(Shore(SQUARE), x_m, y_m)
    assert right.all() and down.all()
    assert open_links(None, x_m, y_m)[0].all()


def test_land_between_two_places():
    "Told line by line."
    start, end = np.array([[400.0, 100.0], [400.0, 500.0]]), np.array([[600.0, 100.0], [600.0, 500.0]])
    assert land_between(Shore(PARTED), start, end).tolist() == [True, False]


def test_a_frame_that_knows_only_pixels_still_has_a_shore():
    "Its outline follows the pixels."
    mask = np.ones((60, 100), bool)
    mask[:, :20] = False
    frame = GridFrame((60, 100), Affine(10, 0, 0, 0, -10, 600), UTM, mask, True)
    assert shapely.bounds(shore_of(frame).water).tolist() == [200, 0, 1000, 600]
    assert shore_of(GridFrame((60, 100), frame.transform, UTM, mask, False)) is None


@pytest.mark.parametrize("kind", ["line", "area"])
def test_marks_take_the_stretch_of_outline_they_lie_on(kind):
    "A line within 10 m (here 5 m off), or an area over it."
    lonlat = Polygon([(9.0, 46.0), (9.01, 46.0), (9.01, 46.01), (9.0, 46.01)])
    dam = LineString([(9.01006, 46.002), (9.01006, 46.008)])
    shore = shore_on(Shoreline(lonlat, "s", (), dam if kind == "line" else dam.buffer(0.0002)), UTM)
    assert shore.walls.length == pytest.approx(668, abs=60)
    assert shore.walls.distance(shore.water.boundary) < 1e-6
    assert shore_on(Shoreline(lonlat, "s"), UTM).walls.is_empty
