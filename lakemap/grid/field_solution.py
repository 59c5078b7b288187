"""One field solved from readings on one lattice: mean, errors, pass biases, draws, and what others say of some."""

from __future__ import annotations

import copy
from typing import Self

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from lakemap.grid.field_lattice import cell_number
from lakemap.grid.field_readings import Readings
from lakemap.grid.field_system import Design, Posterior
from lakemap.grid.field_weights import doubt, interval_terms, left_out, plain_start
from lakemap.model.soundings import PassBias

Floats = NDArray[np.float64]
Index = NDArray[np.int64]

NEWTON_ROUNDS = 8
"""At most so many steps to the mode where readings are censored."""
STILL = 1e-3
"""No further step where no censored reading's mean moves by more than this share of its error."""

SHARE_FROM = 0.7
"""Places share standard errors where these squares are fewer than this share of them."""


class FieldSolution:
    """The unknowns of ``design`` after ``readings``; ``robust``: readings are doubted here, else they come so."""

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
        self._target = r.value.copy()
        start = r.doubt
        if robust:
            start = np.where(plain_start(r.xy, r.value, np.sqrt(r.variance)) | r.censored, start, 0.0)
        self._weight = start / r.variance
        self.posterior = self._given(self._weight)
        if r.censored.any():
            self._to_mode()
        if robust and len(r) > 1:
            self._doubt()

    def _doubt(self) -> None:
        """Weigh gross errors down; solve again where that changes anything."""
        r = self._readings
        variance = self.posterior.variance(self._rows)
        miss, sd = left_out(r.value - self.said(), variance, self._weight, r.variance)
        weight = np.where(r.censored, self._weight, r.doubt / r.variance * doubt(miss, sd, r.xy))
        if not np.allclose(weight, self._weight, rtol=0.1):
            self._weight = weight
            self.posterior = self._given(weight)

    @property
    def doubt(self) -> Floats:
        """How far each reading is believed (n,), 1 for fully."""
        r = self._readings
        return np.where(r.censored, 1.0, self._weight * r.variance)

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
        """Mean and standard error (m,) at places (m, 2) with distances to the shore (m,).

        Where places lie closer than half a lattice step, those within one such square share a standard error.
        """
        known = self.design.lattice.covers(xy)
        if not known.all():
            mean, sd = np.full(len(xy), np.nan), np.full(len(xy), np.nan)
            if known.any():
                mean[known], sd[known] = self.predict(xy[known], distance_m[known])
            return mean, sd
        mean = self.design.mean_at(self._expected + self.posterior.mean, xy, distance_m)
        cell = np.floor(xy / (0.5 * self.design.lattice.step_m)).astype(np.int64)
        one, member = np.unique(cell_number(cell), return_index=True, return_inverse=True)[1:]
        if len(one) > SHARE_FROM * len(xy):
            one, member = np.arange(len(xy)), np.arange(len(xy))
        with threadpool_limits(1):
            sd = np.sqrt(self.posterior.variance(self.design.rows(xy[one], distance_m[one])))
        return mean, sd[member]

    def without(self, held: Index, xy: Floats, distance_m: Floats) -> tuple[Floats, Floats]:
        """Mean and standard error (m,) at places (m, 2) with the rows ``held`` left out."""
        posterior = self.less(held).posterior
        with threadpool_limits(1):
            places = self.design.rows(xy, distance_m)
            return places @ (self._expected + posterior.mean), np.sqrt(posterior.variance(places))

    def less(self, held: Index) -> Self:
        """The same design solved without the readings in rows ``held``."""
        other = copy.copy(self)
        other._weight = self._weight.copy()
        other._weight[held] = 0.0
        with threadpool_limits(1):
            other.posterior = self._given(other._weight)
        return other

    def shared(self) -> tuple[Floats, Floats, PassBias]:
        """Mean and standard error of the trend's coefficients (k,), and each pass's bias with its own; everything else
        is unknown too."""
        first, split = self.design.lattice.count, self.design.count - len(self.design.passes)
        mean = self._expected + self.posterior.mean
        block = next(self.posterior.factor.inverse_blocks())[1]
        sigma = np.sqrt(np.diag(block)[len(block) - (self.design.count - first):])
        passes = self.design.passes.astype(np.int32)
        bias = PassBias(passes, mean[split:], sigma[split - first:])
        return mean[first:split], sigma[: split - first], bias

    def draws(self, xy: Floats, distance_m: Floats, n: int, rng: np.random.Generator) -> Floats:
        """``n`` surfaces (n, m) at places (m, 2) as likely as the readings leave them."""
        with threadpool_limits(1):
            away = self.posterior.factor.colour(rng.standard_normal((self.design.count, n)))
        middle = self._expected + self.posterior.mean
        return np.array([self.design.mean_at(middle + away[:, k], xy, distance_m) for k in range(n)])
