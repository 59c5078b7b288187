"""Block reduction: many soundings of one pass in one block become one reading with its own error."""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import NDArray

from lakemap.model.observations import Observations

Floats = NDArray[np.float64]

MAD_TO_SIGMA = 1.4826
"""Median absolute deviation to standard deviation of a normal law."""

CLIP = 3.0
"""Readings farther than this many standard deviations from the block's median stay out of its mean (common)."""

SHARED_VARIANCE = 0.25
"""Share of a reading's error variance that its neighbours in the block have too (position, heave, sound speed) where
the budget of its errors does not say it. An assumption of our own; left-out passes put it right as a whole."""

RISE_WEIGHT = 0.1
"""Weight of a reading that may be cover against one of plain floor (own choice)."""


def block_means(obs: Observations, block_m: float) -> Observations:
    """One reading for each pass and square block of side ``block_m`` [m], in canonical order.

    Value and place are clipped means about the median of the block's plain readings. The error is
    ``v + (s2 - v) / n``, where s2 is the larger of the readings' own variance and their scatter within the block, and v
    the part of the variance that they share, so that a block counts fewer readings than it holds. Whatever the order of
    the readings, the result has the same bytes.
    """
    obs = _in_canonical_order(dataclasses.replace(obs, sigma=_known_sigma(obs.sigma)), block_m)
    block = _block_numbers(obs, block_m)
    count = int(block[-1]) + 1 if len(block) else 0
    median, spread = _median_and_spread(obs, block, count)
    weight = np.where(obs.rise, RISE_WEIGHT, 1.0)
    tolerance = CLIP * np.maximum(spread[block], obs.sigma)
    weight = np.where(np.abs(obs.value - median[block]) <= tolerance + 1e-12, weight, weight * 1e-9)
    total = np.bincount(block, weight, count)

    def mean(column: Floats) -> Floats:
        return np.asarray(np.bincount(block, weight * column, count) / total)

    value = mean(obs.value)
    scatter = mean((obs.value - value[block]) ** 2)
    single = np.maximum(mean(obs.sigma**2), scatter)
    shared = SHARED_VARIANCE * single if obs.shared is None else np.minimum(mean(_shared_variance(obs)), single)
    first = np.searchsorted(block, np.arange(count))
    return Observations(
        obs.name, np.column_stack([mean(obs.xy[:, 0]), mean(obs.xy[:, 1])]), value,
        np.sqrt(shared + (single - shared) / total), obs.pass_id[first],
        mean(obs.rise.astype(float)) > 0.5, mean(obs.lower), mean(obs.upper), obs.has_time,
        beam_deg=None if obs.beam_deg is None else mean(obs.beam_deg),
    )


def _shared_variance(obs: Observations) -> Floats:
    """What each reading's error has in common with its neighbours' (n,); SHARED_VARIANCE of it where nobody told."""
    told = np.full(len(obs), np.nan) if obs.shared is None else obs.shared
    return np.where(np.isfinite(told), told**2, SHARED_VARIANCE * obs.sigma**2)


def _known_sigma(sigma: Floats) -> Floats:
    """A reading without an error of its own (none, or none above 0) gets the usual one of the others."""
    own = np.isfinite(sigma) & (sigma > 0)
    return np.where(own, sigma, np.median(sigma[own]) if own.any() else 0.0)


def _cells(obs: Observations, block_m: float) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    cell = np.floor(obs.xy / block_m).astype(np.int64)
    return cell[:, 1], cell[:, 0]


def bounds_known(obs: Observations) -> NDArray[np.int64]:
    """0 for a plain reading (n,), else which of its two bounds are known."""
    return np.asarray(np.isfinite(obs.lower).astype(np.int64) + 2 * np.isfinite(obs.upper))


def _in_canonical_order(obs: Observations, block_m: float) -> Observations:
    row, column = _cells(obs, block_m)
    keys = (obs.sigma, obs.xy[:, 0], obs.xy[:, 1], obs.value, obs.rise, bounds_known(obs), column, row, obs.pass_id)
    return obs.take(np.lexsort(keys))


def _block_numbers(obs: Observations, block_m: float) -> NDArray[np.int64]:
    """0, 1, 2 ... for readings that are already sorted by pass, row, column and what is known of their bounds: a
    censored reading and a plain one have no mean."""
    row, column = _cells(obs, block_m)
    new = np.zeros(max(len(obs) - 1, 0), dtype=bool)
    for key in (obs.pass_id, row, column, bounds_known(obs)):
        new |= np.diff(key) != 0
    return np.concatenate([np.zeros(min(len(obs), 1), np.int64), np.cumsum(new)])


def _median_and_spread(obs: Observations, block: NDArray[np.int64], count: int) -> tuple[Floats, Floats]:
    """Median of each block and robust standard deviation about it (count,), over plain readings where there are any."""
    plain = np.bincount(block[~obs.rise], minlength=count)
    used = ~obs.rise | (plain[block] == 0)
    block, value = block[used], obs.value[used]
    median = _median_of_runs(block, value, count)
    away = np.abs(value - median[block])
    return median, MAD_TO_SIGMA * _median_of_runs(block, away[np.lexsort((away, block))], count)


def _median_of_runs(block: NDArray[np.int64], value: Floats, count: int) -> Floats:
    """Median of each block; both arrays (n,) sorted by block, values ascending within."""
    start = np.searchsorted(block, np.arange(count))
    n = np.bincount(block, minlength=count)
    return np.asarray((value[start + (n - 1) // 2] + value[start + n // 2]) / 2)
