"Readings that only bound a value, in kriging: beside sums over many draws; the middle of the bounds is not taken."

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm, truncnorm

from lakemap.grid.bounded import censored, settled
from lakemap.grid.kriging import KrigingOptions, OrdinaryKriging
from lakemap.grid.variogram import Structure, Variogram
from lakemap.model.observations import Observations

MODEL = Variogram(0.0, (Structure("exponential", 0.04, 40.0),))
ERROR = 0.05


def readings(bounds, seed=3, n=14, rows=slice(1, None, 3)):
    "Readings along a way with gaps, every third of which (``rows``) is known by ``bounds`` (lower, upper) alone."
    rng = np.random.default_rng(seed)
    x = np.sort(rng.uniform(0, 120, n))
    true = 0.5 + 0.2 * np.sin(x / 18.0)
    obs = Observations.of("hardness", np.column_stack([x, np.zeros(n)]), true + ERROR * rng.standard_normal(n), ERROR)
    lower, upper, value, sigma = obs.lower.copy(), obs.upper.copy(), obs.value.copy(), obs.sigma.copy()
    for k in range(n)[rows]:
        lower[k], upper[k] = bounds(true[k])
        low, high = np.nan_to_num(lower[k], nan=0.0), np.nan_to_num(upper[k], nan=1.0)
        value[k], sigma[k] = (low + high) / 2, (high - low) / np.sqrt(12)
    return dataclasses.replace(obs, lower=lower, upper=upper, value=value, sigma=sigma)


def krige(obs):
    return OrdinaryKriging(MODEL, KrigingOptions()).fit(obs)


def by_draws(obs, at, draws=400_000):
    "Mean and sigma at places: draws of all from the measured readings alone, weighed by how well they keep the bounds."
    rows = np.flatnonzero(censored(obs))
    plain = krige(obs.take(~censored(obs)))
    places = np.concatenate([obs.xy[rows], at])
    lag = np.hypot(*(places[:, None] - obs.xy[~censored(obs)][None]).transpose(2, 0, 1))
    between = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    own = np.hypot(*(obs.xy[~censored(obs)][:, None] - obs.xy[~censored(obs)][None]).transpose(2, 0, 1))
    wide = 1e3
    prior = wide + MODEL.partial_sill - MODEL.rise(own) + ERROR**2 * np.eye(len(own))
    cross = wide + MODEL.partial_sill - MODEL.rise(lag)
    whole = wide + MODEL.partial_sill - MODEL.rise(between)
    gain = np.linalg.solve(prior, cross.T).T
    spread = whole - gain @ cross.T
    mean = plain.predict(places)[0]
    drawn = np.random.default_rng(1).multivariate_normal(mean, spread + 1e-10 * np.eye(len(mean)), draws)
    low = np.where(np.isnan(obs.lower[rows]), -np.inf, obs.lower[rows])
    high = np.where(np.isnan(obs.upper[rows]), np.inf, obs.upper[rows])
    some = drawn[:, : len(rows)]
    weight = np.prod(norm.cdf((high - some) / ERROR) - norm.cdf((low - some) / ERROR), axis=1)
    weight /= weight.sum()
    there = drawn[:, len(rows):]
    mean = weight @ there
    return mean, np.sqrt(weight @ (there - mean) ** 2)


AT = np.column_stack([np.linspace(2, 118, 24), np.zeros(24)])


@pytest.mark.parametrize(("name", "bounds"), [
    ("at most", lambda true: (np.nan, true - 0.03)), ("at least", lambda true: (true + 0.02, np.nan)),
    ("between", lambda true: (true - 0.02, true + 0.1)),
])
def test_bounds_say_what_many_draws_say(name, bounds):
    "Means within a tenth of sigma and sigmas within a tenth, where the bounds bite."
    obs = readings(bounds)
    mean, sigma = krige(obs).predict(AT)
    true_mean, true_sigma = by_draws(obs, AT)
    plain, _ = krige(obs.take(~censored(obs))).predict(AT)
    assert np.abs(plain - true_mean).max() > 0.2 * true_sigma.max(), "the bounds say nothing: no test"
    assert np.abs((mean - true_mean) / true_sigma).max() < 0.1
    np.testing.assert_allclose(sigma, true_sigma, rtol=0.1)


def test_a_run_of_bounds_says_what_many_draws_say():
    "Six bounds beside each other, each of which must hear what the others came to."
    obs = readings(lambda true: (true + 0.05, np.nan), rows=slice(4, 10))
    (mean, sigma), (true_mean, true_sigma) = krige(obs).predict(AT), by_draws(obs, AT)
    assert np.abs((mean - true_mean) / true_sigma).max() < 0.1
    np.testing.assert_allclose(sigma, true_sigma, rtol=0.1)


def test_one_bound_is_a_truncated_normal():
    "A place that others tell as N(0.6, 0.1), and a sharp bound of at most 0.55 there."
    obs = Observations.of("hardness", np.zeros((3, 2)), [0.6, 0.6, 0.3], [1e-9, 1e-9, 0.3])
    obs = dataclasses.replace(obs, upper=np.array([np.nan, np.nan, 0.55]))
    one = settled(obs, lambda some, rows: (np.full(len(rows), 0.6), np.full(len(rows), 0.1)))
    precision = 1 / 0.1**2 + 1 / one.sigma[2] ** 2
    mean = (0.6 / 0.1**2 + one.value[2] / one.sigma[2] ** 2) / precision
    law = truncnorm(-np.inf, (0.55 - 0.6) / 0.1, loc=0.6, scale=0.1)
    assert (mean, precision**-0.5) == pytest.approx((law.mean(), law.std()), rel=1e-3)


def test_a_bound_that_all_others_keep_says_next_to_nothing():
    "At least 0.05 where all lies near 0.5: kriging as without it, where the middle of what is left would pull."
    obs = readings(lambda true: (0.05, np.nan))
    with_bounds, without = (krige(some).predict(AT) for some in (obs, obs.take(~censored(obs))))
    assert np.abs((with_bounds[0] - without[0]) / without[1]).max() < 0.05
    np.testing.assert_allclose(with_bounds[1], without[1], rtol=0.03)


@settings(max_examples=20, deadline=None)
@given(st.floats(-0.3, 0.3), st.integers(0, 20))
def test_bounds_move_with_the_readings(shift, seed):
    obs = readings(lambda true: (true + 0.02, np.nan), seed)
    moved = dataclasses.replace(obs, value=obs.value + shift, lower=obs.lower + shift, upper=obs.upper + shift)
    np.testing.assert_allclose(krige(moved).predict(AT)[0], krige(obs).predict(AT)[0] + shift, atol=1e-6)


def test_all_bounds_or_none_stay_as_they_are():
    plain = readings(lambda true: (np.nan, np.nan))
    assert settled(plain, None) is plain
    only = plain.take(slice(0, 3))
    only = dataclasses.replace(only, lower=np.full(3, 0.2), upper=np.full(3, 0.4))
    assert settled(only, None) is only
