"""The sample variogram: half the mean squared difference of pairs of readings, by lag."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from scipy.spatial.distance import pdist

from lakemap.model.observations import Observations

Floats = NDArray[np.float64]

ALL_PAIRS_UP_TO = 1500
"""With more readings than this, pairs are picked: evenly spread centres, near pairs and far pairs apart."""

NEAR_CENTRES, NEAR_EACH = 2500, 120


@dataclass(frozen=True)
class SampleVariogram:
    """For each lag class (k,): pairs in it, their mean distance [m], gamma [unit squared], and the part of gamma
    that the readings' own errors make (mean of their variances)."""

    pairs: NDArray[np.int64]
    lag_m: Floats
    gamma: Floats
    noise: Floats


def even_lags(obs: Observations, classes: int = 15) -> Floats:
    """Edges (classes + 1,) of equal lag classes up to a third of the diagonal of the readings' box."""
    return np.linspace(0.0, cutoff_m(obs), classes + 1)


def growing_lags(obs: Observations, shortest_m: float, classes: int = 18) -> Floats:
    """Edges (classes + 1,) that grow by a constant factor: the short lags, which kriging leans on, are resolved."""
    longest = max(cutoff_m(obs), 4 * shortest_m)
    return np.concatenate([[0.0], np.geomspace(shortest_m, longest, classes)])


def cutoff_m(obs: Observations) -> float:
    """A third of the diagonal of the box around the readings [m]: beyond it pairs are few (common practice)."""
    return float(np.hypot(*np.ptp(obs.xy, axis=0))) / 3


def sample_variogram(obs: Observations, edges_m: Floats) -> SampleVariogram:
    """Matheron's estimator in the lag classes ``(edges[k], edges[k + 1]]``; classes without pairs are left out.

    Matheron 1962; Cressie 1993, eq. 2.4.2. With many readings the pairs are a fixed choice of them.
    """
    parts = [_all_pairs(obs)] if len(obs) <= ALL_PAIRS_UP_TO else _picked_pairs(obs)
    lag, half_square, noise = (np.concatenate(column) for column in zip(*parts, strict=True))
    member = np.searchsorted(edges_m, lag, side="left") - 1
    keep = (member >= 0) & (member < len(edges_m) - 1)
    member, count = member[keep], len(edges_m) - 1
    pairs = np.bincount(member, minlength=count)
    filled = pairs > 0

    def mean(column: Floats) -> Floats:
        return np.asarray(np.bincount(member, column[keep], count)[filled] / pairs[filled])

    return SampleVariogram(pairs[filled], mean(lag), mean(half_square), mean(noise))


def _all_pairs(obs: Observations) -> tuple[Floats, Floats, Floats]:
    first, second = np.triu_indices(len(obs), 1)
    return pdist(obs.xy), *_of_pairs(obs, first, second)


def _of_pairs(obs: Observations, first: NDArray[np.int64], second: NDArray[np.int64]) -> tuple[Floats, Floats]:
    half_square = 0.5 * (obs.value[first] - obs.value[second]) ** 2
    return half_square, 0.5 * (obs.sigma[first] ** 2 + obs.sigma[second] ** 2)


def _picked_pairs(obs: Observations) -> list[tuple[Floats, Floats, Floats]]:
    """Near pairs: evenly picked centres with their nearest readings; far pairs: all among fewer centres."""
    centres = np.unique(np.linspace(0, len(obs) - 1, NEAR_CENTRES).astype(np.int64))
    lag, other = cKDTree(obs.xy).query(obs.xy[centres], k=NEAR_EACH + 1)
    reach = float(np.median(lag[:, -1]))
    near = (lag > 0) & (lag <= reach)
    first, second = np.broadcast_to(centres[:, None], lag.shape)[near], other[near]
    far = _all_pairs(obs.take(np.unique(np.linspace(0, len(obs) - 1, ALL_PAIRS_UP_TO).astype(np.int64))))
    beyond = far[0] > reach
    return [(lag[near], *_of_pairs(obs, first, second)), (far[0][beyond], far[1][beyond], far[2][beyond])]
