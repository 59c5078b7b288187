"""One field solved from readings on one lattice: mean, errors, pass biases, draws, and what it says of readings held
back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from lakemap.grid.field_system import Design, Posterior
from lakemap.grid.field_weights import doubt, interval_terms, left_out, plain_start
from lakemap.model.soundings import PassBias

Floats = NDArray[np.float64]
Index = NDArray[np.int64]

NEWTON_ROUNDS = 8
"""At most so many steps to the mode where readings are censored."""
STILL = 1e-3
"""No further step where no censored reading's mean moves by more than this share of its error."""


@dataclass(frozen=True)
class Readings:
    """Places (n, 2), values, variance of each reading's own error, pass, distance to the shore; bounds of censored
    ones, both NaN elsewhere."""

    xy: Floats
    value: Floats
    variance: Floats
    pass_id: NDArray[np.int32]
    distance_m: Floats
    lower: Floats
    upper: Floats

    @cached_property
    def censored(self) -> NDArray[np.bool_]:
        """Which readings (n,) are known by their bounds alone."""
        return ~(np.isnan(self.lower) & np.isnan(self.upper))


class FieldSolution:
    """The unknowns of ``design`` after ``readings``; ``bias`` (passes,) is what is expected of the passes' biases."""

    def __init__(self, design: Design, readings: Readings, robust: bool = True) -> None:
        self.design, self._readings = design, readings
        # one thread: the last bits of a product depend on how it is shared out
        with threadpool_limits(1):
            self._prepare()
            self._solve(robust)

    def _prepare(self) -> None:
        design, r = self.design, self._readings
        self._rows = design.rows(r.xy, r.distance_m, r.pass_id)
        middles = design.lattice.middles()
        self._pattern, self._prior = design.pattern(self._rows, design.rows(middles, np.full(len(middles), 100.0)))
        first = design.lattice.count
        self._expected = np.concatenate([np.zeros(first), design.trend.mean, design.bias_mean])
        self._base = self._rows @ self._expected

    def _solve(self, robust: bool) -> None:
        r = self._readings
        usual = 1.0 / r.variance
        self._weight, self._target = usual.copy(), r.value.copy()
        start = plain_start(r.xy, r.value, np.sqrt(r.variance)) | r.censored if robust else np.ones(len(usual), bool)
        self._weight[~start] = 0.0
        self.posterior = self._given(self._weight)
        if r.censored.any():
            self._to_mode()
        if robust and len(usual) > 1:
            self._doubt(usual)

    def _doubt(self, usual: Floats) -> None:
        """Weigh gross errors down; solve again where that changes anything."""
        r = self._readings
        variance = self.posterior.variance(self._rows)
        miss, sd = left_out(r.value - self.said(), variance, self._weight, r.variance)
        weight = np.where(r.censored, self._weight, usual * doubt(miss, sd))
        if not np.allclose(weight, self._weight, rtol=0.1):
            self._weight = weight
            self.posterior = self._given(weight)

    def _to_mode(self) -> None:
        """Newton's steps for the censored readings."""
        r = self._readings
        rows = np.flatnonzero(r.censored)
        sd = np.sqrt(r.variance[rows])
        lower = np.where(np.isnan(r.lower[rows]), -np.inf, r.lower[rows])
        upper = np.where(np.isnan(r.upper[rows]), np.inf, r.upper[rows])
        before = self.said()[rows]
        for _ in range(NEWTON_ROUNDS):
            self._weight[rows], self._target[rows] = interval_terms(before, lower, upper, sd)
            self.posterior = self._given(self._weight)
            after = self.said()[rows]
            if np.abs((after - before) / sd).max() < STILL:
                break
            before = after

    def _given(self, weight: Floats) -> Posterior:
        return Posterior(self._pattern, self._prior, self._rows, self._target - self._base, weight)

    def said(self) -> Floats:
        """Mean at the readings (n,), their pass's bias included."""
        return np.asarray(self._base + self._rows @ self.posterior.mean)

    def predict(self, xy: Floats, distance_m: Floats) -> tuple[Floats, Floats]:
        """Mean and standard error (m,) at places (m, 2) with distances to the shore (m,)."""
        return self._told(self.posterior, xy, distance_m)

    def _told(self, posterior: Posterior, xy: Floats, distance_m: Floats) -> tuple[Floats, Floats]:
        rows = self.design.rows(xy, distance_m)
        with threadpool_limits(1):
            return rows @ (self._expected + posterior.mean), np.sqrt(posterior.variance(rows))

    def without(self, held: Sequence[Index], asked: Sequence[Index]) -> list[tuple[Floats, Floats]]:
        """Mean and standard error at the readings ``asked`` of each group, with all rows ``held`` left out at once."""
        weight = self._weight.copy()
        weight[np.concatenate(held)] = 0.0
        with threadpool_limits(1):
            posterior = self._given(weight)
        rows = np.concatenate(asked)
        mean, sd = self._told(posterior, self._readings.xy[rows], self._readings.distance_m[rows])
        ends = np.cumsum([len(part) for part in asked])[:-1]
        return list(zip(np.split(mean, ends), np.split(sd, ends), strict=True))

    def pass_bias(self) -> PassBias:
        """Bias of each pass and its standard error, the surface and all others being unknown too."""
        passes = self.design.passes
        if not len(passes):
            return PassBias.none()
        first = self.design.count - len(passes)
        block = next(self.posterior.factor.inverse_blocks())[1]
        sigma = np.sqrt(np.diag(block)[len(block) - len(passes):])
        return PassBias(passes.astype(np.int32), (self._expected + self.posterior.mean)[first:], sigma)

    def draws(self, xy: Floats, distance_m: Floats, n: int, rng: np.random.Generator) -> Floats:
        """``n`` surfaces (n, m) at places (m, 2) as likely as the readings leave them."""
        with threadpool_limits(1):
            rows = self.design.rows(xy, distance_m)
            away = self.posterior.factor.colour(rng.standard_normal((self.design.count, n)))
            return np.asarray((rows @ (away + (self._expected + self.posterior.mean)[:, None])).T)
