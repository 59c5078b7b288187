"""How well passes that meet agree: statistics, the pass that disagrees, and the orders of S-44 as a yardstick."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lakemap.geo.pass_bias import LEAST_SIGMA_M, solve_pass_bias
from lakemap.model.agreement import Agreement, Disagreeing
from lakemap.model.crossovers import Crossovers
from lakemap.model.soundings import NO_PASS, PassBias, Soundings
from lakemap.units import length_slot, plural

Floats = NDArray[np.float64]

S44_ORDERS: dict[str, tuple[float, float]] = {
    "Exclusive": (0.15, 0.0075), "Special": (0.25, 0.0075), "Order 1a/1b": (0.5, 0.013), "Order 2": (1.0, 0.023),
}
"""a [m] and b of the largest allowed error of a depth, sqrt(a^2 + (b d)^2) at 95 %: IHO S-44 ed. 6.1.0, table 1. Taken
as a plain yardstick; nothing here is a survey of any order."""
KEPT_SHARE = 0.95
"""An order's allowance holds at 95 %."""
STANDS_OUT_M, STANDS_OUT_SIGMAS, STANDS_OUT_SPREADS = 0.15, 3.0, 2.5
"""A pass stands out when it is off by all three: metres, its own standard error, and the spread of all passes."""
SCATTERS, LEAST_CROSSED = 3.0, 5
"""So does one whose differences, against what their errors claim, stay this many times larger than usual once its
constant error is off."""
MEDIAN_OF_NORMAL = 0.6745
MOST_NAMED = 5
MAD_TO_SIGMA = 1.4826


def allowance_m(order: str, depth_m: Floats) -> Floats:
    """Largest allowed error of a depth at 95 % by an order of S44_ORDERS [m]; depth_m (n,)."""
    a, b = S44_ORDERS[order]
    return np.hypot(a, b * depth_m)


def agreement_of(soundings: Soundings, crossed: Crossovers, bias: PassBias | None = None) -> Agreement:
    """Agreement of passes from crossovers whose depths still carry their passes' ``bias``; None: solved here."""
    bias = solve_pass_bias(crossed) if bias is None else bias
    left = crossed.difference_m - bias_difference(crossed, bias)
    depth_m = soundings.depth_m[crossed.row_a.astype(np.int64)]
    limit = {name: np.sqrt(2.0) * allowance_m(name, depth_m) for name in S44_ORDERS}
    passes = np.unique(soundings.pass_id[soundings.pass_id != NO_PASS])
    met = np.unique(np.concatenate([crossed.pass_a, crossed.pass_b]))
    return Agreement(
        len(crossed), crossed.median_abs_m, crossed.rms_m, _median(np.abs(left)),
        float(np.sqrt(np.mean(left**2))) if len(left) else float("nan"),
        tuple((name, float(np.mean(np.abs(left) <= most))) for name, most in limit.items()) if len(left) else (),
        _disagreeing(soundings, crossed, bias, left), len(passes), int(np.count_nonzero(~np.isin(passes, met))),
    )


def bias_difference(crossed: Crossovers, bias: PassBias) -> Floats:
    """What the passes' constant errors make of each difference (k,); passes without one count as right."""
    table = dict(zip(bias.pass_id.tolist(), bias.bias_m.tolist(), strict=True))
    a, b = (np.array([table.get(number, 0.0) for number in side.tolist()]) for side in (crossed.pass_a, crossed.pass_b))
    return np.asarray(a - b, dtype=np.float64)


def with_bias(crossed: Crossovers, bias: PassBias) -> Crossovers:
    """Crossovers as they were before the passes' constant errors were taken off."""
    return replace(crossed, difference_m=crossed.difference_m + bias_difference(crossed, bias))


def _median(values: Floats) -> float:
    return float(np.median(values)) if len(values) else float("nan")


def _disagreeing(
    soundings: Soundings, crossed: Crossovers, bias: PassBias, left: Floats
) -> tuple[Disagreeing, ...]:
    """The passes that stand out, the farthest off first."""
    if not len(crossed) or not len(bias.pass_id):
        return ()
    spread = MAD_TO_SIGMA * _median(np.abs(bias.bias_m - np.median(bias.bias_m)))
    size = np.abs(left) / np.maximum(np.nan_to_num(crossed.sigma_m), LEAST_SIGMA_M)
    found = []
    for number, off, sigma in zip(bias.pass_id.tolist(), bias.bias_m.tolist(), bias.sigma_m.tolist(), strict=True):
        its = (crossed.pass_a == number) | (crossed.pass_b == number)
        own = np.abs(left[its])
        far = abs(off) > max(STANDS_OUT_M, STANDS_OUT_SIGMAS * sigma, STANDS_OUT_SPREADS * spread)
        odd = _median(size[its]) > SCATTERS * max(_median(size), MEDIAN_OF_NORMAL)
        scatters = len(own) >= LEAST_CROSSED and odd and _median(own) > STANDS_OUT_M
        if far or scatters:
            found.append((-max(abs(off), _median(own)), number, off, sigma, own))
    return tuple(
        Disagreeing(number, *_log_and_time(soundings, number), off, sigma, len(own), _median(own))
        for _, number, off, sigma, own in sorted(found, key=lambda one: one[:2])
    )


def _log_and_time(soundings: Soundings, number: int) -> tuple[str, str]:
    first = int(np.flatnonzero(soundings.pass_id == number)[0])
    stamp = soundings.time_utc[first]
    when = "" if np.isnat(stamp) else str(stamp.astype("datetime64[m]")).replace("T", " ")
    return soundings.logs[int(soundings.log[first])].name, when


def disagreement_said(agreement: Agreement) -> tuple[str, ...]:
    """What a reader must know: which passes stand out, and that nothing watches over passes that none crosses."""
    said = []
    for one in agreement.disagreeing[:MOST_NAMED]:
        when = f" of {one.time} UTC" if one.time else ""
        named, way = f"{one.log}: pass {one.pass_id}{when}", "deeper" if one.off_m > 0 else "shallower"
        if abs(one.off_m) < STANDS_OUT_M:
            said.append(f"{named} goes up and down against those that cross it, by {length_slot(one.left_m)} in the "
                        f"median of {one.crossed} crossovers: look at it")
            continue
        said.append(
            f"{named} lies {length_slot(abs(one.off_m))} {way} than those that cross it, "
            f"give or take {length_slot(one.sigma_m, 2)} ({plural(one.crossed, 'crossover')}; once "
            f"that is taken off, {length_slot(one.left_m, 2)} is left in the median)"
        )
    more = len(agreement.disagreeing) - MOST_NAMED
    if more > 0:
        said.append(f"{more} more passes stand out against those that cross them")
    if agreement.uncrossed:
        said.append(
            f"{agreement.uncrossed} of {agreement.passes} passes are crossed by none: a lock on the second echo or "
            "on a layer over the whole of such a pass cannot be seen; a line across would show it"
        )
    return tuple(said)
