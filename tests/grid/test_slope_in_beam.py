"""Banks read too shallow through a beam; where its width is known the surface puts that right."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from affine import Affine
from pyproj import CRS

from lakemap.grid import GridSettings, make_surface, with_slopes_put_right
from lakemap.grid.slope_in_beam import heard_m
from lakemap.model.frame import GridFrame
from lakemap.model.log_facts import LogFacts
from lakemap.model.observations import Observations
from lakemap.model.soundings import PassBias, Soundings
from lakemap.physics.beam import first_return_depth_m

FRAME = GridFrame((60, 80), Affine(5, 0, 0, 0, -5, 300), CRS.from_epsg(32632), np.ones((60, 80), bool), False)
PLACES = np.array([[200.0, 150.0], [210.0, 160.0]])


@pytest.mark.parametrize("slope_deg", [0.0, 3.0, 8.0, 10.0, 15.0, 30.0])
@pytest.mark.parametrize("beam_deg", [9.0, 20.0, 40.0])
def test_a_plane_is_heard_as_the_formula_says(slope_deg, beam_deg):
    "Rays on a plane slope give the first return of reference answers (r = d cos g, or d cos g / cos(g - h))."
    def plane(xy):
        return 9.0 + np.tan(np.radians(slope_deg)) * (xy[:, 0] - 200.0)

    told = heard_m(plane, PLACES, np.full(2, beam_deg))
    expected = first_return_depth_m(plane(PLACES), slope_deg, beam_deg)
    lost = float(plane(PLACES)[0] - expected[0])
    assert told == pytest.approx(expected, abs=0.06 * lost + 0.01)


def test_a_hole_smaller_than_the_beam_is_heard_at_its_rim():
    "Its middle lies deeper than what answers first."
    def hole(xy):
        return 10.0 + 1.0 * np.exp(-((xy - [200.0, 150.0]) ** 2).sum(axis=1) / (2 * 0.6**2))

    assert heard_m(hole, PLACES[:1], np.array([20.0]))[0] < 10.4


def bank(xy):
    "A bank of 25 degrees between two flats, 4 to 18 m."
    return 4.0 + 14.0 / (1.0 + np.exp(-(xy[:, 0] - 200.0) / 7.5))


@pytest.fixture(scope="module")
def heard():
    "Passes over the bank, heard through a beam of 20 degrees."
    xy = np.concatenate([np.column_stack([np.linspace(3, 397, 160), np.full(160, y)]) for y in range(10, 300, 20)])
    value = heard_m(bank, xy, np.full(len(xy), 20.0))
    value = value + 0.03 * np.random.default_rng(3).standard_normal(len(xy))
    return Observations.of("depth_m", xy, value, 0.04, np.repeat(np.arange(15), 160))


@pytest.mark.parametrize("method", ["field", "kriging"])
def test_the_bank_is_put_right_where_the_beam_is_known(heard, method):
    "On the bank the mean error falls to a fifth or less; without the beam nothing is touched; flats stay as they are."
    xy = FRAME.water_xy()
    steep = np.abs(xy[:, 0] - 200) < 8
    error = {}
    for beam in (None, 20.0):
        obs = dataclasses.replace(heard, beam_deg=None if beam is None else np.full(len(heard), beam))
        surface = make_surface(obs, FRAME, GridSettings(method=method), PassBias.none())
        error[beam] = surface.estimate.values[FRAME.water] - bank(xy)
    raw, right = (float(np.nanmean(error[beam][steep])) for beam in (None, 20.0))
    assert raw < -0.4
    assert abs(right) < 0.2 * abs(raw)
    flat = np.abs(xy[:, 0] - 200) > 60
    assert np.nanmean(np.abs(error[20.0] - error[None])[flat]) < 0.02


def test_the_error_of_the_shift_joins_sigma(heard):
    "The bank is less sure than the flats once it was shifted."
    obs = dataclasses.replace(heard, beam_deg=np.full(len(heard), 20.0))
    told = [make_surface(one, FRAME, GridSettings(method="kriging")).sigma.values for one in (heard, obs)]
    assert np.nanmean(told[1][:, 38:42]) > 1.04 * np.nanmean(told[0][:, 38:42])


def test_soundings_of_a_log_without_a_beam_stay(heard):
    "Only depths of the log whose beam is known move, downwards, and the correction is listed once."
    n = len(heard)
    soundings = Soundings.build(
        2 * n, [LogFacts("a", beam_deg=20.0), LogFacts("b")], x_m=np.tile(heard.xy[:, 0], 2),
        y_m=np.tile(heard.xy[:, 1], 2), depth_m=np.tile(heard.value, 2), depth_sigma_m=np.full(2 * n, 0.04),
        log=np.repeat([0, 1], n), time_s=np.arange(2 * n), pass_id=np.repeat(np.arange(30), 160),
    )
    surface = make_surface(heard, FRAME, GridSettings(method="kriging"))
    moved = with_slopes_put_right(soundings, surface)
    shift = moved.depth_m - soundings.depth_m
    assert (shift[n:] == 0).all() and (shift[:n] >= 0).all() and shift[:n].max() > 0.5
    assert [one.name for one in moved.corrections] == ["slope within the beam"]
    alone = soundings.take(soundings.log == 1)
    assert with_slopes_put_right(alone, surface) is alone
