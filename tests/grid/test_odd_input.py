"""Input that is wrong or next to nothing: the honest smaller surface, and a line that says what was wrong."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from numpy.testing import assert_allclose
from rough_lake import ORIGIN_X, ORIGIN_Y, rough_lake, survey

from lakemap.errors import NothingUsable
from lakemap.grid import GridSettings, make_surface
from lakemap.model.frame import GridFrame
from lakemap.model.observations import Observations
from lakemap.model.soundings import PassBias

LAKE = rough_lake(5, 150.0, 100.0)
OBS = survey(LAKE, 5, ping_m=6.0)
FRAME = LAKE.frame(10.0)
ODD_SIGMA = {"NaN": np.nan, "infinite": np.inf, "minus infinite": -np.inf, "negative": -0.1, "zero": 0.0}
ODD_CASES = [("field", "NaN"), ("field", "zero"), ("field", "negative"), ("kriging", "NaN"), ("kriging", "zero"),
             ("linear", "infinite"), ("nearest", "minus infinite")]
METHODS = ["field", "kriging", "linear", "nearest"]


def surface_of(obs, method="field", frame=FRAME, **more):
    "A surface by one method, passes with biases."
    return make_surface(obs, frame, GridSettings(method=method, **more), PassBias.none())


def drawn(surface):
    "Estimate and sigma where there are any."
    known = np.isfinite(surface.estimate.values)
    assert np.array_equal(known, np.isfinite(surface.sigma.values))
    return surface.estimate.values[known], surface.sigma.values[known]


@pytest.mark.parametrize(("method", "odd"), ODD_CASES)
def test_an_error_that_is_none_is_the_usual_one(method, odd):
    "A tenth of the readings with an error that cannot be: as if they had the others' usual one, and it is said."
    wrong = np.arange(len(OBS)) % 10 == 3
    usual = np.where(wrong, np.median(OBS.sigma[~wrong]), OBS.sigma)
    surface = surface_of(dataclasses.replace(OBS, sigma=np.where(wrong, ODD_SIGMA[odd], OBS.sigma)), method)
    plain = surface_of(dataclasses.replace(OBS, sigma=usual), method)
    assert_allclose(drawn(surface)[0], drawn(plain)[0], atol=1e-6)
    assert_allclose(drawn(surface)[1], drawn(plain)[1], rtol=1e-6)
    assert any(f"{wrong.sum()} of {len(OBS)} readings have an error that is no number above 0" in line
               for line in surface.messages)


@pytest.mark.parametrize(("method", "odd"), ODD_CASES)
def test_errors_that_none_of_the_readings_has(method, odd):
    "Every error of every reading is wrong: sigma comes from what the readings show, and is above 0 everywhere."
    surface = surface_of(dataclasses.replace(OBS, sigma=np.full(len(OBS), ODD_SIGMA[odd])), method)
    estimate, sigma = drawn(surface)
    truth = LAKE.pixel_means(FRAME)[np.isfinite(surface.estimate.values[FRAME.water])]
    assert (sigma > 0).all() and np.isfinite(sigma).all()
    assert np.mean(np.abs(estimate - truth) <= 1.96 * sigma) > 0.8
    assert any("what the readings show" in line for line in surface.messages) == (odd != "zero")


@pytest.mark.parametrize("method", METHODS)
def test_readings_that_are_no_numbers_do_not_count(method):
    "NaN and infinite depths and places are as if they were not there; nothing else is left."
    value, xy = OBS.value.copy(), OBS.xy.copy()
    value[:5], value[5:9], xy[9:14, 0], xy[14:17, 1] = np.nan, np.inf, np.nan, -np.inf
    surface = surface_of(dataclasses.replace(OBS, value=value, xy=xy), method)
    plain = surface_of(OBS.take(np.arange(17, len(OBS))), method)
    assert surface.estimate.values.tobytes() == plain.estimate.values.tobytes()
    with pytest.raises(NothingUsable, match="no usable reading of depth_m among"):
        surface_of(dataclasses.replace(OBS, value=np.full(len(OBS), np.nan)), method)


def test_a_frame_without_water():
    "A shoreline that leaves no water on the frame: one line, whatever the method."
    dry = GridFrame(FRAME.shape, FRAME.transform, FRAME.crs, np.zeros(FRAME.shape, bool), True)
    with pytest.raises(NothingUsable, match="the frame has no water"):
        surface_of(OBS, "auto", dry)


@pytest.mark.parametrize("method", METHODS)
def test_a_frame_elsewhere(method):
    "Readings off the frame's water altogether: said, and what is drawn has an error that says how little is known."
    away = dataclasses.replace(OBS, xy=OBS.xy + [600.0, 0.0])
    surface = surface_of(away, method)
    _, sigma = drawn(surface)
    assert any(f"{len(OBS)} of {len(OBS)} readings lie off the frame" in line for line in surface.messages)
    assert method in ("linear", "nearest") or not len(sigma) or sigma.min() > 0.5 * np.std(OBS.value)


@pytest.mark.parametrize(("method", "name"), [("auto", "loss_db"), ("field", "water_temperature_c"),
                                              ("kriging", "chlorophyll")])
def test_any_reading_makes_a_surface_and_the_shore_says_nothing_of_it(method, name):
    "Values of any name, below zero too: neither the outline's zero nor its bank moves a byte; the unit is the name's."
    obs = dataclasses.replace(OBS, name=name, value=OBS.value - 20.0)
    free, zero = surface_of(obs, method), surface_of(obs, method, shore_depth="zero")
    assert free.estimate.values.tobytes() == zero.estimate.values.tobytes()
    assert free.sigma.values.tobytes() == zero.sigma.values.tobytes()
    estimate, _ = drawn(free)
    truth = (LAKE.pixel_means(FRAME) - 20.0)[np.isfinite(free.estimate.values[FRAME.water])]
    assert estimate.max() < 0 and np.sqrt(np.mean((estimate - truth) ** 2)) < 0.25 * np.std(truth)
    assert (free.estimate.unit, free.sigma.name) == {
        "chlorophyll": ("1", "chlorophyll_sigma"), "loss_db": ("1", "loss_db_sigma"),
        "water_temperature_c": ("degC", "water_temperature_sigma_c")}[name]


def gathered(count, lines, seed=0):
    "A table of points without times or passes: so many on each of some lines across the lake."
    rng = np.random.default_rng(seed)
    x_m = np.tile(np.linspace(5.0, 295.0, count), lines)
    y_m = np.repeat(100.0 + 30.0 * (np.arange(lines) - (lines - 1) / 2), count)
    xy = np.column_stack([ORIGIN_X + x_m, ORIGIN_Y + y_m])[rng.permutation(count * lines)]
    obs = Observations.of("depth_m", xy, LAKE.depth_at(*xy.T), 0.1)
    return dataclasses.replace(obs, has_time=False)


@pytest.mark.parametrize(("lines", "indicative"), [(1, True), (2, True), (4, False), (6, False)])
def test_gathered_points_are_indicative_by_the_lines_they_amount_to(lines, indicative):
    "Without times nobody knows passes: the water that was read says whether it is less than three lines."
    surface = surface_of(gathered(120, lines), "nearest")
    assert any("indicative" in line for line in surface.messages) == indicative


@pytest.mark.parametrize("has_time", [True, False])
@pytest.mark.parametrize(("passes", "indicative"), [(1, True), (2, True), (3, False)])
def test_two_passes_are_indicative_with_times_and_without(passes, has_time, indicative):
    "Passes known from the order of rows count like those known from times; a lone reading is no pass of its own."
    some = np.isin(OBS.pass_id, np.unique(OBS.pass_id)[:passes])
    obs = dataclasses.replace(OBS.take(some), has_time=has_time)
    lone = dataclasses.replace(obs, pass_id=np.where(np.arange(len(obs)) == 7, -1, obs.pass_id).astype(np.int32))
    for one in (obs, lone):
        assert any("indicative" in line for line in surface_of(one, "nearest").messages) == indicative
