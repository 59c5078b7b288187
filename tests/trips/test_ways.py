"""Ways stay in water that may be driven, are short, and go round what is closed."""

from __future__ import annotations

from itertools import pairwise

import networkx
import numpy as np
import pytest
from affine import Affine
from pyproj import CRS
from scipy.spatial.distance import cdist

from lakemap.model.frame import GridFrame
from lakemap.trips.water import Boat, driven_water, open_water
from lakemap.trips.ways import in_open_water, waterways, ways_between


def frame(rows=40, columns=60, pixel_m=5.0, water=None):
    water = np.ones((rows, columns), bool) if water is None else water
    return GridFrame((rows, columns), Affine(pixel_m, 0, 0, 0, -pixel_m, rows * pixel_m), CRS.from_epsg(32633), water)


def walled():
    "Open water parted by a wall with one gap at its north end."
    water = np.ones((40, 60), bool)
    water[3:, 30] = False
    return frame(water=water)


def test_round_a_wall_and_never_through_it():
    "From one side to the other by the gap; every piece stays in open pixels; not much longer than the taut string."
    lake = walled()
    ways = ways_between(waterways(lake, lake.water), np.array([[100.0, 20.0], [200.0, 20.0]]), 10.0)
    line = ways.line(0, 1)
    gap = np.array([152.5, 185.0])
    taut = np.hypot(*(line[0] - gap)) + np.hypot(*(line[-1] - gap))
    assert all(in_open_water(ways.water, a, b) for a, b in pairwise(line))
    assert ways.length_m[0, 1] == pytest.approx(taut, rel=0.07)
    drawn = np.hypot(*np.diff(line, axis=0).T).sum()
    assert drawn <= ways.length_m[0, 1] + 1e-6


def test_open_water_is_crossed_almost_straight():
    "At most 2.8 % longer than the straight line, whatever the course."
    lake = frame()
    xy = np.array([[22.5, 22.5], [272.5, 52.5], [152.5, 177.5], [222.5, 197.5]])
    ways = ways_between(waterways(lake, lake.water), xy, 10.0)
    straight = cdist(xy, xy)
    assert np.all(ways.length_m <= 1.028 * straight + 1e-6) and np.all(ways.length_m >= straight - 1e-6)


def test_lengths_are_those_of_networkx():
    "The same lattice in another library gives the same shortest lengths."
    lake = walled()
    water = waterways(lake, lake.water)
    links = water.links
    graph = networkx.Graph()
    graph.add_weighted_edges_from(zip(links.coords[0].tolist(), links.coords[1].tolist(), links.data.tolist(),
                                      strict=True))
    ways = ways_between(water, np.array([[20.0, 20.0], [280.0, 20.0], [280.0, 190.0]]), 10.0)
    for a in range(3):
        told = networkx.single_source_dijkstra_path_length(graph, int(ways.at[a]))
        assert [told[int(node)] for node in ways.at] == pytest.approx(ways.length_m[a].tolist())


def test_corners_of_land_are_not_cut():
    "Two basins that touch at a corner only have no way between them."
    water = np.zeros((10, 10), bool)
    water[:5, :5] = water[5:, 5:] = True
    lake = frame(10, 10, water=water)
    ways = ways_between(waterways(lake, water), np.array([[5.0, 45.0], [45.0, 5.0]]), 5.0)
    assert np.isinf(ways.length_m[0, 1]) and len(ways.line(0, 1)) == 0


def test_a_boat_stays_where_it_has_been_deep_enough():
    "Within 8 m of soundings deeper than draft and margin; a shallow sounding closes its place; a lower level more."
    lake = frame()
    along = np.column_stack([np.arange(10.0, 290.0, 2.0), np.full(140, 100.0)])
    depth = np.where(np.abs(along[:, 0] - 150.0) < 4.0, 0.5, 2.0)
    driven = driven_water(lake, along, depth, 8.0, Boat(0.6))
    row, column, _ = lake.pixel_of(np.array([50.0, 50.0, 150.0]), np.array([103.0, 130.0, 100.0]))
    assert driven[row, column].tolist() == [True, False, False]
    assert not driven_water(lake, along, depth, 8.0, Boat(0.6, lower_m=1.5)).any()
    assert driven_water(lake, along, depth, 8.0, Boat(0.6, lower_m=-3.0)).sum() == driven.sum()


def test_open_water_must_be_deep_beyond_doubt():
    "2 m with 0.2 m error is enough for 0.9 m, 1 m is not; what nobody mapped is closed."
    lake = frame(1, 4)
    depth = np.array([[2.0, 1.0, np.nan, 2.0]])
    sigma = np.array([[0.2, 0.2, 0.2, 0.9]])
    assert open_water(lake, depth, sigma, 0.1, Boat(0.6)).tolist() == [[True, False, False, False]]
