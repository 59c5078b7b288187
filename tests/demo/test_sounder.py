"""The invented sounder agrees with what is written about beams and echoes, though it follows rays of its own."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
import shapely
from numpy.testing import assert_allclose
from pyproj import CRS

from lakemap.demo.cover import Cover
from lakemap.demo.lake import DemoLake
from lakemap.demo.sounder import NO_COVER, Returns, Sounder, echo_levels_db, first_returns, shown_depth_m
from lakemap.physics.absorption import absorption_db_per_m
from lakemap.physics.beam import first_return_depth_m
from lakemap.physics.reflection import bottom_loss_db, bottom_loss_from_echoes

AT = np.array([100.0]), np.array([100.0])


def tilted(slope_deg, depth_m=8.0, cover=()):
    "A plane that is depth_m deep at (100, 100) and falls to the east; cover: (kind, x, y, height, width)."
    x, _ = np.meshgrid(np.arange(201.0), np.arange(201.0))
    depth = depth_m + np.tan(np.radians(slope_deg)) * (x - 100.0)
    kind, *columns = zip(*cover, strict=True) if cover else ((), (), (), (), ())
    x_m, y_m, height, width = (np.array(column, dtype=float) for column in columns)
    things = Cover(tuple(kind), x_m, y_m, height, width, np.full(len(x_m), depth_m))
    outline = shapely.box(0, 0, 200, 200)
    return DemoLake(CRS.from_epsg(32614), (0.0, 0.0), outline, things, (), depth, np.full(depth.shape, 0.3))


@pytest.mark.parametrize("slope_deg", [0.0, 3.0, 8.0, 15.0, 25.0])
def test_slope_reads_shallow_as_geometry_says(slope_deg):
    "Over a tilted plane the first return is the nearest floor inside the beam (formula in physics/beam.py)."
    sounder = Sounder(draft_m=0.0)
    heard = first_returns(tilted(slope_deg), *AT, sounder)
    assert_allclose(heard.first_m, first_return_depth_m(8.0, slope_deg, sounder.beam_deg), rtol=2e-3)


def test_a_stump_below_the_boat_answers_by_its_height():
    "Straight above a stump 1.2 m high the first return is 1.2 m shallower and names it."
    heard = first_returns(tilted(0.0, cover=[("stump", 100.0, 100.0, 1.2, 0.6)]), *AT, Sounder())
    assert heard.cover.tolist() == [0]
    assert_allclose(heard.floor_m - heard.first_m, 1.2, atol=1e-9)


def test_a_stump_outside_the_beam_is_not_heard():
    "Its top 1.5 m to the side and 6.5 m down is 13 degrees off the axis, outside a 20 degree beam: the floor answers."
    heard = first_returns(tilted(0.0, cover=[("stump", 101.5, 100.0, 1.2, 0.6)]), *AT, Sounder())
    assert heard.cover.tolist() == [NO_COVER]
    assert_allclose(heard.first_m, heard.floor_m)


def test_a_thing_to_the_side_reads_deeper_than_from_above():
    "Off the axis the range is the slanting one."
    heard = first_returns(tilted(0.0, cover=[("stump", 101.0, 100.0, 1.2, 0.6)]), *AT, Sounder(draft_m=0.0))
    assert_allclose(heard.first_m, np.hypot(0.7, 6.8), atol=0.01)


def test_what_stands_less_than_a_pulse_above_the_floor_is_not_told_apart():
    "5 cm is less than the 7 cm of the pulse."
    heard = first_returns(tilted(0.0, cover=[("rock", 100.0, 100.0, 0.05, 2.0)]), *AT, Sounder())
    assert heard.cover.tolist() == [NO_COVER]


def test_levels_carry_the_bottom_loss_back():
    "Without noise, both levels give back the reflection that was put in."
    sounder = dataclasses.replace(Sounder(), level_noise_db=1e-9, noise_floor_db=-200.0)
    depth, reflection = np.array([2.0, 6.0, 12.0]), np.array([0.7, 0.3, 0.06])
    heard = Returns(depth, depth, np.full(3, NO_COVER))
    first, second = echo_levels_db(heard, reflection, sounder, np.random.default_rng(0))
    alpha = absorption_db_per_m(200.0, sounder.water_c)
    assert_allclose(bottom_loss_from_echoes(first, second, depth, alpha), bottom_loss_db(reflection), atol=1e-6)


def test_shown_depth_carries_the_wrong_sound_speed_and_the_bias():
    "At 18 degC sound does 1476 m/s (Marczak 1997); a sounder set to 1500 shows 1.6 % too much."
    sounder = dataclasses.replace(Sounder(), depth_noise_m=0.0, depth_noise_share=0.0)
    shown = shown_depth_m(np.array([10.0]), np.array([0.1]), sounder, np.random.default_rng(0))
    assert_allclose(shown, 10.0 * 1500.0 / 1475.95 + 0.1, atol=2e-3)
