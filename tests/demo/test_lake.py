"""The invented lake: plausible, the same every time, and its truth is consistent."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from affine import Affine
from numpy.testing import assert_allclose, assert_array_equal
from pyproj import CRS

from lakemap.demo.bottom import reflection_of
from lakemap.demo.lake import demo_lake
from lakemap.errors import FrameMismatch
from lakemap.model.frame import GridFrame
from lakemap.physics.reflection import SEDIMENTS


@pytest.fixture(scope="module")
def lake():
    "Harrow Lake."
    return demo_lake()


def frame_of(lake, pixel_m=10.0, crs=None):
    "A frame over the whole lake."
    west, south, east, north = lake.shoreline.bounds
    shape = (int((north - south) / pixel_m) + 2, int((east - west) / pixel_m) + 2)
    transform = Affine(pixel_m, 0, west - pixel_m, 0, -pixel_m, north + pixel_m)
    return GridFrame(shape, transform, crs or lake.crs, np.ones(shape, bool))


def test_lake_has_the_size_and_depth_of_a_small_reservoir(lake):
    "About 1.3 by 0.7 km, 50 to 80 hectares, 14 to 18 m at the deepest, and gentle banks."
    west, south, east, north = lake.shoreline.bounds
    assert 1200 < east - west < 1320 and 650 < north - south < 800
    assert 50e4 < lake.shoreline.area < 80e4
    assert 14.0 < lake.lattice_depth_m.max() < 18.0
    assert len(lake.shoreline.interiors) == 1


def test_water_is_wet_and_land_is_not(lake):
    "Depth is above 0 inside the shoreline and 0 outside and on the island."
    island = shapely.Polygon(lake.shoreline.interiors[0]).centroid
    assert lake.depth_m(island.x, island.y) == 0.0
    inner = shapely.get_coordinates(lake.shoreline.buffer(-3.0))
    assert (lake.depth_m(inner[:, 0], inner[:, 1]) > 0.1).all()
    assert_array_equal(lake.depth_m(*shapely.get_coordinates(lake.shoreline.exterior.buffer(4.0).exterior).T), 0.0)


def test_features_stand_out_as_planted(lake):
    "A hump's top is shallower, and a hole deeper, than the ring around it."
    turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    for one in lake.features:
        if one.kind not in ("hump", "hole"):
            continue
        ring = lake.depth_m(one.x_m + 2.2 * one.radius_m * np.cos(turn), one.y_m + 2.2 * one.radius_m * np.sin(turn))
        drop = np.median(ring) - lake.depth_m(one.x_m, one.y_m)
        assert drop * (1 if one.kind == "hump" else -1) > 0.5 * one.relief_m, one


def test_drop_off_is_steep_and_ledge_is_level(lake):
    "The floor falls by more than 15 degrees at the drop-off, and rests near the ledge's depth over a wide band."
    down, across = np.gradient(lake.lattice_depth_m)
    slope = np.degrees(np.arctan(np.hypot(down, across)))
    x, y = np.meshgrid(*(np.arange(n) + c for n, c in zip(slope.shape[::-1], lake.corner_m, strict=True)))
    near = {f.kind: np.hypot(x - f.x_m, y - f.y_m) < 0.5 * f.radius_m for f in lake.features}
    assert np.percentile(slope[near["drop-off"] & (lake.lattice_depth_m > 2)], 90) > 15.0
    on_ledge = near["ledge"] & (np.abs(lake.lattice_depth_m - 4.6) < 0.4)
    off_ledge = near["ledge"] & (np.abs(lake.lattice_depth_m - 2.6) < 0.4)
    assert on_ledge.sum() > 1.5 * off_ledge.sum()


def test_cover_is_what_was_ordered(lake):
    "Forty stumps, boulders and brush, each in its range of size, in water deep enough, apart from each other."
    kinds = np.array(lake.cover.kind)
    assert (kinds == "stump").sum() == 40 and (kinds == "rock").sum() == 16 and (kinds == "brush").sum() == 14
    assert (lake.cover.floor_m > 1.6 * lake.cover.height_m).all()
    places = lake.cover.x_m + 1j * lake.cover.y_m
    apart = np.abs(places[:, None] - places[None]) + 1e9 * np.eye(len(places))
    assert apart.min() > 7.0
    assert_allclose(lake.depth_m(lake.cover.x_m, lake.cover.y_m), lake.cover.floor_m, atol=0.15)


def test_bottom_runs_from_rock_to_clay(lake):
    "All three classes cover a fair share, and reflection agrees with the table at its rows."
    wet = lake.lattice_depth_m > 0
    hard, soft = lake.lattice_reflection[wet] >= 0.3, lake.lattice_reflection[wet] < 0.1
    assert hard.mean() > 0.15 and soft.mean() > 0.3 and (~hard & ~soft).mean() > 0.1
    for sediment in SEDIMENTS.values():
        assert_allclose(reflection_of(np.array(sediment.mean_phi)), sediment.reflection)


def test_mean_depth_of_pixels_is_the_mean_of_the_floor(lake):
    "The pixel mean agrees with a plain mean over the lattice nodes in it, and is NaN on land."
    frame = frame_of(lake)
    means = lake.mean_depth(frame)
    row, column = frame.shape[0] // 2, frame.shape[1] // 4
    x, y = (axis[i] for axis, i in zip(frame.centres(), (column, row), strict=True))
    fine = np.linspace(-4.95, 4.95, 100)
    assert_allclose(means[row, column], lake.depth_m(x + fine[None], y + fine[:, None]).mean(), atol=0.01)
    assert np.isnan(means[0, 0])
    assert 0.9 < np.isfinite(means).sum() * 100.0 / lake.shoreline.area < 1.15


def test_frame_on_another_crs_is_refused(lake):
    "Truth is not given on a frame that lies elsewhere."
    with pytest.raises(FrameMismatch, match="lake's CRS"):
        lake.mean_depth(frame_of(lake, crs=CRS.from_epsg(32632)))


def test_same_seed_same_lake_other_seed_other_cover(lake):
    "Nothing but the seed decides."
    again, other = demo_lake.__wrapped__(1), demo_lake.__wrapped__(2)
    assert_array_equal(again.lattice_depth_m, lake.lattice_depth_m)
    assert_array_equal(again.cover.x_m, lake.cover.x_m)
    assert not np.allclose(other.cover.x_m, lake.cover.x_m)
