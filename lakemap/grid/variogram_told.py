"""How readings differ with distance, beside what the fitted model expects of the same pairs: for the report."""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import NDArray

from lakemap.grid.empirical import growing_lags
from lakemap.grid.field_parameters import pick
from lakemap.grid.interpolator import Interpolator
from lakemap.model.observations import Observations
from lakemap.model.surface import VariogramTold

MOST_READINGS = 700
"""Picked at short and long lags, all pairs of them: a quarter of a million."""
LEAST_PAIRS = 30
"""A lag class with fewer says nothing (Journel & Huijbregts 1978: 30 to 50 pairs)."""


def variogram_told(fitted: Interpolator, obs: Observations, pixel_m: float) -> VariogramTold | None:
    """Half the mean squared difference of pairs of readings by lag class, the biases of their passes taken off where
    the interpolator solved them; and the mean that its model expects. None with too few readings."""
    if len(obs) < LEAST_PAIRS:
        return None
    some = _less_bias(fitted, obs).take(pick(obs.xy, MOST_READINGS))
    first, second = (np.asarray(side) for side in np.triu_indices(len(some), 1))
    lag = np.hypot(*(some.xy[first] - some.xy[second]).T)
    edges = growing_lags(some, max(2.0 * pixel_m, 1.0))
    member: NDArray[np.int64] = np.asarray(np.searchsorted(edges, np.asarray(lag), side="left") - 1)
    keep = (member >= 0) & (member < len(edges) - 1)
    first, second, lag, member = (column[keep] for column in (first, second, lag, member))
    pairs: NDArray[np.int64] = np.bincount(member, minlength=len(edges) - 1)
    full = pairs >= LEAST_PAIRS
    if not full.any():
        return None
    half_square = 0.5 * (some.value[first] - some.value[second]) ** 2
    means = [np.bincount(member, column, len(edges) - 1)[full] / pairs[full]
             for column in (lag, half_square, fitted.expected_gamma(some, first, second))]
    return VariogramTold(means[0], means[1], means[2], pairs[full])


def _less_bias(fitted: Interpolator, obs: Observations) -> Observations:
    bias = fitted.pass_bias()
    table = dict(zip(bias.pass_id.tolist(), bias.bias_m.tolist(), strict=True))
    off = np.array([table.get(number, 0.0) for number in obs.pass_id.tolist()])
    return dataclasses.replace(obs, value=obs.value - off)
