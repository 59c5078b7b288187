"""How much each reading says: gross errors weigh less, censored readings say on which side of a bound they lie."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from scipy.special import log_ndtr

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

NEIGHBOURS = 10
"""Readings around each that it is held against before anything is known."""
FAR_OUT = 6.0
"""Beyond this many robust standard deviations from its neighbours a reading does not take part at first."""
DOUBTFUL = 3.0
"""Beyond this many standard errors of what the others say, a reading's weight falls with the fourth power."""
BESIDE = 7
"""A reading and those nearest to it, which tell a gross error from a ledge."""
MAD_TO_SIGMA = 1.4826
"""Median absolute deviation to standard deviation of a normal law."""


def plain_start(xy: Floats, value: Floats, sigma: Floats) -> Mask:
    """Readings (n,) that lie within reason of the plane through their neighbours."""
    if len(xy) <= 2 * NEIGHBOURS:
        return np.ones(len(xy), dtype=bool)
    near = cKDTree(xy).query(xy, k=NEIGHBOURS + 1)[1][:, 1:]
    around = value[near]
    middle = np.median(around, axis=1)
    spread = MAD_TO_SIGMA * np.median(np.abs(around - middle[:, None]), axis=1)
    usual = np.median(spread)
    scale = np.sqrt(spread**2 + usual**2 + sigma**2)
    return np.asarray(np.abs(value - middle) <= FAR_OUT * scale)


def doubt(miss: Floats, sd: Floats, xy: Floats) -> Floats:
    """Factors (n,) on the readings' weights from how far each lies from what the others say; ``sd`` (n,) is that
    miss's standard error, taken to be too small where most misses say so.

    Where the readings around it are missed in the same way, it is the floor that surprises, not the reading.
    """
    scaled = miss / sd
    around = scaled[cKDTree(xy).query(xy, k=min(BESIDE, len(xy)))[1].reshape(len(xy), -1)[:, 1:]]
    usual = max(MAD_TO_SIGMA * float(np.median(np.abs(scaled))), 1.0)
    alone = np.abs(scaled - np.median(around, axis=1))
    size = np.minimum(np.abs(scaled), alone) / usual
    return np.asarray((DOUBTFUL / np.maximum(size, DOUBTFUL)) ** 4)


def left_out(rest: Floats, variance: Floats, weight: Floats, own: Floats) -> tuple[Floats, Floats]:
    """Misses (n,) of readings and their standard errors had each been left out, from residuals ``rest``, the mean's
    ``variance`` and the ``weight`` each reading had; ``own`` is the variance of its own error."""
    share = np.minimum(weight * variance, 1 - 1e-9)
    return rest / (1 - share), np.sqrt(variance / (1 - share) + own)


def interval_terms(mean: Floats, lower: Floats, upper: Floats, sd: Floats) -> tuple[Floats, Floats]:
    """Weight and target (n,) of the normal law that touches, at ``mean``, the likelihood of lying between two bounds
    (infinite where open) with an error of ``sd``: Newton's step for a log-concave likelihood."""
    low, high = (lower - mean) / sd, (upper - mean) / sd
    log_mass = _log_mass(low, high)
    at_low, at_high = _ratio(low, log_mass), _ratio(high, log_mass)
    slope = at_low - at_high
    bend = slope**2 - (_times(low, at_low) - _times(high, at_high))
    bend = np.clip(bend, 1e-6, None)
    return bend / sd**2, mean + sd * slope / bend


def _times(bound: Floats, ratio: Floats) -> Floats:
    return np.where(np.isfinite(bound), bound, 0.0) * ratio


def _ratio(bound: Floats, log_mass: Floats) -> Floats:
    """Density at a bound over the mass between the bounds; 0 where the bound is infinite."""
    with np.errstate(over="ignore", invalid="ignore"):
        return np.where(np.isfinite(bound), np.exp(-0.5 * bound**2 - 0.5 * np.log(2 * np.pi) - log_mass), 0.0)


def _log_mass(low: Floats, high: Floats) -> Floats:
    """log(Phi(high) - Phi(low)), from the tail where it loses nothing."""
    turned = low > 0
    a, b = np.where(turned, -high, low), np.where(turned, -low, high)
    top, bottom = log_ndtr(b), log_ndtr(a)
    return np.asarray(top + np.log1p(-np.exp(np.minimum(bottom - top, -1e-12))))
