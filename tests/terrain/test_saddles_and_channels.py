"""Saddles, channels and outside bends: planted ones are found with their measures, slopes and noise make none."""

from __future__ import annotations

import numpy as np
import pytest
from floors import NORTH, WEST, bump, mesh, noise, surface

from lakemap.terrain import TerrainSettings
from lakemap.terrain.features import find_features

EAST, SOUTH = mesh()
NEW = ("saddle", "channel", "outside bend")


def features_of(depth, sigma=0.1, seed=None):
    "Features of a floor, with noise as large as sigma says when a seed is given."
    seen = depth if seed is None else depth + noise(depth.shape, sigma, 4, seed)
    return find_features(surface(seen, sigma=sigma), TerrainSettings())


def of_kind(features, kind):
    "East and south of the corner, relief, for each feature of a kind."
    return [(features.x_m[i] - WEST, NORTH - features.y_m[i], features.relief_m[i])
            for i in range(len(features)) if features.kind[i] == kind]


def river(bend_east, width_m=9.0, deep_m=2.0):
    "A floor at 5 m, falling to the south, with a bed from north to south that bulges to the east in the middle."
    middle = 200.0 + bend_east * np.exp(-(((SOUTH - 250.0) / 45.0) ** 2))
    slope = np.gradient(middle, SOUTH[:, 0], axis=0)
    away = (EAST - middle) / np.sqrt(1 + slope**2)
    return 5 + 0.004 * SOUTH + deep_m * np.exp(-((away / width_m) ** 2))


@pytest.mark.parametrize("seed", [None, 1, 2, 3])
def test_a_saddle_lies_between_two_humps(seed):
    "Two humps 80 m apart on a bar across a falling floor: one saddle between them with its least relief."
    bar = 2.0 * np.exp(-(((SOUTH - 250) / 25) ** 2))
    depth = 8 - bar - bump(EAST, SOUTH, (210, 250), 16, 2.2) - bump(EAST, SOUTH, (290, 250), 16, 2.2)
    found = of_kind(features_of(depth, seed=seed), "saddle")
    assert any(np.hypot(east - 250, south - 250) < 10 and 0.7 < relief < 2.0 for east, south, relief in found)
    assert len(found) == 1


@pytest.mark.parametrize("seed", [None, 1, 2, 3])
def test_a_river_bed_is_a_channel(seed):
    "All along, with its depth below the banks; straight, it has no bend."
    found = features_of(river(0.0), seed=seed)
    (east, _, relief), = of_kind(found, "channel")
    assert abs(east - 200) < 6 and relief == pytest.approx(1.8, abs=0.4)
    assert found.geometry[found.kind.index("channel")].length > 800
    assert not of_kind(found, "outside bend")


@pytest.mark.parametrize("seed", [None, 1, 2])
def test_the_outside_of_a_bend_is_its_far_side(seed):
    "The bed bulges 60 m to the east: the bend's anchor lies on the bulge's eastern bank."
    found = of_kind(features_of(river(60.0), seed=seed), "outside bend")
    assert any(abs(south - 250) < 25 and 258 < east < 280 for east, south, _ in found)


@pytest.mark.parametrize("radius_px", [0, 1, 3, 10, 30])
@pytest.mark.parametrize("seed", range(3))
def test_noise_makes_none(radius_px, seed):
    "On a level floor, and on a slope, noise as large as sigma says makes no saddle and no channel."
    for floor in (6.0, 3 + 0.03 * SOUTH):
        kinds = features_of(floor + noise(EAST.shape, 0.3, radius_px, seed), sigma=0.3).kind
        assert not set(kinds) & set(NEW)


def test_a_basin_and_a_long_trough_are_no_channel():
    "A bowl and a wide valley are lows, but have no banks within reach."
    bowl = 12 * (1 - (np.hypot(EAST - 250, SOUTH - 250) / 240) ** 2)
    valley = 4 + 8 * np.exp(-(((EAST - 250) / 90) ** 2))
    for floor in (np.where(bowl > 0, bowl, np.nan), valley, 1 + 0.02 * np.abs(EAST - 250)):
        assert not set(features_of(floor).kind) & set(NEW)


def test_large_error_takes_them_away():
    "The same bed with a sigma of 0.6 m is not claimed."
    assert not of_kind(features_of(river(0.0), sigma=0.6), "channel")
