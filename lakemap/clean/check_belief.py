"""What was believed of a constant or a scale before check depths spoke, and what they leave of it.

A draft that was measured is rarely wrong by centimetres, but now and then by all of it, counted twice. So each quantity
is, before, either right within its error or wrong by several of them; checks tell which, and where they cannot, the
answer lies between with an error that spans both. One quantity after another is given the normal law with the mean and
variance of its own two-fold law beside what all else says of it (expectation propagation: Minka 2001; Bishop,
Pattern Recognition and Machine Learning, 10.7).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

WRONG_SHARE = (0.5, 0.02)
"""How often a constant, and a scale, is wrong by more than its error says: every other boat's draft was never measured,
while a sound speed is a setting (own choice, on seeds 0 to 59 of tests/bench/bench_corrected.py)."""
WRONG_BY = (8.0, 6.0)
"""The standard deviation of what is wrong, in errors: a draft of 0.4 m counted twice, a speed set for salt water."""
SWEEPS = 20
"""Beliefs settle in some five; a fixed count gives the same bytes everywhere."""


@dataclass(frozen=True)
class Belief:
    """Of n quantities, constant and scale by turns: the error each has if right (n,), the one it has if wrong (n,), and
    how probable the latter is (n,)."""

    right: Floats
    wrong: Floats
    share: Floats

    @classmethod
    def of(cls, prior: Floats) -> Belief:
        """From errors of constant [m] and scale (g, 2)."""
        groups = len(prior)
        right = np.asarray(prior, dtype=np.float64).ravel()
        return cls(right, right * np.tile(WRONG_BY, groups), np.tile(WRONG_SHARE, groups))

    def beside(self, mean: Floats, precision: Floats, at: int) -> tuple[float, float]:
        """Mean and variance of quantity ``at``, of which all else says ``mean`` with ``precision``."""
        variance = np.array([self.right[at], self.wrong[at]]) ** 2
        odds = np.array([1.0 - self.share[at], self.share[at]])
        apart = variance + 1.0 / precision
        height = np.log(odds / np.sqrt(apart)) - 0.5 * mean**2 / apart
        odds = np.exp(height - height.max())
        odds /= odds.sum()
        each = 1.0 / (1.0 / variance + precision)
        middle = mean * precision * each
        whole = float(odds @ middle)
        return whole, float(odds @ (each + middle**2)) - whole**2


def after_checks(normal: Floats, right_hand: Floats, belief: Belief) -> tuple[Floats, Floats]:
    """Mean and standard error (n,) of each quantity, given the normal equations (n, n), (n,) of the checks alone.

    A quantity that they tell nothing of keeps the error that it had if right: silence makes nobody less sure.
    """
    count = len(right_hand)
    # the share of the widest variance that is left, squared: what is told at all counts as told
    silent = (np.diag(np.linalg.inv(normal + np.diag(belief.wrong**-2.0))) / belief.wrong**2) ** 2
    tau: Floats = 1.0 / ((1.0 - belief.share) * belief.right**2 + belief.share * belief.wrong**2)
    nu = np.zeros(count)
    for _ in range(SWEEPS):
        for at in range(count):
            variance = np.linalg.inv(normal + np.diag(tau))
            precision = 1.0 / variance[at, at] - tau[at]
            if precision * belief.wrong[at] ** 2 < 1e-9:
                continue
            mean = (float(variance[at] @ (right_hand + nu)) / variance[at, at] - nu[at]) / precision
            middle, spread = belief.beside(mean, precision, at)
            tau[at], nu[at] = 1.0 / spread - precision, middle / spread - mean * precision
    variance = np.linalg.inv(normal + np.diag(tau))
    error = np.sqrt((1.0 - silent) * np.diag(variance) + silent * belief.right**2)
    return np.asarray(variance @ (right_hand + nu), dtype=np.float64), np.asarray(error, dtype=np.float64)
