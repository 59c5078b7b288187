"""What the report shows of a variogram: pairs of readings, and what the model expects of the same pairs."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.distance import pdist

from lakemap.grid.field_model import FieldParameters, Pairs, Trend, prior_gamma
from lakemap.grid.field_parameters import Likelihood, Prior, Sample
from lakemap.grid.kriging import OrdinaryKriging
from lakemap.grid.nearest import Nearest
from lakemap.grid.variogram import Variogram
from lakemap.grid.variogram_told import variogram_told
from lakemap.model.observations import Observations
from lakemap.model.soundings import NO_PASS


def scattered(n, seed=3, size_m=400.0):
    "Places over a square and distances to an imagined shore."
    rng = np.random.default_rng(seed)
    xy = size_m * rng.random((n, 2))
    return xy, 5.0 + 0.2 * np.abs(xy[:, 0])


def test_the_field_expects_what_its_covariance_says():
    "Half the squared difference by the likelihood's own covariance matrix, to what its sum of three leaves (0.008)."
    xy, away = scattered(40)
    sigma = np.full(40, 0.07)
    p = FieldParameters(2.0, 150.0, 0.4, 35.0, 0.06, 30.0, 1.3, 0.2, 1e-9, 0.5)
    trend = Trend.of_depth(5.0, 60.0, False)
    sample = Sample(xy, np.zeros(40), sigma, np.full(40, NO_PASS, np.int32), away)
    likelihood = Likelihood(sample, trend, Prior.usual(2.0, 400.0, 60.0, 0.06), False)
    parts = likelihood._parts(p)
    amounts = ("rough_sd", "detail_sd", "noise", "own", "bias_sd", "middle_sd")
    covariance = likelihood._fixed + sum(parts[name] for name in amounts) / 2
    first, second = np.triu_indices(40, 1)
    mean = trend.columns(away) @ trend.mean
    variance = np.diag(covariance)
    wanted = 0.5 * ((mean[first] - mean[second]) ** 2 + variance[first] + variance[second]) - covariance[first, second]
    told = prior_gamma(p, trend, Pairs(xy, away, sigma, first, second))
    assert np.allclose(told, wanted, rtol=0.0, atol=0.035)
    assert np.corrcoef(told, pdist(xy))[0, 1] > 0.5


def test_kriging_expects_its_variogram_and_the_readings_errors():
    "Spherical, nugget 0.04, sill 1, range 100 m: at every lag the model's own gamma plus 0.01 of errors."
    xy, _ = scattered(300)
    model = Variogram.single("spherical", 0.04, 1.0, 100.0)
    obs = Observations.of("hardness", xy, np.random.default_rng(1).standard_normal(300), 0.1, np.zeros(300, np.int32))
    told = variogram_told(OrdinaryKriging(model).fit(obs), obs, 2.0)
    beyond = told.lag_m > 115.0
    assert told.expected[beyond] == pytest.approx(1.05, abs=1e-6)
    near = told.lag_m < 90.0
    share = told.lag_m[near] / 100.0
    assert told.expected[near] == pytest.approx(0.05 + 1.5 * share - 0.5 * share**3, abs=0.03)
    assert told.gamma.mean() == pytest.approx(0.9, abs=0.2) and (told.pairs >= 30).all()


def test_without_a_model_only_the_readings_speak():
    "The nearest reading expects nothing; too few readings tell nothing."
    xy, _ = scattered(200)
    obs = Observations.of("depth_m", xy, xy[:, 0] / 100, 0.1, np.zeros(200, np.int32))
    told = variogram_told(Nearest().fit(obs), obs, 2.0)
    assert np.isnan(told.expected).all() and (np.diff(told.gamma[-4:]) > 0).all()
    few = obs.take(np.arange(10))
    assert variogram_told(Nearest().fit(few), few, 2.0) is None
