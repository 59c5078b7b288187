"""The thermocline against hand cases and against profiles of a real lake worked by another implementation."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pandas
import pytest

from lakemap.water.thermocline import layers_of, strongest_m

PROFILE = (np.arange(11.0), np.array([22, 22, 21.9, 21.5, 18, 12, 9.5, 8.5, 8.2, 8.1, 8]))
HALF_METRES = np.array([0, 0.5, 1, 1.5, *range(2, 21)], dtype=float)
HALF_METRES_C = np.array([22.51, 22.42, 22.4, 22.4, 22.4, 22.36, 22.3, 22.21, 22.11, 21.23, 16.42, 15.15, 14.24, 13.35,
                          10.94, 10.43, 10.36, 9.94, 9.45, 9.1, 8.91, 8.58, 8.43])
NEAR = 0.01
"The reference worked with another density formula, which shifts depths by some millimetres."


def test_two_layers_meet_in_the_middle():
    "0, 2, 4, 6 m at 20, 20, 10, 10 degC: 3 m by symmetry; the edges by hand, 1 + 2 (0.1 / 0.7472) and its mirror."
    layers = layers_of(np.array([0.0, 2, 4, 6]), np.array([20.0, 20, 10, 10]))
    assert layers.thermocline_m == pytest.approx(3.0, abs=1e-9)
    assert (layers.top_m, layers.bottom_m) == pytest.approx((1.267653, 4.732347), abs=1e-3)


def test_a_summer_profile():
    "Reference answers 4.223314 m, edges 2.516793 and 6.348595 m (the method of Read et al. 2011)."
    layers = layers_of(*PROFILE)
    assert layers.thermocline_m == pytest.approx(4.223314, abs=NEAR)
    assert (layers.top_m, layers.bottom_m) == pytest.approx((2.516793, 6.348595), abs=NEAR)


def test_the_lasting_cline_lies_below_the_strongest():
    "Reference answers 7.50212 m for the strongest, 11.40725 m for the lasting one with edges 9.42109 and 12.24274 m."
    assert strongest_m(HALF_METRES, HALF_METRES_C) == pytest.approx(7.50212117, abs=NEAR)
    layers = layers_of(HALF_METRES, HALF_METRES_C)
    assert layers.thermocline_m == pytest.approx(11.40724557, abs=NEAR)
    assert (layers.top_m, layers.bottom_m) == pytest.approx((9.42109466, 12.24274331), abs=NEAR)


def test_a_straight_profile_has_its_densest_fall_at_the_top():
    "20 to 10 degC over 10 m: warm water changes density most, so the first interval; bottom edge 9.077451 m."
    layers = layers_of(np.arange(11.0), 20.0 - np.arange(11.0))
    assert layers.thermocline_m == pytest.approx(0.5)
    assert (layers.top_m, layers.bottom_m) == pytest.approx((0.0, 9.077451), abs=NEAR)


@pytest.mark.parametrize("temperature_c", [[15, 15, 14.9, 14.8, 14.7], [10, 10, 10, 10, 10]])
def test_mixed_water_has_no_thermocline(temperature_c):
    "Less than 1 degC from top to bottom."
    assert layers_of(np.arange(5.0), np.array(temperature_c, float)) is None


def test_two_levels_are_no_profile():
    "Three are needed."
    assert layers_of(np.array([0.0, 5.0]), np.array([20.0, 8.0])) is None


def test_every_reference_profile_of_a_real_lake():
    "Strongest and lasting cline of eight profiles within 1 cm of the other implementation's."
    folder = os.environ.get("LAKEMAP_REAL_DATA")
    path = Path(folder or "").parent / "reference" / "thermocline_profiles.csv"
    if not folder or not path.exists():
        pytest.skip("LAKEMAP_REAL_DATA does not name a folder with reference/thermocline_profiles.csv beside it")
    for _, rows in pandas.read_csv(path).groupby("date"):
        depth_m, temperature_c = rows.depth_m.to_numpy(float), rows.temp_C.to_numpy(float)
        expected = rows.thermocline_max_m.iloc[0], rows.thermocline_seasonal_m.iloc[0]
        told = strongest_m(depth_m, temperature_c), layers_of(depth_m, temperature_c).thermocline_m
        assert told == pytest.approx(expected, abs=NEAR)
