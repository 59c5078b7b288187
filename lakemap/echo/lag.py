"""How late marks are tapped: by the time that brings them, along the boat's way, onto what the sounder showed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

Floats = NDArray[np.float64]

LEAST_MARKS = 5
"""Fewer marks tell no lag (own choice)."""

MISSES_M = (1.0, 1.5, 2.5, 4.0, 6.0, 9.0, 14.0)
SHARES = (0.2, 0.4, 0.6, 0.8, 0.95)
"""What is tried: how far marks lie from what they mean once put back, and the share of them that mean a thing shown."""

ELSEWHEN = np.linspace(-4.0, 4.0, 161)
"""Moments, in spans of the lags tried, at which the boat tells how near things shown lie by chance."""

REACH, LEAST_DENSITY = 4.0, 1e-6
"""Things farther off than so many of the largest miss count for nothing; one thing in a square kilometre may always lie
about by chance."""

SURE_RATIO, SURE_SIGMAS, SURE_S = 12.0, 2.5, 3.0
"""A lag counts where twice the log likelihood gains so much over none and over marks that mean nothing shown, it is so
many of its standard errors long, and its standard error is no more than SURE_S: of marks tapped anywhere 1 set in 100
or fewer passes (tests/echo)."""


@dataclass(frozen=True)
class Lag:
    """``lag_s`` with its standard error, and how far marks put back by it lie from what they mean (one axis [m]);
    ``sure``: it may be applied."""

    lag_s: float
    sigma_s: float
    miss_m: float
    sure: bool


def fit_lag(
    placed: Callable[[float], tuple[Floats, Floats]], shown: Floats, tried_s: Floats,
) -> Lag:
    """Lag of m marks of one kind and file against things shown at ``shown`` (k, 2) [m].

    ``placed(lag_s)`` gives places (m, 2) [m], NaN where the boat is not known, and the variance (m,) that each mark has
    of its own. A mark means one of the things shown nearby, missing it by a normal error, with some share; else it lies
    anywhere among them. Lag, error and share are weighed over a grid, all equally believed before; what is told is the
    mean over the lag and its spread, so that one stray mark moves nothing.
    """
    tree = cKDTree(shown)
    # marks and things shown both lie on the way: what is near by chance is told by moments before and after
    elsewhen = tried_s.mean() + np.ptp(tried_s) * ELSEWHEN
    chance = np.nanmean([_near_things(tree, *placed(lag)) for lag in elsewhen], axis=0) + LEAST_DENSITY
    likely = np.array([_log_likelihood(_near_things(tree, *placed(lag)), chance) for lag in tried_s.tolist()])
    weight = np.exp(likely - likely.max())
    over_lag = weight.sum(axis=(1, 2))
    over_lag /= over_lag.sum()
    mean = float(over_lag @ tried_s)
    sigma = float(np.sqrt(over_lag @ (tried_s - mean) ** 2 + np.mean(np.diff(tried_s)) ** 2 / 12.0))
    over_miss = weight.sum(axis=(0, 2))
    miss = float(np.sqrt(over_miss @ np.square(MISSES_M) / over_miss.sum()))
    best = likely.max(axis=(1, 2))
    # marks that mean nothing shown are as likely to lie anywhere: none of the lags is the other thing to beat
    gain = 2.0 * float(best.max() - max(best[int(np.argmin(np.abs(tried_s)))], 0.0))
    return Lag(mean, sigma, miss, gain >= SURE_RATIO and mean >= SURE_SIGMAS * sigma and sigma <= SURE_S)


def _near_things(tree: cKDTree, xy: Floats, own_var: Floats) -> Floats:
    """How densely things shown lie about each mark [1/m2] (misses, m), weighed by a normal error of each of MISSES_M;
    NaN where a mark has no place."""
    known = np.flatnonzero(np.isfinite(xy).all(axis=1))
    near = tree.query_ball_point(xy[known], REACH * MISSES_M[-1], return_sorted=True)
    mark = np.repeat(known, [len(rows) for rows in near])
    thing = np.array([row for rows in near for row in rows], dtype=np.int64)
    away2 = np.sum((xy[mark] - tree.data[thing]) ** 2, axis=1)
    out = np.full((len(MISSES_M), len(xy)), np.nan)
    for row, miss in enumerate(MISSES_M):
        var = miss**2 + own_var[mark]
        density = np.exp(-0.5 * away2 / var) / (2.0 * np.pi * var)
        out[row, known] = np.bincount(mark, density, minlength=len(xy))[known]
    return out


def _log_likelihood(meant: Floats, chance: Floats) -> Floats:
    """Of all marks, against lying anywhere on the way, for each of MISSES_M and SHARES; a mark without a place says
    nothing."""
    ratio = np.nan_to_num(meant / chance, nan=1.0)
    return np.array([np.log1p(share * (ratio - 1.0)).sum(axis=1) for share in SHARES]).T
