"""Fitting a variogram model to a sample variogram."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from lakemap.grid.empirical import SampleVariogram, cutoff_m, growing_lags, sample_variogram
from lakemap.grid.variogram import Structure, Variogram
from lakemap.model.observations import Observations

Floats = NDArray[np.float64]

FEWEST_READINGS = 12
"""Below this a fit says nothing; the usual lake is assumed (own choice)."""

USUAL_SPREAD = 0.3
"""Standard deviation of depth as a share of the deepest reading where too few readings show it (own, cautious)."""

CANDIDATES: tuple[tuple[str, ...], ...] = (("exponential",), ("exponential", "matern"), ("exponential", "exponential"))
"""Shapes tried: a rough floor, and a rough floor on a smooth or a rough basin."""

CONSIDERED_PAIRS = 400
"""More pairs than this make a lag class no more certain: they share readings."""

NUGGET_FLOOR = 1e-4
"""Least nugget as a share of the smallest sample gamma: keeps the fit off its bound at zero."""

LEAST_GAMMA = 1e-4
"""A lag class below this share of the largest gamma (equal readings, rounded ones) counts as this: logs need it."""


def fit_weighted(sample: SampleVariogram, shape: str, start: tuple[float, float, float]) -> Variogram:
    """Nugget and one structure by least squares on gamma with weights pairs / lag^2 (common practice).

    ``start`` is nugget, partial sill and range_m to begin from.
    """
    root = np.sqrt(sample.pairs) / sample.lag_m

    def misfit(given: Floats) -> Floats:
        model = Variogram.single(shape, *given)
        return np.asarray(root * (sample.gamma - model.gamma(sample.lag_m)))

    scale = np.maximum(np.abs(start), 1e-12)
    found = least_squares(misfit, start, x_scale=scale, bounds=(0, np.inf), xtol=1e-12, ftol=1e-12, gtol=1e-12)
    return Variogram.single(shape, *(float(value) for value in found.x))


def fit_variogram(obs: Observations, shortest_m: float) -> Variogram:
    """Model of block means: what they differ by beyond their own errors, which are added to the model, not fitted.

    Least squares on log gamma, where each lag class counts by its relative error and short lags, which kriging
    leans on, are as many as long ones. Since the errors of the blocks are given, a small nugget is no fault: the
    diagonal never vanishes. Ranges stay between ``shortest_m`` and the longest lag. Few readings, or equal
    ones: the usual lake.
    """
    if len(obs) < FEWEST_READINGS or np.ptp(obs.value) <= 0:
        return usual_variogram(obs, shortest_m)
    sample = sample_variogram(obs, growing_lags(obs, shortest_m))
    excess = np.max(sample.gamma - sample.noise)
    if len(sample.lag_m) < 4 or excess <= 0:
        return usual_variogram(obs, shortest_m)
    least = np.maximum(0.1 * sample.noise, LEAST_GAMMA * sample.gamma.max())
    sample = dataclasses.replace(sample, gamma=np.maximum(sample.gamma, least))
    fits = [_fit_relative(sample, shapes, shortest_m) for shapes in CANDIDATES]
    return min(fits, key=lambda fit: fit[0])[1]


def usual_variogram(obs: Observations, shortest_m: float) -> Variogram:
    """What is assumed where readings are too few or all equal to show their own variogram."""
    spread = max(float(np.std(obs.value)), USUAL_SPREAD * float(np.max(np.abs(obs.value), initial=0.0)), 1e-3)
    return Variogram.single("exponential", 0.0, spread**2, max(20 * shortest_m, cutoff_m(obs)))


def _fit_relative(sample: SampleVariogram, shapes: Sequence[str], shortest_m: float) -> tuple[float, Variogram]:
    """Penalised misfit and the model; parameters are logs of nugget, then partial sill and range of each structure."""
    weight = np.sqrt(np.minimum(sample.pairs, CONSIDERED_PAIRS))
    low, high = _bounds(sample, len(shapes), shortest_m)

    def misfit(logs: Floats) -> Floats:
        model = _model(logs, shapes)
        return np.asarray(weight * np.log((model.gamma(sample.lag_m) + sample.noise) / sample.gamma))

    found = least_squares(misfit, np.clip(_start(sample, len(shapes)), low + 1e-6, high - 1e-6), bounds=(low, high))
    k, n = len(low), len(sample.lag_m)
    return n * float(np.log(max(found.cost, 1e-12) / n)) + 2 * k, _model(found.x, shapes)


def _model(logs: Floats, shapes: Sequence[str]) -> Variogram:
    values = np.exp(logs)
    parts = zip(shapes, values[1::2], values[2::2], strict=True)
    structures = tuple(Structure(shape, float(sill), float(reach)) for shape, sill, reach in parts)
    return Variogram(float(values[0]), structures)


def _bounds(sample: SampleVariogram, structures: int, shortest_m: float) -> tuple[Floats, Floats]:
    least, most = float(sample.gamma.min()), float(sample.gamma.max())
    longest = float(sample.lag_m[-1])
    low = [NUGGET_FLOOR * least] + structures * [1e-3 * least, shortest_m]
    high = [most] + structures * [20 * most, 4 * longest]
    return np.log(low), np.log(high)


def _start(sample: SampleVariogram, structures: int) -> Floats:
    """A small nugget; each longer structure begins with a greater share of the sill."""
    most, longest = float(sample.gamma.max()), float(sample.lag_m[-1])
    nugget = 0.3 * float(sample.gamma.min())
    if structures == 1:
        return np.log([nugget, most, 0.7 * longest])
    return np.log([nugget, 0.05 * most, 0.15 * longest, most, longest])
