"""Variogram models: nugget plus one or more structures. Half the mean squared difference of two readings, by lag."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

EXPONENTIAL_95 = 3.0
"""An exponential has made 95.02 % of its rise at three e-folding lengths: the usual practical range."""

MATERN_95 = 4.743865
"""Root of (1 + s) exp(-s) = 0.05: where a Matern structure with nu = 3/2 has made 95 % of its rise."""

SUPPORTED_SHARE = 0.5
"""Beyond the lag where gamma is half the sill, one reading tells no more of a place than the mean of all (the variance
of its difference, 2 gamma, equals the sill)."""


def _spherical(share: Floats) -> Floats:
    near = np.minimum(share, 1.0)
    return np.asarray(near * (1.5 - 0.5 * near * near))


def _exponential(share: Floats) -> Floats:
    return np.asarray(1.0 - np.exp(-EXPONENTIAL_95 * share))


def _matern(share: Floats) -> Floats:
    scaled = MATERN_95 * share
    return np.asarray(1.0 - (1.0 + scaled) * np.exp(-scaled))


def _linear(share: Floats) -> Floats:
    return share


SHAPES: dict[str, Callable[[Floats], Floats]] = {
    "spherical": _spherical, "exponential": _exponential, "matern": _matern, "linear": _linear,
}
"""Share of a structure's rise made at lag / range (Cressie 1993, Statistics for Spatial Data, section 2.3; Matern with
nu = 3/2). The linear one has no end: it makes its partial sill once in each range."""


@dataclass(frozen=True)
class Structure:
    """One rise of the variogram: its shape, its height [unit squared], and the range [m] at which it is (95 %) made."""

    shape: str
    partial_sill: float
    range_m: float

    def rise(self, lag_m: Floats) -> Floats:
        """Its part of gamma at each lag, any shape of array."""
        return np.asarray(self.partial_sill * SHAPES[self.shape](lag_m / self.range_m))


@dataclass(frozen=True)
class Variogram:
    """``nugget`` [unit squared] and the structures above it."""

    nugget: float
    structures: tuple[Structure, ...]

    @classmethod
    def single(cls, shape: str, nugget: float, partial_sill: float, range_m: float) -> Variogram:
        """A model with one structure."""
        return cls(nugget, (Structure(shape, partial_sill, range_m),))

    def rise(self, lag_m: Floats) -> Floats:
        """Gamma without the nugget at each lag, any shape of array."""
        total = np.zeros_like(lag_m)
        for structure in self.structures:
            total += structure.rise(lag_m)
        return total

    def gamma(self, lag_m: Floats) -> Floats:
        """Gamma at each lag; 0 at lag 0, nugget and rise beyond."""
        return np.where(lag_m > 0, self.nugget + self.rise(lag_m), 0.0)

    @property
    def partial_sill(self) -> float:
        """Height of all structures together."""
        return sum(structure.partial_sill for structure in self.structures)

    @property
    def bounded(self) -> bool:
        """Whether there is a sill at all."""
        return all(structure.shape != "linear" for structure in self.structures)

    @property
    def range_m(self) -> float:
        """Lag [m] where gamma has made 95 % of its rise; the structure's own range where there is only one."""
        longest = max(structure.range_m for structure in self.structures)
        if len(self.structures) == 1 or self.partial_sill <= 0:
            return longest
        lags = np.linspace(0.0, longest, 401)
        made = self.rise(lags) >= 0.95 * self.partial_sill
        return float(lags[np.argmax(made)]) if made.any() else longest

    @property
    def supported_m(self) -> float:
        """Lag [m] where gamma has made SUPPORTED_SHARE of its way to the sill: readings farther away say too little."""
        lags = np.linspace(0.0, max(structure.range_m for structure in self.structures), 801)
        made = self.nugget + self.rise(lags) >= SUPPORTED_SHARE * (self.nugget + self.partial_sill)
        made[0] = False
        return float(lags[np.argmax(made)]) if made.any() else float(lags[-1])
