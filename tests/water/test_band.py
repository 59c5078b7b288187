"""Water that suits, and how much of the bottom lies in it."""

from __future__ import annotations

import numpy as np
import pytest
from affine import Affine
from pyproj import CRS

from lakemap.model.frame import Grid, GridFrame
from lakemap.model.lake_facts import Cast, WaterProfile
from lakemap.model.surface import Surface
from lakemap.water import describe_water
from lakemap.water.band import suitable_bands
from lakemap.water.settings import WaterSettings

DEPTH = np.array([0.0, 4.0, 8.0, 12.0])
WARM_TO_COLD = np.array([22.0, 20.0, 12.0, 8.0])
OXYGEN = np.array([9.0, 9.0, 5.0, 1.0])
NOON = float(np.datetime64("2025-08-01T12:00").astype("datetime64[s]").astype(float))


def floor(*depths):
    "A surface of one row of pixels."
    values = np.array([depths], np.float32)
    frame = GridFrame(values.shape, Affine(10, 0, 0, 0, -10, 10), CRS.from_epsg(32633), np.ones(values.shape, bool))
    sigma = np.full_like(values, 0.1)
    return Surface(Grid(frame, values, "depth_m", "m"), Grid(frame, sigma, "depth_sigma_m", "m"), "", {}, 1.0)


def test_limits_are_met_on_straight_lines_between_levels():
    "10 to 18 degC: from 5 m (20 to 12 over 4 m) to 10 m (12 to 8 over 4 m)."
    bands = suitable_bands(DEPTH, WARM_TO_COLD, OXYGEN, WaterSettings(least_c=10.0, most_c=18.0))
    assert np.allclose(bands, [(5.0, 10.0)])


def test_oxygen_cuts_the_band_from_below():
    "At least 4 mg/L: down to 9 m (5 to 1 over 4 m)."
    wanted = WaterSettings(most_c=18.0, least_oxygen_mgl=4.0)
    assert np.allclose(suitable_bands(DEPTH, WARM_TO_COLD, OXYGEN, wanted), [(5.0, 9.0)])


def test_oxygen_that_nobody_measured_is_not_claimed():
    "A level without a reading, and the stretches beside it, belong to no band."
    oxygen = np.array([9.0, np.nan, 9.0, 9.0])
    assert np.allclose(suitable_bands(DEPTH, WARM_TO_COLD, oxygen, WaterSettings(least_oxygen_mgl=4.0)), [(8.0, 12.0)])
    none = np.full(4, np.nan)
    assert suitable_bands(DEPTH, WARM_TO_COLD, none, WaterSettings(least_oxygen_mgl=4.0)) == ()


def test_the_share_of_the_bottom_counts_only_what_the_profile_reached():
    "Of 3, 6, 9, 11 m within the profile two lie from 5 to 10 m; 20 m lies below its end and is not told."
    profile = WaterProfile((Cast(NOON, DEPTH, WARM_TO_COLD),), "profile.csv")
    water = describe_water(profile, floor(3, 6, 9, 11, 20), WaterSettings(least_c=10.0, most_c=18.0))
    assert water.share == pytest.approx(0.5)
    assert np.array_equal(water.bottom.values[0], [0, 1, 1, 0, np.nan], equal_nan=True)
    assert sum(part.area for part in water.outline) == pytest.approx(200.0)
    assert water.suits(6.0) and not water.suits(3.0) and water.suits(20.0) is None


def test_a_profile_ages():
    "It counts for three weeks from its day, and the message says until when; without a date it says that too."
    water = describe_water(WaterProfile((Cast(NOON, DEPTH, WARM_TO_COLD),), "p"), floor(5), WaterSettings())
    assert str(water.day) == "2025-08-01" and str(water.until) == "2025-08-22"
    assert "counts until 2025-08-22" in water.messages[0] and water.bands is None
    undated = describe_water(WaterProfile((Cast(np.nan, DEPTH, WARM_TO_COLD),), "p"), floor(5), WaterSettings())
    assert np.isnat(undated.until) and "without a date" in undated.messages[0]


@pytest.mark.parametrize(("celsius", "layered"), [
    ([0.5, 2.0, 3.5, 4.0], False), ([10.6, 10.2, 9.8, 9.4], False), ([22.0, 20.0, 14.0, 8.0], True),
], ids=["under ice", "after the turnover", "summer"])
def test_water_layered_too_weakly_has_no_thermocline(celsius, layered):
    "Less than 0.1 kg/m3 a metre anywhere is no metalimnion (Read et al. 2011); the spread of 1 degree alone would do."
    water = describe_water(
        WaterProfile((Cast(NOON, np.array([0.0, 2.0, 5.0, 9.0]), np.array(celsius)),), "p"), floor(5), WaterSettings())
    assert (water.thermocline_m is not None) is layered is (water.top_m is not None)
    assert ("no thermocline" in water.messages[0]) is not layered


def test_the_latest_cast_is_taken():
    "Of two the newer one."
    old = Cast(NOON - 86400 * 60, DEPTH, np.full(4, 9.0))
    water = describe_water(WaterProfile((Cast(NOON, DEPTH, WARM_TO_COLD), old), "p"), floor(5), WaterSettings())
    assert str(water.day) == "2025-08-01" and water.thermocline_m == pytest.approx(6.0, abs=1.5)


def test_oxygen_is_told_against_what_water_holds():
    "9 mg/L at 22 degC is 103 % of 8.74 mg/L (Benson & Krause 1984); a fault of the unit is pointed at."
    cast = Cast(NOON, DEPTH, WARM_TO_COLD, OXYGEN)
    told = describe_water(WaterProfile((cast,), "p"), floor(5), WaterSettings()).messages
    assert any("from 8% to 103%" in text for text in told)
    wild = describe_water(WaterProfile((Cast(NOON, DEPTH, WARM_TO_COLD, 3 * OXYGEN),), "p"), floor(5), WaterSettings())
    assert any("check the probe" in text for text in wild.messages)


def test_without_a_profile_nothing_is_claimed():
    "No file, no word."
    assert describe_water(None, floor(5), WaterSettings()) is None
