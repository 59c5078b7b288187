"""Sample variograms and the models fitted to them."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from reference_tables import rows

from lakemap.grid.empirical import even_lags, sample_variogram
from lakemap.grid.fit_variogram import fit_variogram, fit_weighted
from lakemap.grid.variogram import SHAPES, Structure, Variogram
from lakemap.model.observations import Observations


@pytest.fixture(scope="module")
def meuse_sample():
    "The meuse sample variogram: 15 equal classes up to a third of the diagonal."
    data = pytest.importorskip("skgstat.data", reason="scikit-gstat, which carries the meuse points, is not installed")
    xy, zinc = data.meuse("zinc")["sample"]
    obs = Observations.of("log_zinc", xy, np.log(zinc[:, 0].astype(float)))
    return sample_variogram(obs, even_lags(obs))


def test_meuse_sample_variogram(meuse_sample):
    "Pairs, mean distances and gamma of all 15 classes are gstat's."
    told = rows("meuse_logzinc_variogram.csv")
    assert meuse_sample.pairs.tolist() == [row["np"] for row in told]
    assert_allclose(meuse_sample.lag_m, [row["dist"] for row in told], rtol=1e-9)
    assert_allclose(meuse_sample.gamma, [row["gamma"] for row in told], rtol=1e-9)


@pytest.mark.parametrize("start", [(1.0, 1.0, 900.0), (0.1, 0.3, 400.0)])
def test_meuse_fit(meuse_sample, start):
    "The spherical fit is the one printed in gstat's documentation, within a thousandth, from near and far starts."
    model = fit_weighted(meuse_sample, "spherical", start)
    assert model.nugget == pytest.approx(0.05066243, rel=1e-3)
    assert model.partial_sill == pytest.approx(0.59060780, rel=1e-3)
    assert model.range_m == pytest.approx(897.0209, rel=1e-3)


@pytest.mark.parametrize("shape", ["spherical", "exponential", "matern"])
def test_range_is_where_the_rise_is_made(shape):
    "At its range a structure has made 95 % of its rise (all of it, where it ends)."
    made = SHAPES[shape](np.array([0.0, 1.0, 50.0]))
    assert made[0] == 0
    assert made[1] == pytest.approx(1.0 if shape == "spherical" else 0.95, abs=5e-4)
    assert made[2] == pytest.approx(1.0)


def test_nested_range_lies_between_its_structures():
    "The range of a nested model is where 95 % of the whole is made."
    model = Variogram(0.0, (Structure("spherical", 1.0, 10.0), Structure("spherical", 1.0, 100.0)))
    assert model.gamma(np.array([model.range_m]))[0] == pytest.approx(1.9, abs=0.02)
    assert 10 < model.range_m < 100
    assert 0 < model.supported_m < model.range_m


def correlated(n, side_m, range_m, seed):
    "Readings with an exponential variogram of sill 4, and places."
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0, side_m, (n, 2))
    lag = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1))
    root = np.linalg.cholesky(4 * np.exp(-3 * lag / range_m) + 1e-9 * np.eye(n))
    return xy, root @ rng.normal(size=n)


def test_error_of_the_readings_does_not_go_into_the_model():
    "With noise of 0.5 added and declared, gamma at short lags stays that of the floor, and the nugget stays small."
    xy, floor = correlated(900, 600.0, 150.0, 2)
    noisy = floor + 0.5 * np.random.default_rng(3).normal(size=900)
    at = np.array([15.0, 40.0])
    declared = fit_variogram(Observations.of("v", xy, noisy, 0.5), 5.0)
    hidden = fit_variogram(Observations.of("v", xy, noisy, 0.0), 5.0)
    truth = 4 * (1 - np.exp(-3 * at / 150.0))
    assert_allclose(declared.gamma(at), truth, rtol=0.35)
    assert hidden.gamma(at)[0] - declared.gamma(at)[0] == pytest.approx(0.25, abs=0.1)


@pytest.mark.parametrize("value", [np.full(30, 4.0), np.array([1.0, 2.0])])
def test_too_little_to_fit(value):
    "Equal or very few readings get the usual lake's variogram: a sill above zero and a finite range."
    xy = np.column_stack([np.arange(len(value)) * 10.0, np.zeros(len(value))])
    model = fit_variogram(Observations.of("depth_m", xy, value), 5.0)
    assert model.partial_sill > 0
    assert np.isfinite(model.range_m)
    assert model.range_m >= 100


def test_rounded_readings():
    "Where rounding makes neighbours equal, gamma is zero at short lags and the fit stands all the same."
    xy = np.column_stack([np.arange(0, 600, 5.0), np.zeros(120)])
    model = fit_variogram(Observations.of("v", xy, np.floor(xy[:, 0] / 200), 0.0), 5.0)
    assert model.partial_sill > 0.1
    assert np.isfinite(model.gamma(np.array([5.0, 100.0]))).all()


def test_many_readings_use_picked_pairs():
    "Beyond the limit for all pairs the picked ones give the same gamma within a tenth."
    xy, value = correlated(2500, 900.0, 200.0, 4)
    few = np.arange(0, 2500, 2)
    edges = np.array([0.0, 20, 40, 80, 160])
    every = sample_variogram(Observations.of("v", xy[few], value[few]), edges)
    picked = sample_variogram(Observations.of("v", xy, value), edges)
    assert_allclose(picked.gamma, every.gamma, rtol=0.15)
