"""Readings that only bound a value, made into readings that say the same beside what the others say of their places.

Each in turn is told by the others alone; the normal law that, beside theirs, has the mean and variance of "lies between
the bounds" takes its place (expectation propagation: Minka 2001; Rasmussen & Williams 2006, Gaussian Processes for
Machine Learning, 3.6). A bound that the others keep anyway says next to nothing; one that they break pulls as far as it
must.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from lakemap.grid.blocks import bounds_known
from lakemap.grid.field_weights import interval_terms
from lakemap.model.observations import Observations

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]
Told = Callable[[Observations, Rows], tuple[Floats, Floats]]

SWEEPS = 3
"""Beliefs settle in two (tested beside sums over many draws); a fixed count gives the same bytes everywhere."""
SILENT_SIGMA = 1e3
"""What says nothing has this error, in units of the bound's own."""
KEPT = 1e-9
"""The least share of its variance that a place keeps when told a bound."""


def censored(obs: Observations) -> NDArray[np.bool_]:
    """Which readings (n,) are known by their bounds alone."""
    return np.asarray(bounds_known(obs) > 0)


def settled(obs: Observations, told: Told) -> Observations:
    """``obs`` with value and sigma of every censored reading put in place of its bounds.

    ``told(obs, rows)``: mean and standard error of the true value at the places of some readings, each from all others.
    The bounds themselves are as sure as the measured readings are on the middle.
    """
    rows = np.flatnonzero(censored(obs))
    if not len(rows) or len(rows) == len(obs):
        return obs
    lower = np.where(np.isnan(obs.lower[rows]), -np.inf, obs.lower[rows])
    upper = np.where(np.isnan(obs.upper[rows]), np.inf, obs.upper[rows])
    error = float(np.median(np.delete(obs.sigma, rows)))
    for _ in range(SWEEPS):
        mean, sigma = told(obs, rows)
        whole = np.hypot(sigma, error)
        weight, target = interval_terms(mean, lower, upper, whole)
        spread = np.sqrt(np.maximum(1.0 / weight - sigma**2, KEPT * whole**2))
        value, own = obs.value.copy(), obs.sigma.copy()
        value[rows], own[rows] = target, np.minimum(spread, SILENT_SIGMA * whole)
        obs = dataclasses.replace(obs, value=value, sigma=own)
    return obs
