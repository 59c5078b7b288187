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

LEAST_SHARE = 0.15
"""The rough shape's size at the shore, as a share of that in open water (tried on flooded terrain)."""
DETAIL_FROM_M = 10.0
"""Distance to the shore at which the short detail has its full size (tried on invented lakes)."""
TREND_LENGTHS = (0.06, 0.2, 0.6, 2.0)
"""Lengths of the trend's columns as shares of the lake's widest distance to the shore (tried on flooded terrain)."""
TREND_MEAN, TREND_SD = 0.9, 0.6
"""Prior of a trend coefficient as a share of the mean depth (tried on flooded terrain)."""
SHORE_SD = 0.3
"""Prior standard deviation of the depth right at the shore, as a share of the mean depth; its mean is 0."""
CONSTANT_SD = 100.0
"""Prior standard deviation of a plain mean, in standard deviations of the readings: says nothing."""
DEPTH_NOISE = 0.01
"""Share of its depth that a sounding errs by besides its own error."""


@dataclass(frozen=True)
class FieldParameters:
    """``rough_sd`` and ``rough_m`` of f, ``detail_sd`` and ``detail_m`` (kappa h = sqrt(8) h / detail_m) of g,
    ``noise`` of every reading, ``shore_m`` over which f grows from the shore; sd in the reading's unit."""

    rough_sd: float
    rough_m: float
    detail_sd: float
    detail_m: float
    noise: float
    shore_m: float

    @classmethod
    def of_logs(cls, logs: Floats) -> Self:
        """From the logarithms (6,) of the fields in their order."""
        return cls(*np.exp(logs).tolist())

    def logs(self) -> Floats:
        """Logarithms of the fields in their order (6,)."""
        return np.log([getattr(self, spec.name) for spec in fields(self)])


def matern(scaled: Floats) -> Floats:
    """Matern correlation with nu = 1 at kappa h, any shape: x K1(x)."""
    x = np.maximum(scaled, 1e-8)
    return np.asarray(x * k1(x))


def matern_slope(scaled: Floats) -> Floats:
    """x times the derivative of ``matern`` at x = kappa h: -x^2 K0(x)."""
    x = np.maximum(scaled, 1e-8)
    return np.asarray(-x * x * k0(x))


def shape_growth(distance_m: Floats, shore_m: float) -> Floats:
    """A(d): size of the rough shape; 1 everywhere where no shore is known (d infinite)."""
    return np.maximum(1.0 - np.exp(-distance_m / shore_m), LEAST_SHARE)


def cascade_sds(rough_sd: float) -> Floats:
    """Standard deviation of each field of the cascade (3,), the longest first."""
    return np.asarray(rough_sd * np.sqrt(CASCADE_WEIGHT))


def cascade_ranges(rough_m: float) -> tuple[float, ...]:
    """Range sqrt(8) / kappa of each field of the cascade [m]."""
    return tuple(float(np.sqrt(8.0)) * rough_m / kappa for kappa in CASCADE_KAPPA)


def detail_growth(distance_m: Floats) -> Floats:
    """R(d): size of the short detail."""
    return np.minimum(distance_m / DETAIL_FROM_M, 1.0)


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
    def constant(cls, typical: float, spread: float) -> Self:
        """A mean about which nothing is known beforehand."""
        return cls(0.0, np.array([typical]), np.array([CONSTANT_SD * max(spread, 1e-3)]))

    def columns(self, distance_m: Floats) -> Floats:
        """H at each place (n, k)."""
        if self.widest_m <= 0:
            return np.ones((len(distance_m), 1))
        lengths = self.widest_m * np.array(TREND_LENGTHS)
        return np.column_stack([1.0 - np.exp(-distance_m[:, None] / lengths), np.ones(len(distance_m))])
