"""The constant error of each pass, by least squares on crossovers with a prior that holds a lone pass at zero."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.linalg import cho_factor, cho_solve
from scipy.sparse.linalg import splu
from threadpoolctl import threadpool_limits

from lakemap.model.crossovers import Crossovers
from lakemap.model.soundings import PassBias

Floats = NDArray[np.float64]

PRIOR_SIGMA_M = 0.15
"""What a pass's bias usually is (heave, trim, level, sounder settings); common practice of the trade."""
LEAST_SIGMA_M = 0.02
"""No crossover is trusted beyond this: the two passes never cross at exactly one place."""
HUBER_SIGMAS = 1.5
"""Differences beyond this many standard errors weigh less (Huber 1964)."""
ROUNDS = 8
DENSE_LIMIT = 3000


def solve_pass_bias(crossovers: Crossovers, prior_sigma_m: float = PRIOR_SIGMA_M) -> PassBias:
    """Bias of every pass that crosses another, and its standard error, shapes (k,).

    Minimises sum(w (difference - (b_a - b_b))^2 / sigma^2) + sum(b^2) / prior^2; the prior has mean zero, so
    no constant is invented. Errors of single crossovers are scaled to the scatter that is left (never below
    what they claim), weights w after Huber.
    """
    if len(crossovers) == 0:
        return PassBias.none()
    passes, codes = np.unique(np.concatenate([crossovers.pass_a, crossovers.pass_b]), return_inverse=True)
    a, b = codes[: len(crossovers)], codes[len(crossovers):]
    sigma = np.maximum(crossovers.sigma_m, LEAST_SIGMA_M)
    bias, weight, scale = np.zeros(len(passes)), np.ones(len(crossovers)), 1.0
    for _ in range(ROUNDS):
        normal, right = _normal_equations(a, b, crossovers.difference_m, weight / (scale * sigma) ** 2, len(passes))
        bias = _solve(normal, right, prior_sigma_m)
        residual = (crossovers.difference_m - (bias[a] - bias[b])) / sigma
        scale = max(1.0, 1.4826 * float(np.median(np.abs(residual))))
        size = np.abs(residual) / scale
        weight = np.minimum(1.0, HUBER_SIGMAS / np.maximum(size, 1e-12))
    return PassBias(passes.astype(np.int32), bias, _standard_errors(normal, prior_sigma_m))


def _normal_equations(
    a: NDArray[np.intp], b: NDArray[np.intp], difference: Floats, weight: Floats, k: int
) -> tuple[sparse.csc_matrix, Floats]:
    rows = np.concatenate([a, b, a, b])
    columns = np.concatenate([a, b, b, a])
    values = np.concatenate([weight, weight, -weight, -weight])
    normal = sparse.coo_matrix((values, (rows, columns)), shape=(k, k)).tocsc()
    right: Floats = (np.bincount(a, weight * difference, k) - np.bincount(b, weight * difference, k)).astype(np.float64)
    return normal, right


def _with_prior(normal: sparse.csc_matrix, prior_sigma_m: float) -> sparse.csc_matrix:
    return (normal + sparse.identity(normal.shape[0]) / prior_sigma_m**2).tocsc()


def _solve(normal: sparse.csc_matrix, right: Floats, prior_sigma_m: float) -> Floats:
    with threadpool_limits(1):
        return np.asarray(splu(_with_prior(normal, prior_sigma_m)).solve(right))


def _standard_errors(normal: sparse.csc_matrix, prior_sigma_m: float) -> Floats:
    """Square root of the inverse's diagonal; beyond DENSE_LIMIT passes the cautious bound from the prior alone."""
    k = normal.shape[0]
    if k > DENSE_LIMIT:
        return np.full(k, prior_sigma_m)
    # one thread: the last bits of a product depend on how it is shared out
    with threadpool_limits(1):
        factor = cho_factor(_with_prior(normal, prior_sigma_m).toarray())
        return np.sqrt(np.diag(cho_solve(factor, np.eye(k))))
