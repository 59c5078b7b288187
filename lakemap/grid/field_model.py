"""What the field interpolator takes a lake to be: a trend by distance to the shore, a rough shape, a short detail.

z = H(d) beta + A(d) f + R(d) g + bias of the pass + noise, with d the distance to the shore. f has covariance
exp(-h / rough_m), written as three Matern fields (nu = 1), for which there is a sparse precision; g is one more.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Self

import numpy as np
from numpy.typing import NDArray
from scipy.special import k0, k1

Floats = NDArray[np.float64]

CASCADE_KAPPA = (1.272, 5.087, 20.35)
CASCADE_WEIGHT = (0.748, 0.188, 0.064)
"""exp(-x) = sum of weight * kappa x K1(kappa x) to 0.008 for all x above 0.01 (least squares, own computation)."""

DETAIL_FROM_M = 10.0
"""Distance to the shore at which the short detail has its full size (tried on invented lakes)."""
LEAST_DETAIL = 0.3
"""Size of the short detail at the shore as a share of that in open water."""
TREND_LENGTHS = (0.06, 0.2, 0.6, 2.0)
"""Lengths of the trend's columns as shares of the lake's widest distance to the shore (tried on flooded terrain)."""
TREND_MEAN, TREND_SD = 0.9, 0.6
"""Prior of a trend coefficient as a share of the mean depth (tried on flooded terrain)."""
SHORE_SD = 0.3
"""Prior standard deviation of the depth right at the shore, as a share of the mean depth; its mean is 0."""
MIDDLE_RANGE = 1.0
"""Range of the middle's own shape as a share of the lake's widest distance to the shore (tried on flooded terrain)."""
UNEVEN = (0.5, 2.0)
"""The lake's mean depth is taken to be between these shares of the readings' (own choice)."""
CONSTANT_SD = 10.0
"""Prior standard deviation of a plain mean about the readings' own, in their standard deviations: says next to nothing
(100 cost the solution ten digits, and estimates moved by a tenth of the spread when a constant was added to all)."""


@dataclass(frozen=True)
class FieldParameters:
    """``rough_sd`` and ``rough_m`` of f, ``detail_sd`` and ``detail_m`` (kappa h = sqrt(8) h / detail_m) of g,
    ``noise`` of every reading, ``shore_m`` over which f grows from the shore, ``own`` the factor on the readings' own
    errors, ``bank`` the share by which f and g are larger on the bank, ``bias_sd`` of passes, ``middle_sd`` of what the
    middle of a lake does that its banks do not show, ``at_shore`` the size of f right at the shore as a share of that
    in open water; sd in the reading's unit."""

    rough_sd: float
    rough_m: float
    detail_sd: float
    detail_m: float
    noise: float
    shore_m: float
    own: float = 1.0
    bank: float = 1e-3
    bias_sd: float = 0.15
    middle_sd: float = 1e-3
    at_shore: float = 0.05

    @classmethod
    def of_logs(cls, logs: Floats) -> Self:
        """From the logarithms (11,) of the fields in their order."""
        return cls(*np.exp(logs).tolist())

    def logs(self) -> Floats:
        """Logarithms of the fields in their order (11,)."""
        return np.log([getattr(self, spec.name) for spec in fields(self)])


def matern(scaled: Floats) -> Floats:
    """Matern correlation with nu = 1 at kappa h, any shape: x K1(x)."""
    x = np.maximum(scaled, 1e-8)
    return np.asarray(x * k1(x))


def matern_slope(scaled: Floats) -> Floats:
    """x times the derivative of ``matern`` at x = kappa h: -x^2 K0(x)."""
    x = np.maximum(scaled, 1e-8)
    return np.asarray(-x * x * k0(x))


def shape_growth(distance_m: Floats, p: FieldParameters) -> Floats:
    """A(d): size of the rough shape, 1 in open water and where no shore is known (d infinite); lakes differ most along
    their banks, ``shore_m`` off the shore. It falls all the way to the shore: what a bank does ten metres off must not
    be carried to the outline."""
    grown = 1.0 - (1.0 - p.at_shore) * np.exp(-distance_m / p.shore_m)
    return np.asarray(grown + p.bank * bank_bump(distance_m, p.shore_m))


def cascade_sds(rough_sd: float) -> Floats:
    """Standard deviation of each field of the cascade (3,), the longest first."""
    return np.asarray(rough_sd * np.sqrt(CASCADE_WEIGHT))


def cascade_ranges(rough_m: float) -> tuple[float, ...]:
    """Range sqrt(8) / kappa of each field of the cascade [m]."""
    return tuple(float(np.sqrt(8.0)) * rough_m / kappa for kappa in CASCADE_KAPPA)


def detail_growth(distance_m: Floats, shore_m: float, bank: float) -> Floats:
    """R(d): size of the short detail; more of it, too, on the bank."""
    near = np.clip(distance_m / DETAIL_FROM_M, LEAST_DETAIL, 1.0)
    return np.asarray(near * (1.0 + bank * bank_bump(distance_m, shore_m)))


def bank_bump(distance_m: Floats, shore_m: float) -> Floats:
    """x exp(1 - x) at x = d / shore_m: what a change of the bank's width does to the depth, 1 at most."""
    x = np.minimum(distance_m / shore_m, 700.0)
    return np.asarray(x * np.exp(1.0 - x))


@dataclass(frozen=True)
class Trend:
    """Columns H(d) and the prior of their coefficients; ``widest_m`` 0: one constant, for all but depth."""

    widest_m: float
    mean: Floats
    sd: Floats

    @classmethod
    def of_depth(cls, typical: float, widest_m: float, shore_zero: bool) -> Self:
        """Four columns 1 - exp(-d / L) and the depth at the shore; ``typical`` is the mean depth [m]."""
        size = max(typical, 0.1)
        shore = 1e-6 if shore_zero else SHORE_SD
        count = len(TREND_LENGTHS)
        mean, sd = np.array([TREND_MEAN] * count + [0.0]), np.array([TREND_SD] * count + [shore])
        return cls(widest_m, size * mean, size * sd)

    @classmethod
    def of_lake(cls, mean: float, sounded_m: Floats, everywhere_m: Floats, shore_zero: bool) -> Self:
        """As ``of_depth``, from the readings' mean depth and the distances to the shore of readings and of the lake: a
        boat that keeps to the bank, or to the middle, does not see the mean depth."""
        widest = float(np.quantile(everywhere_m, 0.98))
        plain = cls.of_depth(1.0, widest, shore_zero)
        seen, whole = (float(np.mean(plain.columns(at) @ plain.mean)) for at in (sounded_m, everywhere_m))
        return cls.of_depth(mean * float(np.clip(whole / max(seen, 1e-6), *UNEVEN)), widest, shore_zero)

    @property
    def typical(self) -> float:
        """The mean depth that the coefficients' prior goes by [m]."""
        return float(self.sd[0] / TREND_SD)

    @classmethod
    def constant(cls, typical: float, spread: float) -> Self:
        """A mean about which nothing is known beforehand."""
        return cls(0.0, np.array([typical]), np.array([CONSTANT_SD * max(spread, 1e-3)]))

    def columns(self, distance_m: Floats) -> Floats:
        """H at each place (n, k)."""
        if self.widest_m <= 0:
            return np.ones((len(distance_m), 1))
        lengths = self.widest_m * np.array(TREND_LENGTHS)
        return np.column_stack([1.0 - np.exp(-distance_m[:, None] / lengths), np.ones(len(distance_m))])

    def middle_share(self, distance_m: Floats) -> Floats:
        """Size of the middle's own shape (n,): 0 at the shore, 1 in the widest water, 0 without a shore."""
        if self.widest_m <= 0:
            return np.zeros(len(distance_m))
        return np.minimum(distance_m / self.widest_m, 1.0)

    def usual_slope(self, distance_m: Floats) -> Floats:
        """How steep the floor is expected to be before anything is known (n,); 0 without a shore."""
        if self.widest_m <= 0:
            return np.zeros(len(distance_m))
        slope = np.zeros(len(distance_m))
        for share, mean in zip(TREND_LENGTHS, self.mean[:-1].tolist(), strict=True):
            slope += mean / (share * self.widest_m) * np.exp(-distance_m / (share * self.widest_m))
        return slope


@dataclass(frozen=True)
class Pairs:
    """Readings at xy (n, 2) with their distance to the shore and own error (n,), and which of them are paired (k,)."""

    xy: Floats
    distance_m: Floats
    sigma: Floats
    first: NDArray[np.int64]
    second: NDArray[np.int64]

    def halves(self, values: Floats) -> tuple[Floats, Floats]:
        """A column at both ends of each pair."""
        return values[self.first], values[self.second]


def prior_gamma(p: FieldParameters, trend: Trend, pairs: Pairs) -> Floats:
    """Half the squared difference (k,) that the model expects of pairs of readings whose passes' biases are off."""
    lag = np.hypot(*np.subtract(*pairs.halves(pairs.xy)).T)
    drift = np.subtract(*pairs.halves(trend.columns(pairs.distance_m)))
    total = (drift @ trend.mean) ** 2 + ((drift * trend.sd) ** 2).sum(axis=1)
    d, root = pairs.distance_m, np.sqrt(8.0)
    middle_m = MIDDLE_RANGE * max(trend.widest_m, 1.0)
    for size, sd, same in (
        (shape_growth(d, p), p.rough_sd, np.exp(-lag / p.rough_m)),
        (detail_growth(d, p.shore_m, p.bank), p.detail_sd, matern(root * lag / p.detail_m)),
        (trend.middle_share(d), p.middle_sd, matern(root * lag / middle_m)),
    ):
        a, b = pairs.halves(size)
        total = total + sd**2 * (a**2 + b**2 - 2.0 * a * b * same)
    one, other = pairs.halves(pairs.sigma**2)
    return np.asarray(0.5 * total + p.noise**2 + 0.5 * p.own**2 * (one + other))
