"""A constant and a scale for each group of logs, from check depths and from where passes of different groups cross.

The model: check = sounding + offset + scale * depth below the transducer, for the group that the sounding is of; where
two groups cross, their corrected depths are one but for the errors of passes. Offset stands for draft, a draft counted
twice, the gauge's zero; scale for sound speed. Both are held by what was believed before (check_belief.py), so that
they move only as far as the data tell. Differences that stand out weigh less (Huber 1964).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lakemap.clean.check_belief import Belief, after_checks

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

HUBER_SIGMAS, ROUNDS = 1.5, 12
LEAST_SIGMA_M, LEAST_SCALE = 0.01, 0.0005
"""No check settles more finely: a line stretches, a pole sinks in."""


@dataclass(frozen=True)
class Equations:
    """k differences [m] with their sigma, what multiplies each group's offset and scale (k, 2 g), and which of them are
    checks (the others are crossings of two groups)."""

    difference: Floats
    sigma: Floats
    design: Floats
    check: Bools

    @classmethod
    def joined(cls, one: Equations, other: Equations) -> Equations:
        """Those of both."""
        return cls(
            np.concatenate([one.difference, other.difference]), np.concatenate([one.sigma, other.sigma]),
            np.concatenate([one.design, other.design]), np.concatenate([one.check, other.check]),
        )


@dataclass(frozen=True)
class Fit:
    """Offset [m] and scale of each group (g, 2) with their standard errors; the median of what check and sounding
    differed by, before and after."""

    found: Floats
    sigma: Floats
    before_m: float
    after_m: float

    def shift_m(self, group: Ints, below_m: Floats) -> Floats:
        """What to add to depths of groups (n,) that lie ``below_m`` (n,) below the transducer; 0 for no group."""
        there = group >= 0
        offset, scale = self.found[np.where(there, group, 0)].T
        return np.asarray(np.where(there, offset + scale * below_m, 0.0), dtype=np.float64)


def fit_groups(told: Equations, prior: Floats) -> Fit:
    """What the checks leave of what was believed with the prior's errors (g, 2) of constant [m] and scale."""
    least = np.array([LEAST_SIGMA_M, LEAST_SCALE])
    belief = Belief.of(np.maximum(prior, least))
    normal, right = _weighed(told, belief)
    found, error = after_checks(normal, right, belief)
    error = np.maximum(error.reshape(-1, 2), least)
    difference = told.difference[told.check]
    left = difference - told.design[told.check] @ found
    return Fit(found.reshape(-1, 2), error, float(np.median(np.abs(difference))), float(np.median(np.abs(left))))


def _weighed(told: Equations, belief: Belief) -> tuple[Floats, Floats]:
    """The normal equations (2 g, 2 g), (2 g,) once checks that stand out weigh less. They stand out from what the
    checks themselves say, any constant thought possible: from a draft taken to be right they would all stand out."""
    weight: Floats = np.ones(len(told.sigma), dtype=np.float64)
    found = np.zeros(told.design.shape[1])
    found[0::2] = _median_of_checks(told, len(found) // 2)
    for _ in range(ROUNDS):
        left = np.abs(told.difference - told.design @ found) / told.sigma
        spread = np.where(told.check, max(1.0, 1.4826 * float(np.median(left[told.check]))), 1.0)
        weight = np.minimum(1.0, HUBER_SIGMAS / np.maximum(left / spread, 1e-12)) / spread**2
        normal = (told.design * (weight / told.sigma**2)[:, None]).T @ told.design
        right = told.design.T @ (weight * told.difference / told.sigma**2)
        found = np.asarray(np.linalg.solve(normal + np.diag(belief.wrong**-2.0), right), dtype=np.float64)
    return normal, right


def _median_of_checks(told: Equations, groups: int) -> Floats:
    """Where each group's constant begins (g,): the median of its checks, 0 without."""
    begun = np.zeros(groups)
    for group in range(groups):
        own = told.check & (told.design[:, 2 * group] != 0)
        begun[group] = float(np.median(told.difference[own])) if own.any() else 0.0
    return begun
