"""The error of a map as a field: how much of it is left when more lines are driven."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve, cholesky, solve_triangular
from scipy.spatial.distance import cdist

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MOST_NODES = 1400
"""Places at which the error is followed: their covariance is a full matrix."""
BATCH = 400
"""Observations taken in at once."""


@dataclass(frozen=True)
class Variability:
    """How depths vary: ``variance`` [m2] of the floor, ``range_m`` where its correlation has fallen to 5 %, and
    ``noise`` [m2], the variance of one place on one pass (its own error and detail finer than a node)."""

    variance: float
    range_m: float
    noise: float


@dataclass(frozen=True)
class ErrorField:
    """Covariance (n, n) [m2] of the map's error at nodes xy (n, 2); each stands for a square of ``step_m``."""

    xy: Floats
    step_m: float
    covariance: Floats
    noise: float

    @property
    def total(self) -> float:
        """Sum of the error variances [m2]."""
        return float(np.trace(self.covariance))

    @property
    def mean_sigma(self) -> float:
        """Root of the mean error variance [m]."""
        return float(np.sqrt(self.total / len(self.xy)))

    def on_line(self, start: Floats, end: Floats) -> Ints:
        """Nodes whose square a straight line passes through (start and end (2,)), in no order that matters."""
        steps = max(2, int(np.ceil(2 * np.hypot(*(end - start)) / self.step_m)) + 1)
        return self.near(start + np.linspace(0.0, 1.0, steps)[:, None] * (end - start))

    def near(self, places: Floats) -> Ints:
        """Nodes whose square holds one of the places (k, 2)."""
        low = self.xy.min(axis=0)
        mine, theirs = (np.rint((xy - low) / self.step_m).astype(np.int64) for xy in (self.xy, places))
        width = int(max(mine[:, 1].max(), theirs[:, 1].max())) + 2
        inside = (theirs >= 0).all(axis=1)
        return np.flatnonzero(np.isin(mine[:, 0] * width + mine[:, 1], (theirs[:, 0] * width + theirs[:, 1])[inside]))

    def gain(self, nodes: Ints) -> float:
        """Error variance [m2] that driving over these nodes would remove."""
        return float(np.sum(self._root(nodes) ** 2))

    def gains(self, lines: Sequence[Ints]) -> Floats:
        """``gain`` of each of many lines (k,): the covariance times itself once, then each line's own nodes alone."""
        squared = self.covariance @ self.covariance
        gains = np.empty(len(lines))
        for at, nodes in enumerate(lines):
            own = np.ix_(nodes, nodes)
            among = cho_factor(self._among(own), lower=True, overwrite_a=True)
            gains[at] = np.trace(cho_solve(among, squared[own], overwrite_b=True))
        return gains

    def loss(self, nodes: Ints) -> float:
        """Error variance [m2] that would come back if these nodes had been driven over once less."""
        return float(np.sum(self._root(nodes, -1.0) ** 2))

    def after(self, nodes: Ints) -> ErrorField:
        """The field when these nodes have been driven over once."""
        field = self
        for first in range(0, len(nodes), BATCH):
            field = field._moved(nodes[first : first + BATCH], 1.0)
        return field

    def without(self, nodes: Ints) -> ErrorField:
        """The field had these nodes, each driven over at least once, been driven over once less."""
        return self._moved(nodes, -1.0)

    def _moved(self, nodes: Ints, sign: float) -> ErrorField:
        root = self._root(nodes, sign)
        moved = root.T @ root
        moved *= -sign
        moved += self.covariance
        return replace(self, covariance=moved)

    def _root(self, nodes: Ints, sign: float = 1.0) -> Floats:
        """Root (m, n) of the covariance that observations at m nodes remove, or have removed where ``sign`` is -1.

        The latter is the same identity (Woodbury) with the observations' precision taken away.
        """
        among = self._among(np.ix_(nodes, nodes), sign)
        return np.asarray(solve_triangular(cholesky(among, lower=True), self.covariance[nodes], lower=True))

    def _among(self, own: tuple[Ints, ...], sign: float = 1.0) -> Floats:
        among = sign * self.covariance[own]
        among.flat[:: len(among) + 1] += self.noise
        return np.asarray(among)


def error_field(xy: Floats, step_m: float, floor: Variability, driven: Floats) -> ErrorField:
    """The error left by soundings at ``driven`` (k, 2): exponential covariance, unknown mean.

    Ordinary kriging's error covariance (Chiles & Delfiner 2012, ch. 3), the mean's prior wide: ten times the floor's
    variance.
    """
    covariance = floor.variance * (np.exp(-3.0 * cdist(xy, xy) / floor.range_m) + 10.0)
    field = ErrorField(xy, step_m, covariance, floor.noise)
    return field.after(field.near(driven)) if len(driven) else field
