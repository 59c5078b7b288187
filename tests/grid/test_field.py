"""The field interpolator beside dense kriging, and what it does with gross errors, bounds, biases, few and odd data."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from numpy.testing import assert_allclose
from rough_lake import rough_lake, survey
from scipy.spatial.distance import cdist
from scipy.special import ndtr

import lakemap.grid.field as field_module
import lakemap.grid.field_tiles as tiles_module
from lakemap.grid import GridSettings, make_surface
from lakemap.grid.blocks import block_means
from lakemap.grid.field import FieldInterpolator
from lakemap.grid.field_lattice import lattice_for
from lakemap.grid.field_model import CASCADE_KAPPA, CASCADE_WEIGHT, FieldParameters, Trend, cascade_ranges, matern
from lakemap.grid.field_parameters import Likelihood, Prior, Sample
from lakemap.grid.field_readings import Readings
from lakemap.grid.field_solution import FieldSolution
from lakemap.grid.field_system import Design
from lakemap.grid.field_weights import interval_terms
from lakemap.grid.left_out import leave_out, sigma_scale
from lakemap.model.observations import Observations
from lakemap.model.soundings import PassBias

LAKE = rough_lake(5, 150.0, 100.0)
OBS = survey(LAKE, 5)
FRAME = LAKE.frame(10.0)
TRUTH = LAKE.pixel_means(FRAME)
PASSES = np.unique(OBS.pass_id)
BIAS = PassBias(PASSES, np.zeros(len(PASSES)), np.full(len(PASSES), 0.15))
PARAMETERS = FieldParameters(3.0, 300.0, 0.3, 40.0, 0.05, 30.0)
FIELD = GridSettings(method="field")


def fitted(obs, frame=FRAME, parameters=PARAMETERS):
    "A field with given parameters on a frame."
    return FieldInterpolator(10.0, False, True, parameters).on_frame(frame).fit(obs)


def test_the_cascade_is_an_exponential():
    "Three Matern fields make exp(-x) to 0.8 %."
    x = np.geomspace(0.01, 4, 200)
    made = sum(w * matern(k * x) for w, k in zip(CASCADE_WEIGHT, CASCADE_KAPPA, strict=True))
    assert np.abs(made - np.exp(-x)).max() < 0.01


class OneField(Design):
    "A single Matern field of unit variance."

    def _sizes(self, distance_m):
        return [np.ones(len(distance_m))]


@pytest.mark.parametrize(("step_m", "share", "mean_off", "sigma_off"), [
    (5.0, 0.95, 0.1, 0.12), (2.5, 0.95, 0.03, 0.04), (1.4, 1.0, 0.02, 0.02)])
def test_the_field_is_dense_kriging(step_m, share, mean_off, sigma_off):
    """500 readings beside scikit-learn's Gaussian process with the same covariance (Matern, nu = 1, and a constant):
    such a share of predictions within so many sigma, of sigmas within such a part, by steps of a 20th, 40th, 71st of
    the range; with the finest all keep to 0.02 sigma and 2 %."""
    gaussian = pytest.importorskip("sklearn.gaussian_process", reason="scikit-learn is not installed")
    rng = np.random.default_rng(1)
    xy, at = rng.uniform(0, 120, (500, 2)), rng.uniform(5, 115, (300, 2))
    own = matern(np.sqrt(8) / 100 * cdist(xy, xy))
    value = rng.multivariate_normal(np.zeros(500), own + 1e-9 * np.eye(500)) + 0.5 * rng.normal(size=500)
    lattice = lattice_for(np.concatenate([xy, at]), step_m, (100.0,), 1.5, 1e9)
    nothing, far, nan = np.empty(0), np.full(500, np.inf), np.full(500, np.nan)
    trend = Trend(0.0, np.zeros(1), np.ones(1))
    design = OneField(lattice, PARAMETERS, trend, np.empty(0, np.int32), nothing, nothing)
    readings = Readings(xy, value, np.full(500, 0.25), np.zeros(500, np.int32), far, nan, nan, np.ones(500))
    mean, sd = FieldSolution(design, readings, robust=False).predict(at, np.full(300, np.inf))
    kernel = gaussian.kernels.ConstantKernel(1.0, "fixed") + gaussian.kernels.Matern(50.0, "fixed", nu=1.0)
    dense = gaussian.GaussianProcessRegressor(kernel, alpha=0.25, optimizer=None).fit(xy, value)
    dense_mean, dense_sd = dense.predict(at, return_std=True)
    assert np.quantile(np.abs(mean - dense_mean) / dense_sd, share) < mean_off
    assert np.quantile(np.abs(sd / dense_sd - 1), share) < sigma_off
    assert np.abs(np.median(sd / dense_sd) - 1) < max(sigma_off / 2, 0.02)


def test_the_slope_of_the_likelihood_is_true():
    "The gradient that the search follows agrees with differences."
    rng, n = np.random.default_rng(1), 40
    sample = Sample(rng.uniform(0, 300, (n, 2)), rng.normal(5, 2, n), rng.uniform(0.05, 0.2, n),
                    rng.integers(0, 3, n).astype(np.int32), rng.uniform(0, 150, n))
    prior = Prior.usual(2.0, 300.0, 150.0, 0.07).with_middle(2.0)
    likelihood = Likelihood(sample, Trend.of_depth(5.0, 150.0, False), prior, True)
    at = prior.centre.logs() + rng.normal(0, 0.2, 11)
    steps = 1e-5 * np.eye(11)
    differences = [(likelihood(at + step)[0] - likelihood(at - step)[0]) / 2e-5 for step in steps]
    assert_allclose(likelihood(at)[1], differences, rtol=0.01, atol=0.2)


def test_what_a_bank_does_ten_metres_off_is_not_carried_to_the_shore():
    "On a bank whose width varies the first metres are told from beyond: the miss there is less than that of the trend."
    x, y = np.meshgrid(np.arange(0.0, 400.0, 5.0), np.arange(0.0, 200.0, 5.0))
    bank_m = 30.0 + 20.0 * np.sin(x / 40.0)

    def depth(d, bank):
        return 8.0 * (1.0 - np.exp(-d / bank))

    p = FieldParameters(2.0, 150.0, 0.05, 40.0, 0.03, 30.0)
    at, near = (x.ravel()[y.ravel() >= 10], y.ravel()[y.ravel() >= 10]), 2.0
    n = len(at[0])
    trend = Trend.of_depth(5.0, 200.0, False)
    readings = Readings(np.column_stack(at), depth(at[1], bank_m.ravel()[y.ravel() >= 10]), np.full(n, 0.05**2),
                        np.zeros(n, np.int32), at[1], *np.full((2, n), np.nan), np.ones(n))
    ask = np.column_stack([np.arange(20.0, 380.0, 5.0), np.full(72, near)])
    none, away = np.empty(0), np.full(len(ask), near)
    lattice = lattice_for(np.concatenate([readings.xy, ask]), 10.0, (*cascade_ranges(p.rough_m), p.detail_m))
    told = FieldSolution(Design(lattice, p, trend, np.empty(0, np.int32), none, none), readings).predict(ask, away)[0]
    true = depth(near, 30.0 + 20.0 * np.sin(ask[:, 0] / 40.0))
    assert np.sqrt(np.mean((told - true) ** 2)) < 0.4 * np.std(true)


def test_gross_errors_that_cleaning_missed_hardly_move_the_map():
    "1 % of gross errors move RMSE by less than 5 %."
    rng = np.random.default_rng(2)
    blocks = block_means(OBS, 10.0)
    bad = rng.choice(len(blocks), max(len(blocks) // 100, 3), replace=False)
    value = blocks.value.copy()
    value[bad] *= rng.uniform(1.5, 2.2, len(bad))
    rmse = [np.sqrt(np.mean((fitted(dataclasses.replace(blocks, value=v)).predict(FRAME.water_xy())[0] - TRUTH) ** 2))
            for v in (blocks.value, value)]
    assert rmse[1] < 1.05 * rmse[0]


def test_a_pass_gets_its_bias_back():
    "A constant put on one pass that others cross comes out as its bias."
    blocks = block_means(OBS, 10.0)
    one = int(PASSES[len(PASSES) // 2])
    moved = dataclasses.replace(blocks, value=blocks.value + np.where(blocks.pass_id == one, 0.3, 0.0))
    before, after = fitted(blocks).pass_bias(), fitted(moved).pass_bias()
    k = int(np.flatnonzero(after.pass_id == one)[0])
    assert 0.1 < after.bias_m[k] - before.bias_m[k] < 0.31
    assert (after.sigma_m > 0).all()
    assert abs(after.bias_m.mean()) < 0.1


def test_tiles_fade_into_each_other_and_agree_with_the_whole(monkeypatch):
    """A lake solved in tiles is the lake solved at once to a fraction of sigma; there is no seam, and passes held back
    are missed by as much, so that sigma is scaled alike."""
    lake = rough_lake(3, 300.0, 150.0)
    frame, obs = lake.frame(10.0), block_means(survey(lake, 3), 10.0)
    whole = fitted(obs, frame)
    mean, sd = whole.predict(frame.water_xy())
    monkeypatch.setattr(tiles_module, "HALO_RANGES", 2.5)
    monkeypatch.setattr(field_module, "MOST_UNKNOWNS", whole._final.design.count * 2 // 3)
    monkeypatch.setattr(field_module, "FIRST_UNKNOWNS", whole._final.design.count // 2)
    tiled = fitted(obs, frame)
    assert tiled.facts()["tiles"] > 1
    again, again_sd = tiled.predict(frame.water_xy())
    assert np.sqrt(np.mean(((again - mean) / sd) ** 2)) < 0.35
    assert_allclose(np.median(again_sd / sd), 1.0, atol=0.1)
    jump = np.full(frame.shape, np.nan)
    jump[frame.water] = again - mean
    assert max(np.nanmax(np.abs(np.diff(jump, axis=axis))) for axis in (0, 1)) < 0.15
    monkeypatch.setattr(field_module, "FIRST_UNKNOWNS", whole._final.design.count // 10)
    missed = [leave_out(one, obs, np.inf) for one in (whole, fitted(obs, frame))]
    assert 100 < len(missed[1].miss) <= len(missed[0].miss)
    assert sigma_scale(missed[1]) == pytest.approx(sigma_scale(missed[0]), abs=0.15)
    assert np.std(missed[1].miss) < 1.15 * np.std(missed[0].miss)


def test_newtons_step_for_an_interval_is_true():
    "Weight and target are those of the log-likelihood's slope and bend."
    mean, step = np.array([-0.3, 0.0, 0.4, 1.2]), 1e-4

    def log_mass(at):
        return np.log(ndtr((1.0 - at) / 0.3) - ndtr((0.2 - at) / 0.3))

    weight, target = interval_terms(mean, np.full(4, 0.2), np.full(4, 1.0), np.full(4, 0.3))
    slope = (log_mass(mean + step) - log_mass(mean - step)) / (2 * step)
    bend = -(log_mass(mean + step) - 2 * log_mass(mean) + log_mass(mean - step)) / step**2
    assert_allclose(weight, bend, rtol=1e-3)
    assert_allclose((weight * (target - mean)), slope, rtol=1e-3)


def test_censored_readings_speak_by_their_bounds():
    "Readings known only to be above a bound lift the map; as plain readings they would hold it down."
    rng = np.random.default_rng(3)
    xy = rng.uniform(0, 200, (150, 2))
    true = 0.5 + 0.4 * np.sin(xy[:, 0] / 40)
    value = np.minimum(true, 0.7)
    obs = Observations.of("hardness", xy, value, 0.05)
    bounded = dataclasses.replace(obs, lower=np.where(true > 0.7, 0.7, np.nan))
    p = FieldParameters(0.3, 80.0, 0.05, 40.0, 0.02, 30.0)
    high = true > 0.8
    plain, known = (FieldInterpolator(10.0, parameters=p).fit(one).predict(xy[high])[0] for one in (obs, bounded))
    assert known.mean() > plain.mean() + 0.03
    assert (known > 0.65).all()


def test_a_block_mixes_no_bounds_with_plain_readings():
    "In one square a plain, a lower and an upper bound stay three readings, each with what it knows."
    obs = Observations.of("hardness", np.full((5, 2), 1.0), [0.2, 0.3, 0.7, 0.8, 0.1], 0.05)
    nan = np.nan
    obs = dataclasses.replace(obs, lower=np.array([nan, nan, 0.7, 0.8, nan]), upper=np.array([nan, nan, nan, nan, 0.1]))
    blocks = block_means(obs, 5.0)
    assert_allclose(blocks.value, [0.25, 0.75, 0.1])
    assert_allclose(blocks.lower, [nan, 0.75, nan])
    assert_allclose(blocks.upper, [nan, nan, 0.1])


def test_draws_have_the_surfaces_own_error():
    "Mean and spread of many draws are the estimate and its error; the same seed gives the same draws."
    field = fitted(block_means(OBS, 10.0))
    at = FRAME.water_xy()[::20]
    draws = field.sample(at, 400, 7)
    mean, sd = field._final.predict(at, field._shore.at(at))
    assert np.abs((draws.mean(axis=0) - mean) / sd).max() < 0.25
    assert_allclose(draws.std(axis=0) / sd, 1.0, atol=0.2)
    assert np.array_equal(draws, field.sample(at, 400, 7))


def test_the_order_of_soundings_does_not_matter():
    "Shuffled soundings give the same bytes."
    shuffled = OBS.take(np.random.default_rng(1).permutation(len(OBS)))
    one, two = (make_surface(obs, FRAME, FIELD, BIAS) for obs in (OBS, shuffled))
    assert one.estimate.values.tobytes() == two.estimate.values.tobytes()
    assert one.sigma.values.tobytes() == two.sigma.values.tobytes()
    assert np.sqrt(np.nanmean((one.estimate.values[FRAME.water] - TRUTH) ** 2)) < 0.45


@pytest.mark.parametrize("case", ["line", "equal", "two", "nan sigma", "one"])
def test_odd_readings_give_an_honest_map(case):
    "All on one line, all equal, two, one, or of unknown error: finite estimates and errors, no failure."
    rows = {"two": [0, len(OBS) // 2], "one": [0]}.get(case, np.arange(len(OBS)))
    obs = OBS.take(np.asarray(rows))
    if case == "line":
        obs = OBS.take(OBS.pass_id == PASSES[len(PASSES) // 2])
        obs = dataclasses.replace(obs, xy=np.column_stack([np.full(len(obs), obs.xy[0, 0]), obs.xy[:, 1]]))
    if case == "equal":
        obs = dataclasses.replace(obs, value=np.full(len(obs), 5.0))
    if case == "nan sigma":
        obs = dataclasses.replace(obs, sigma=np.full(len(obs), np.nan))
    surface = make_surface(obs, FRAME, FIELD, BIAS)
    water = FRAME.water
    assert np.isfinite(surface.estimate.values[water]).all()
    assert (surface.sigma.values[water] > 0).all()
