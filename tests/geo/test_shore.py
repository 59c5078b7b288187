from __future__ import annotations

import numpy as np
import shapely
from affine import Affine

from lakemap.geo.crs import project, utm_crs
from lakemap.geo.shore import in_water, water_mask, water_polygon
from lakemap.model.shoreline import Shoreline


def test_island_is_land_and_the_margin_reaches_ashore():
    "A square lake with a square island: the island's pixels and points are land, 5 m of margin takes in its edge."
    ring = shapely.box(-100.0, 46.0, -99.99, 46.005)
    water = ring.difference(shapely.box(-99.996, 46.002, -99.994, 46.003))
    crs = utm_crs(-100.0, 46.0)
    polygon = water_polygon(Shoreline(water, "s"), crs)
    x, y = project(crs, [-99.999, -99.995, -100.001], [46.001, 46.0025, 46.001])
    assert in_water(polygon, x, y).tolist() == [True, False, False]
    west, south, east, north = polygon.bounds
    shape = (int((north - south) / 5), int((east - west) / 5))
    mask = water_mask(polygon, shape, Affine(5, 0, west, 0, -5, north))
    assert abs(mask.sum() * 25 - polygon.area) < 0.01 * polygon.area
    edge_x, edge_y = project(crs, -99.99601, 46.0025)
    inside_x = edge_x + 2.0
    assert in_water(polygon, [inside_x], [edge_y]).tolist() == [False]
    assert in_water(polygon, [inside_x], [edge_y], margin_m=5).tolist() == [True]
    assert not np.any(water_mask(shapely.Polygon(), (3, 3), Affine(5, 0, 0, 0, -5, 0)))
