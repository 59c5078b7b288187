"""Planted features are found, and none where only noise is."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from floors import NORTH, WEST, bump, mesh, noise, surface
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Point

from lakemap.terrain import TerrainSettings
from lakemap.terrain.bands import band_width_px
from lakemap.terrain.features import find_features
from lakemap.terrain.regions import closed, opened, sections

SETTINGS = TerrainSettings()
EAST, SOUTH = mesh()


def features_of(depth, sigma=0.1, seed=None, land=None, settings=SETTINGS):
    "Features of a floor, with noise as large as sigma says when a seed is given."
    seen = depth if seed is None else depth + noise(depth.shape, sigma, 4, seed)
    return find_features(surface(seen, sigma=sigma, land=land), settings)


def of_kind(features, kind):
    "East and south of the corner, relief, for each feature of a kind."
    return [
        (features.x_m[i] - WEST, NORTH - features.y_m[i], features.relief_m[i])
        for i in range(len(features)) if features.kind[i] == kind
    ]


@pytest.mark.parametrize("seed", [None, 1, 2, 3])
def test_hump_and_hole_found_where_planted(seed):
    "A 2.5 m hump and a 2 m hole on a gently falling floor: both, at their place, with their relief, and no others."
    depth = 6 + 0.005 * SOUTH - bump(EAST, SOUTH, (120, 400), 10, 2.5) + bump(EAST, SOUTH, (350, 150), 15, 2.0)
    features = features_of(depth, seed=seed)
    (east, south, relief), = of_kind(features, "hump")
    assert np.hypot(east - 120, south - 400) < 6 and relief == pytest.approx(2.3, abs=0.4)
    (east, south, relief), = of_kind(features, "hole")
    assert np.hypot(east - 350, south - 150) < 8 and relief == pytest.approx(1.8, abs=0.4)
    outlined = features.geometry[features.kind.index("hump")]
    assert outlined.is_valid and outlined.contains(Point(WEST + 120, NORTH - 400))


def test_a_hump_on_a_slope_is_found_by_its_closed_part():
    "A 3 m hump on a floor that falls at 3 deg: found, though its closed top has less relief than the whole hump."
    depth = 5 + 0.05 * SOUTH - bump(EAST, SOUTH, (250, 250), 20, 3.2)
    (east, south, relief), = of_kind(features_of(depth, seed=1), "hump")
    assert np.hypot(east - 250, south - 250) < 12 and 0.5 < relief < 3.0


def test_two_humps_side_by_side_stay_two():
    "Humps 50 m apart are told apart; outlines do not overlap."
    depth = 8 - bump(EAST, SOUTH, (200, 250), 10, 2.0) - bump(EAST, SOUTH, (250, 250), 10, 2.4)
    features = features_of(depth, seed=5)
    assert sorted(round(east, -1) for east, _, _ in of_kind(features, "hump")) == [200, 250]
    a, b = (shape for kind, shape in zip(features.kind, features.geometry, strict=True) if kind == "hump")
    assert a.intersection(b).area < 1e-6


def test_a_basin_is_no_hole():
    "The deep middle of a bowl falls all the way from the shore: no hole, whatever its depth."
    depth = 12 * (1 - (np.hypot(EAST - 250, SOUTH - 250) / 240) ** 2)
    features = features_of(np.where(depth > 0, depth, np.nan), seed=1)
    assert not of_kind(features, "hole") and not of_kind(features, "hump")


@pytest.mark.parametrize("seed", [None, 1, 2])
def test_drop_off_found_with_its_height(seed):
    "Floor falling from 4 to 7.5 m over 15 m: sections along it, height about 3.5 m, nothing elsewhere."
    depth = np.interp(SOUTH, [0, 240, 255, 500], [3.0, 4.0, 7.5, 8.5])
    found = of_kind(features_of(depth, seed=seed), "drop-off")
    assert len(found) >= 3
    assert all(240 <= south <= 255 for _, south, _ in found)
    assert np.median([relief for _, _, relief in found]) == pytest.approx(3.3, abs=0.8)


@pytest.mark.parametrize(("steep_deg", "there"), [(14, False), (16, True)])
def test_a_drop_off_on_a_bank_is_so_many_times_steeper_than_the_mean_around(steep_deg, there):
    "A fall of 16 m length in a bank of 7.5 degrees: 1.47 times the mean around it at 14 degrees, 1.58 at 16."
    bank, fall = np.tan(np.radians([7.5, steep_deg]))
    steps = np.cumsum([2.0, 0.2, 142 * bank, 16 * fall, 142 * bank, 0.2])
    depth = np.interp(SOUTH, [0, 100, 242, 258, 400, 500], steps)
    found = [south for _, south, _ in of_kind(features_of(depth, sigma=0.05), "drop-off") if 230 < south < 270]
    assert bool(found) is there
    assert len(found) >= 3 or not there


@pytest.mark.parametrize("seed", [None, 1, 2])
def test_ledge_found_on_a_slope(seed):
    "A level step 16 m wide on an even slope is a ledge, all along it and nowhere else."
    depth = np.interp(SOUTH, [0, 200, 216, 500], [1.0, 20.0, 20.2, 47.0])
    found = of_kind(features_of(depth, seed=seed), "ledge")
    assert found and all(198 <= south <= 218 for _, south, _ in found)
    assert all(relief > 0.6 for _, _, relief in found)


def test_even_slope_has_neither_ledge_nor_drop_off():
    "A steep bank of one slope is a bank."
    features = features_of(1 + 0.15 * SOUTH, seed=4)
    assert not len(features), Counter(features.kind)


@pytest.mark.parametrize("seed", [None, 1, 2])
def test_point_found_and_only_with_a_shore(seed):
    "A shallow tongue 120 m long is a point with its tip at the end; without a shoreline none is claimed."
    tongue = 0.75 * np.exp(-(((EAST - 300) / 18) ** 2)) / (1 + np.exp((SOUTH - 150) / 8))
    depth = np.interp(SOUTH, [30, 100, 600], [0, 4, 14.0]) * (1 - tongue)
    land = depth < 0.01
    depth = np.where(land, np.nan, depth)
    (east, south, relief), = of_kind(features_of(depth, seed=seed, land=land), "point")
    assert abs(east - 300) < 12 and 130 < south < 170 and relief > 1.0
    assert not of_kind(features_of(depth, seed=seed), "point")


def test_flat_found_between_slopes():
    "A level field 100 m wide is a flat; the slopes beside it are not in it."
    depth = np.interp(SOUTH, [0, 150, 250, 500], [1.0, 9.0, 9.1, 25.0])
    found = of_kind(features_of(depth), "flat")
    assert len(found) == 1 and 190 < found[0][1] < 210


@pytest.mark.parametrize("radius_px", [0, 1, 3, 10, 30])
@pytest.mark.parametrize("seed", range(4))
def test_noise_on_a_flat_makes_no_feature(radius_px, seed):
    "A level floor with noise as large as sigma says, alike over any distance, has nothing on it but the flat itself."
    features = features_of(6 + noise(EAST.shape, 0.3, radius_px, seed), sigma=0.3)
    assert set(features.kind) <= {"flat"}


def test_large_error_takes_features_away():
    "The same hump is claimed where sigma is 0.1 m and not where it is 1 m; confidence falls between."
    depth = 8 - bump(EAST, SOUTH, (250, 250), 12, 2.0)
    kinds = [of_kind(features_of(depth, sigma=sigma), "hump") for sigma in (0.1, 0.4, 1.0)]
    assert [len(found) for found in kinds] == [1, 1, 0]
    sure, less = (features_of(depth, sigma=sigma) for sigma in (0.1, 0.4))
    assert sure.confidence[sure.kind.index("hump")] > less.confidence[less.kind.index("hump")] > 0.9


def test_a_coarser_pixel_or_a_finer_one_finds_the_same():
    "Pixels of 1, 2 and 4 m all find the one hump (larger frames are averaged first)."
    for pixel in (1.0, 2.0, 4.0):
        east, south = mesh(int(600 / pixel), pixel)
        found = find_features(surface(8 - bump(east, south, (300, 300), 12, 2.0), pixel, 0.1), SETTINGS)
        assert Counter(found.kind)["hump"] == 1
        assert np.hypot(found.x_m[0] - WEST - 300, NORTH - 300 - found.y_m[0]) < 5


def test_same_features_in_the_same_order():
    "Made twice, the features are the same to the last bit, by kind and then by relief."
    depth = 6 - bump(EAST, SOUTH, (120, 400), 10, 2.5) - bump(EAST, SOUTH, (350, 150), 15, 2.0)
    first, second = features_of(depth, seed=1), features_of(depth, seed=1)
    assert first.kind == second.kind and np.array_equal(first.relief_m, second.relief_m)
    humps = [relief for _, _, relief in of_kind(first, "hump")]
    assert humps == sorted(humps, reverse=True) and len(humps) == 2


@pytest.mark.parametrize("wide", [2, 4, 6, 10])
def test_width_of_a_band_is_its_width(wide):
    "A long straight band of even width comes back to a tenth of a pixel and a bit for its ends."
    rows, columns = np.nonzero(np.ones((wide, 200)))
    assert band_width_px(rows, columns) == pytest.approx(wide, abs=0.03 * wide + 0.1)


def test_morphology_with_a_disc():
    "Closing fills a gap narrower than the disc, opening removes a bar narrower than it; straight sides stay."
    mask = np.zeros((40, 40), bool)
    mask[:, :18] = mask[:, 22:] = True
    assert closed(mask, 4)[20, 20] and not closed(mask, 1)[20, 20]
    assert not opened(~mask, 4).any() and opened(mask, 4)[20, 5]


def test_long_bands_are_cut_in_sections():
    "A line of 400 pixels in pieces of at most 120, each pixel in one piece."
    rows, columns = np.nonzero(np.ones((3, 400)))
    pieces = sections(rows, columns, 120.0, (0.5, 0.5))
    assert sum(len(r) for r, _ in pieces) == 1200 and max(np.ptp(c) for _, c in pieces) <= 120


@given(st.integers(0, 60), st.integers(0, 60), st.floats(-500, 500), st.floats(-500, 500))
def test_a_band_that_begins_and_ends_elsewhere_is_cut_at_the_same_places(first, last, row, column):
    "A slanting band of 600 pixels less some at either end: cuts well inside stay where they were."
    rows, columns = np.nonzero(np.abs(np.subtract.outer(np.arange(600) * 0.3, np.arange(600) * 0.3)) < 1.5)
    cuts = []
    for low, high in ((0, 600), (first, 600 - last)):
        some = (columns >= low) & (columns < high)
        pieces = sections(rows[some], columns[some], 120.0, (row, column))
        cuts.append({int(c.min()) for _, c in pieces if 200 < c.min() < 400})
    assert cuts[0] == cuts[1] and len(cuts[0]) >= 2


def test_least_relief_is_a_setting():
    "With closed_relief_m above its relief a hump is not told."
    depth = 8 - bump(EAST, SOUTH, (250, 250), 12, 2.0)
    assert not of_kind(features_of(depth, settings=replace(SETTINGS, closed_relief_m=3.0)), "hump")
