"""How late depths come behind fixes, from places met twice: generalised least squares with the errors that meetings
of one pass share.

The model. A depth that comes out L seconds after its ping was taken v L behind where the fix puts it, so the true depth
along a straight pass is the one shown L later. Where two passes meet, z_a(t_a + L_a) - z_b(t_b + L_b) = b_a - b_b +
g . (e_a - e_b) + noise: constant errors b of the passes, errors e of the fixes along the floor's gradient g, which
stay alike for a minute or two, and noise of single readings. L is found by Gauss and Newton's steps, its standard
error from the same covariance, so that many meetings under one wandering fix do not count as many.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from threadpoolctl import threadpool_limits

from lakemap.geo.meetings import Meetings, Sailed
from lakemap.geo.pass_bias import LEAST_SIGMA_M, PRIOR_SIGMA_M
from lakemap.model.soundings import Soundings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MOST = 800
"""So many meetings, those that tell most; more would cost the cube of their number and gain the root."""
LEAST = 12
"""Fewer meetings tell nothing: their scatter cannot be judged."""
MEMORY_S = 90.0
"""How long the error of a fix stays alike, as exp(-t / MEMORY_S); a usual receiver's drifts over minutes (common
practice of the trade)."""
ROUNDS = 4
STEP_S, CLOSE_S = 2.0, 0.002
"""Longest step of one round, and the one from which on it is close enough."""
HUBER = 2.0
"""Meetings farther off than this many standard errors weigh less (Huber 1964)."""


@dataclass(frozen=True)
class Late:
    """Latency of each log [s] with its standard error, NaN where nothing tells it; meetings used for each (k,)."""

    latency_s: Floats
    sigma_s: Floats
    meetings: Ints


def fit_latency(soundings: Soundings, met: Meetings, sailed: Sailed, place_sigma_m: Floats) -> Late:
    """Latency of each log, all at once; ``place_sigma_m`` (logs,) is the error of a fix along one axis.

    Latencies that were known before are already in the depths' places: what is found is what is left.
    """
    count = max(len(soundings.logs), 1)
    met = _most_telling(soundings, met, place_sigma_m)
    log_a, log_b = soundings.log[met.row_a], soundings.log[met.row_b]
    used = np.bincount(log_a, minlength=count) + np.bincount(log_b, minlength=count)
    latency, sigma = np.full(count, np.nan), np.full(count, np.nan)
    told = np.flatnonzero(used >= LEAST)
    if len(told) == 0:
        return Late(latency, sigma, used)
    column = np.full(count, -1)
    column[told] = np.arange(len(told))
    with threadpool_limits(1):
        found, error = _solved(soundings, met, sailed, place_sigma_m, column)
    latency[told], sigma[told] = found, error
    return Late(latency, sigma, used)


def _most_telling(soundings: Soundings, met: Meetings, place_sigma_m: Floats) -> Meetings:
    """At most MOST meetings, those whose depths change most against their error."""
    place = np.hypot(place_sigma_m[soundings.log[met.row_a]], place_sigma_m[soundings.log[met.row_b]])
    error = np.hypot(met.noise_m, np.hypot(met.gx, met.gy) * place) + LEAST_SIGMA_M
    own = soundings.log[met.row_a] == soundings.log[met.row_b]
    change = np.where(own, np.abs(met.rate_a - met.rate_b), np.hypot(met.rate_a, met.rate_b))
    telling = np.where(np.isfinite(change + error), change / error, -1.0)
    chosen = np.lexsort((np.arange(len(met)), -telling))[:MOST]
    return met.take(np.sort(chosen[telling[chosen] >= 0]))


def _solved(
    soundings: Soundings, met: Meetings, sailed: Sailed, place_sigma_m: Floats, column: Ints
) -> tuple[Floats, Floats]:
    """Latency and its standard error (k,) for the logs that have a column."""
    design = _design(soundings, met, column)
    log_a, log_b = column[soundings.log[met.row_a]], column[soundings.log[met.row_b]]
    shared = _shared(soundings, met, place_sigma_m)
    found, weight = np.zeros(design.shape[1]), np.ones(len(met))
    error = np.full(len(found), np.nan)
    for _ in range(ROUNDS):
        late = np.append(found, 0.0)
        miss = sailed.depth_at(met.at_a + late[log_a]) - sailed.depth_at(met.at_b + late[log_b])
        there = np.isfinite(miss)
        if there.sum() < LEAST:
            return np.full(len(found), np.nan), error
        own = np.hypot(met.noise_m, LEAST_SIGMA_M)[there] ** 2 / weight[there]
        factor = cho_factor(shared[np.ix_(there, there)] + np.diag(own))
        x, d = design[there], miss[there]
        normal = x.T @ cho_solve(factor, x) + 1e-9 * np.eye(len(found))
        step = -np.linalg.solve(normal, x.T @ cho_solve(factor, d))
        left = d + x @ step
        solved = cho_solve(factor, left)
        chi2 = float(left @ solved) / max(there.sum() - len(found), 1)
        weight[there] = _weights(solved * own / np.sqrt(own))
        found = found + np.clip(step, -STEP_S, STEP_S)
        error = np.sqrt(np.diag(np.linalg.inv(normal)) * max(1.0, chi2))
        if np.abs(step).max() < CLOSE_S:
            break
    return found, error


def _weights(size: Floats) -> Floats:
    return np.minimum(1.0, HUBER / np.maximum(np.abs(size), 1e-9))


def _design(soundings: Soundings, met: Meetings, column: Ints) -> Floats:
    """How each difference changes with each log's latency (m, k) [m/s]."""
    design = np.zeros((len(met), int(column.max()) + 1))
    here = np.arange(len(met))
    for row, rate, sign in ((met.row_a, met.rate_a, 1.0), (met.row_b, met.rate_b, -1.0)):
        of = column[soundings.log[row]]
        known = of >= 0
        np.add.at(design, (here[known], of[known]), sign * rate[known])
    return design


def _shared(soundings: Soundings, met: Meetings, place_sigma_m: Floats) -> Floats:
    """Covariance (m, m) of what meetings share: their passes' constant errors and the slow error of the fixes."""
    total = np.zeros((len(met), len(met)))
    alike = np.outer(met.gx, met.gx) + np.outer(met.gy, met.gy)
    sides = ((met.row_a, met.at_a, 1.0), (met.row_b, met.at_b, -1.0))
    for row, at, sign in sides:
        for other, at_other, sign_other in sides:
            same = soundings.pass_id[row][:, None] == soundings.pass_id[other][None, :]
            own = soundings.log[row][:, None] == soundings.log[other][None, :]
            fix = place_sigma_m[soundings.log[row]][:, None] ** 2 * np.exp(
                -np.abs(at[:, None] - at_other[None, :]) / MEMORY_S
            )
            total += sign * sign_other * (same * PRIOR_SIGMA_M**2 + own * fix * alike)
    return total
