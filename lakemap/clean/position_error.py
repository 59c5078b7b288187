"""The error of positions as it is: what a usual receiver errs by, how coarsely the log writes it, and what passes that
meet on slopes show of it.

A usual receiver is off by 2 to 5 m (common practice of the trade), drifting over minutes. Where passes meet on a slope
g, depths differ by g times the error of both fixes on top of the noise of single readings: that tells the error of each
log's fixes, from what is usual towards what the meetings say, the more of them there are.
"""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import NDArray

from lakemap.clean.latency_fit import MEMORY_S
from lakemap.clean.settings import CleanSettings
from lakemap.geo.meetings import Meetings
from lakemap.geo.pass_bias import LEAST_SIGMA_M, solve_pass_bias
from lakemap.model.crossovers import Crossovers
from lakemap.model.soundings import Soundings

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

M_PER_DEGREE = 111_195.0
"""Of latitude, on a sphere of 6371 km: near enough for a rounding step."""
DECIMALS = (2, 3, 4, 5, 6)
"""Decimals of degrees looked for, and of minutes two fewer; finer steps are below any receiver's error."""
ON_STEP = 0.02
"""A value counts as on a step when it is off by at most this share of it."""
LEAST_ROWS = 20
TRIED_M = np.geomspace(0.5, 20.0, 61)
"""No receiver that does not say so itself is better than half a metre (common practice of the trade)."""
USUAL_FACTOR = 2.0
"""How far, as a factor, receivers differ from what is usual (one standard deviation of the logarithm)."""
HUBER = 2.0
SLOPE = 0.01
"""Meetings on a flatter floor say nothing of positions."""


def rounding_step_m(lon_deg: Floats, lat_deg: Floats) -> float:
    """The step in which positions (n,) were written, in metres of latitude; 0 where it is finer than DECIMALS.

    Looks for decimals of degrees and of minutes in both coordinates; interpolated positions show no step.
    """
    known = np.isfinite(lon_deg) & np.isfinite(lat_deg)
    both = np.column_stack([lon_deg[known], lat_deg[known]])
    if len(both) < LEAST_ROWS:
        return 0.0
    steps = [10.0**-decimals for decimals in DECIMALS] + [10.0 ** (2 - decimals) / 60.0 for decimals in DECIMALS]
    for step in sorted(steps, reverse=True):
        part = both / step
        if (np.abs(part - np.round(part)) <= ON_STEP).all(axis=1).mean() > 0.99:
            return float(step * M_PER_DEGREE)
    return 0.0


def usual_place_sigma_m(soundings: Soundings, settings: CleanSettings) -> Floats:
    """Error of a fix along one axis for each log (logs,), before any meeting was asked: what the log says of itself
    (the median), or what is usual, with the rounding of its positions (step over the square root of 12)."""
    usual = np.full(max(len(soundings.logs), 1), settings.position_sigma_m)
    for code in range(len(soundings.logs)):
        rows = soundings.log == code
        said = soundings.position_sigma_m[rows]
        said = said[np.isfinite(said)]
        own = float(np.median(said)) if len(said) else settings.position_sigma_m
        step = rounding_step_m(soundings.lon_deg[rows], soundings.lat_deg[rows])
        usual[code] = np.hypot(own, step / np.sqrt(12.0))
    return usual


def shown_place_sigma_m(soundings: Soundings, met: Meetings, miss_m: Floats, usual_m: Floats) -> Floats:
    """Error of a fix along one axis for each log (logs,), from the differences ``miss_m`` (k,) of depths at meetings.

    The constant errors of the passes are taken out first. The likeliest value under a lognormal prior about
    ``usual_m`` is sought for all logs together, then for each with the others held.
    """
    told = np.isfinite(miss_m + met.noise_m + met.gx + met.gy) & (np.hypot(met.gx, met.gy) > SLOPE)
    met, miss = met.take(told), miss_m[told]
    if len(met) == 0:
        return usual_m
    log_a, log_b = soundings.log[met.row_a], soundings.log[met.row_b]
    slope = np.hypot(met.gx, met.gy)
    left = miss - _bias_difference(soundings, met, miss, slope * np.hypot(usual_m[log_a], usual_m[log_b]))
    noise = np.hypot(met.noise_m, LEAST_SIGMA_M)
    alike = np.where(log_a == log_b, np.exp(-np.abs(met.at_a - met.at_b) / MEMORY_S), 0.0)

    def loss(sigma_m: Floats, factor: float, of: Bools) -> float:
        a, b = sigma_m[log_a[of]], sigma_m[log_b[of]]
        total = np.sqrt(noise[of] ** 2 + slope[of] ** 2 * (a**2 + b**2 - 2 * alike[of] * a * b))
        size = np.abs(left[of]) / total
        misfit = np.where(size < HUBER, size**2 / 2, HUBER * size - HUBER**2 / 2)
        return float(np.sum(misfit + np.log(total)) + np.log(factor) ** 2 / (2 * np.log(USUAL_FACTOR) ** 2))

    everywhere = np.ones(len(met), dtype=bool)
    factors = TRIED_M / float(np.median(usual_m))
    together = usual_m * factors[np.argmin([loss(usual_m * factor, factor, everywhere) for factor in factors])]
    found = together.copy()
    for code in np.unique(np.concatenate([log_a, log_b])).tolist():
        own = np.arange(len(usual_m)) == code
        tried = [loss(np.where(own, together * f, together), f, (log_a == code) | (log_b == code)) for f in factors]
        found[code] = together[code] * factors[np.argmin(tried)]
    return np.asarray(np.maximum(found, np.minimum(usual_m, TRIED_M[0])))


def _bias_difference(soundings: Soundings, met: Meetings, miss: Floats, place_m: Floats) -> Floats:
    """What the passes' constant errors explain of each difference (k,)."""
    zero = np.zeros(len(met))
    crossed = Crossovers(
        met.row_a, met.row_b, soundings.pass_id[met.row_a], soundings.pass_id[met.row_b], zero, zero, miss,
        np.hypot(met.noise_m, place_m),
    )
    bias = solve_pass_bias(crossed)
    table = np.zeros(int(bias.pass_id.max()) + 1)
    table[bias.pass_id] = bias.bias_m
    return np.asarray(table[crossed.pass_a] - table[crossed.pass_b])


def with_place_sigma(soundings: Soundings, usual_m: Floats, found_m: Floats) -> Soundings:
    """Fill ``position_sigma_m``: what the log said of each row, scaled as the meetings show; else the log's own."""
    own = soundings.position_sigma_m.astype(np.float64)
    factor = (found_m / usual_m)[soundings.log]
    place = np.where(np.isfinite(own), own * factor, found_m[soundings.log])
    return dataclasses.replace(soundings, position_sigma_m=place.astype(np.float32))
