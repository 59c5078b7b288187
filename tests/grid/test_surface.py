"""Surfaces: as good as claimed on an invented lake, and honest with little to go by."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from affine import Affine
from pyproj import CRS
from rough_lake import rough_lake, survey

from lakemap.errors import NothingUsable, SettingError
from lakemap.grid import GridSettings, make_surface
from lakemap.grid.blocks import block_means
from lakemap.grid.left_out import Misses, sigma_scale
from lakemap.grid.linear import linear_value
from lakemap.model.frame import GridFrame
from lakemap.model.observations import Observations
from lakemap.model.soundings import PassBias


@pytest.fixture(scope="module", params=[1, 3])
def judged(request):
    "A dense survey of an invented lake: its surface, the truth in each pixel, and the plain linear estimate."
    lake = rough_lake(request.param, 400.0, 250.0)
    obs, frame = survey(lake, request.param), lake.frame()
    truth, linear = np.full(frame.shape, np.nan), np.full(frame.shape, np.nan)
    truth[frame.water] = lake.pixel_means(frame)
    linear[frame.water] = linear_value(block_means(obs, frame.pixel_m), frame.water_xy())
    return make_surface(obs, frame, GridSettings(), PassBias.none()), truth, linear


def rms(values):
    "Root mean square, NaN left out."
    return float(np.sqrt(np.nanmean(values**2)))


def test_better_than_linear(judged):
    "RMSE against the truth is at least 5 % below linear triangulation of the same blocks."
    surface, truth, linear = judged
    both = np.isfinite(linear) & np.isfinite(surface.estimate.values)
    assert rms((surface.estimate.values - truth)[both]) <= 0.95 * rms((linear - truth)[both])


def test_sigma_is_true(judged):
    "The truth lies within 1.96 sigma for 90 to 99 % of the pixels, and nearly the whole lake is drawn."
    surface, truth, _ = judged
    drawn = np.isfinite(surface.estimate.values)
    within = np.abs(surface.estimate.values - truth)[drawn] <= 1.96 * surface.sigma.values[drawn]
    assert 0.90 <= within.mean() <= 0.99
    assert surface.share_drawn >= 0.95
    assert surface.share_drawn == pytest.approx(drawn.sum() / surface.frame.water.sum())


def test_nothing_on_land(judged):
    "Land pixels carry neither estimate nor sigma."
    surface, _, _ = judged
    assert np.isnan(surface.estimate.values[~surface.frame.water]).all()
    assert np.isnan(surface.sigma.values[~surface.frame.water]).all()


def test_left_out_passes_are_told(judged):
    "Passes held back are predicted with little bias, and as often within their error as said."
    told = judged[0].left_out
    assert told.by == "pass"
    assert told.n > 300
    assert abs(told.bias) < 0.3 * told.rmse
    assert 0.88 <= told.within_1_96 <= 0.99


@pytest.mark.parametrize("method", ["linear", "nearest"])
def test_plain_alternatives(method):
    "Linear and nearest stand behind the same setting, with an error that holds the truth as often as it should."
    lake = rough_lake(2, 300.0, 200.0)
    frame = lake.frame()
    surface = make_surface(survey(lake, 2), frame, GridSettings(method=method))
    estimate, sigma = surface.estimate.values[frame.water], surface.sigma.values[frame.water]
    drawn = np.isfinite(estimate)
    assert surface.method == method
    assert 0.90 <= np.mean(np.abs(estimate - lake.pixel_means(frame))[drawn] <= 1.96 * sigma[drawn]) <= 1.0
    assert drawn.mean() > 0.9


def plain_frame(shape=(40, 40), pixel_m=5.0, shore_known=False):
    "A frame whose south-west corner is the origin, all water."
    transform = Affine(pixel_m, 0, 0.0, 0, -pixel_m, shape[0] * pixel_m)
    return GridFrame(shape, transform, CRS.from_epsg(32632), np.ones(shape, bool), shore_known)


LINE_XY = np.column_stack([np.linspace(5, 195, 60), np.full(60, 100.0)])
RNG = np.random.default_rng(7)


@pytest.mark.parametrize(("xy", "value"), [
    ([[100.0, 100.0]], [6.0]),
    ([[60.0, 100.0], [140.0, 100.0]], [6.0, 8.0]),
    (LINE_XY, 5 + np.sin(LINE_XY[:, 0] / 30)),
    (RNG.uniform(5, 195, (200, 2)), np.full(200, 7.0)),
], ids=["one point", "two points", "one pass", "all equal"])
@pytest.mark.parametrize("method", ["auto", "linear", "nearest"])
@pytest.mark.parametrize("nugget", ["noise", "detail"])
def test_little_to_go_by(xy, value, method, nugget):
    "Few or dull readings make a smaller surface within what was read, with an error above zero."
    obs = Observations.of("depth_m", xy, value, 0.1, 0)
    surface = make_surface(obs, plain_frame(), GridSettings(method=method, nugget=nugget), PassBias.none())
    drawn = np.isfinite(surface.estimate.values)
    assert drawn.any()
    assert (surface.sigma.values[drawn] > 0).all()
    assert surface.estimate.values[drawn].min() >= np.min(value) - 0.3
    assert surface.estimate.values[drawn].max() <= np.max(value) + 0.3
    assert any("indicative" in line for line in surface.messages)


def test_one_point_draws_no_lake():
    "A single reading is not spread over the frame."
    surface = make_surface(Observations.of("depth_m", [[100, 100]], [6.0], 0.1), plain_frame(), GridSettings())
    assert 0 < surface.share_drawn < 0.05


def test_far_from_data_little_is_known():
    "Where one corner alone was surveyed, the far side stays empty, or carries an error that says so."
    rng = np.random.default_rng(3)
    xy = rng.uniform(0, 100, (600, 2))
    value = 5 + np.sin(xy[:, 0] / 12) + np.cos(xy[:, 1] / 9)
    frame = plain_frame((200, 200), 5.0, True)
    obs = Observations.of("depth_m", xy, value, 0.05)
    surface = make_surface(obs, frame, GridSettings(method="kriging"))
    assert np.isnan(surface.estimate.values[:100, 100:]).all()
    assert np.isfinite(surface.estimate.values[-18:, 2:18]).all()
    sigma = make_surface(obs, frame, GridSettings(method="field")).sigma.values
    assert np.nanmin(sigma[20:80, 120:180]) > 5 * np.nanmedian(sigma[-18:, 2:18])


def test_no_reading_is_one_line():
    "Without a finite reading there is one line, no surface."
    with pytest.raises(NothingUsable, match="no usable reading of depth_m among 2"):
        make_surface(Observations.of("depth_m", [[1, 1], [2, 2]], [np.nan, np.nan]), plain_frame(), GridSettings())


def test_unknown_method_is_refused():
    "A method that does not exist is refused with the known ones."
    with pytest.raises(SettingError, match="kriging, linear, nearest"):
        GridSettings(method="magic")


def test_hardness_stays_between_0_and_1():
    "Hardness is clipped to what it can be, and is not a length."
    rng = np.random.default_rng(4)
    obs = Observations.of("hardness", rng.uniform(0, 200, (300, 2)), rng.integers(0, 2, 300).astype(float), 0.1)
    surface = make_surface(obs, plain_frame(), GridSettings())
    assert surface.estimate.name == "hardness"
    assert surface.sigma.name == "hardness_sigma"
    assert np.nanmin(surface.estimate.values) >= 0
    assert np.nanmax(surface.estimate.values) <= 1


def test_given_bias_is_taken_out():
    "Two passes over a flat floor, one biased by 0.4 m: with its bias given the surface is flat, and it is kept."
    xy = np.concatenate([LINE_XY, LINE_XY + [0, 20]])
    obs = Observations.of("depth_m", xy, np.repeat([6.0, 6.4], 60), 0.05, np.repeat([0, 1], 60))
    bias = PassBias(np.array([0, 1], np.int32), np.array([0.0, 0.4]), np.full(2, 0.05))
    surface = make_surface(obs, plain_frame(), GridSettings(method="kriging"), bias)
    assert np.nanmax(np.abs(surface.estimate.values - 6.0)) < 0.01
    assert surface.pass_bias is bias


@pytest.mark.parametrize("method", ["field", "kriging"])
def test_shore_is_data_only_when_asked(method):
    "The outline pulls the depth to zero with shore_depth = zero alone, and never the hardness."
    frame = plain_frame(shore_known=True)
    water = frame.water.copy()
    water[:, :5] = False
    frame = dataclasses.replace(frame, water=water)
    xy = np.random.default_rng(6).uniform(35, 195, (400, 2))

    def at_shore(name, shore_depth):
        obs = Observations.of(name, xy, np.full(400, 0.9) + 0.01 * np.sin(xy[:, 0]), 0.05)
        return make_surface(obs, frame, GridSettings(shore_depth=shore_depth, method=method)).estimate.values[20, 5]

    assert at_shore("depth_m", "free") == pytest.approx(0.9, abs=0.1)
    assert at_shore("depth_m", "zero") < 0.6
    assert at_shore("hardness", "zero") == pytest.approx(0.9, abs=0.1)


def test_without_times_squares_are_left_out():
    "Readings without times are left out by squares."
    lake = rough_lake(2, 300.0, 200.0)
    obs = dataclasses.replace(survey(lake, 2), has_time=False)
    assert make_surface(obs, lake.frame(10.0), GridSettings()).left_out.by == "square"


def test_scale_of_sigma_is_what_the_misses_ask_for():
    "Misses of a normal law with twice the claimed sigma double it; with half of it they leave it: sigma never shrinks."
    miss = np.random.default_rng(8).normal(size=4000)
    group = np.arange(4000) % 10

    def scale(sigma):
        return sigma_scale(Misses("pass", miss, np.full(4000, sigma), np.zeros(4000), group))

    assert scale(0.5) == pytest.approx(2.0, rel=0.06)
    assert scale(1.0) == pytest.approx(1.0, rel=0.06)
    assert scale(2.0) == 1.0


def test_readings_on_land_are_told():
    "A shoreline that has all soundings on land gives a line that says so, and no failure."
    frame = plain_frame(shore_known=True)
    water = np.zeros_like(frame.water)
    water[:, 30:] = True
    frame = dataclasses.replace(frame, water=water)
    xy = np.random.default_rng(1).uniform(5, 140, (300, 2))
    obs = Observations.of("depth_m", xy, 5 + np.sin(xy[:, 0] / 30), 0.1, np.arange(300) // 60)
    surface = make_surface(obs, frame, GridSettings(), PassBias.none())
    assert any("300 of 300 readings lie on land" in line for line in surface.messages)
    assert not any("on land" in line for line in make_surface(obs, plain_frame(), GridSettings()).messages)


@pytest.mark.parametrize("method", ["auto", "field"])
def test_sigma_that_is_not_known_is_no_fault(method):
    "Readings without an error of their own get the usual one."
    lake = rough_lake(2, 150.0, 100.0)
    obs = survey(lake, 2, 40.0)
    obs = dataclasses.replace(obs, sigma=np.full(len(obs), np.nan))
    surface = make_surface(obs, lake.frame(10.0), GridSettings(method=method), PassBias.none())
    assert surface.share_drawn > 0.9 and np.nanmin(surface.sigma.values) > 0
