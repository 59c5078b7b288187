"""How sure a depth is, in three words that the page, its bar and its fading share."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating[Any]]

TWO_SIDED_95 = 1.96
"""Standard errors on either side that hold 95 % of a normal error: what the page calls give or take."""

SURE_WITHIN = (0.5, 0.013)
FAIR_WITHIN = (1.0, 0.023)
"""a [m] and b of the largest 95 % depth error sqrt(a^2 + (b d)^2): IHO S-44 ed. 6.1.0 (2022), table 1, Orders 1 and 2.

Only the figures are borrowed, as a scale that people have agreed on; nothing here claims a survey order, because the
common error is not in sigma.
"""

HARDNESS_SURE, HARDNESS_UNKNOWN = 0.10, 12 ** -0.5
"""Sigma of hardness below which its colour is full (our choice), and that of a number of 0..1 about which nothing is
known (standard deviation of the uniform distribution, 1/sqrt(12))."""

WORDS = ("sure", "fair", "guess")


def largest_error_m(depth_m: Floats, within: tuple[float, float]) -> Floats:
    """Largest 95 % error that still counts as ``within`` (a [m], b), for depths of any shape [m]."""
    largest: Floats = np.hypot(within[0], within[1] * depth_m)
    return largest


def how_sure(depth_m: Floats, sigma_m: Floats) -> NDArray[np.int8]:
    """0 sure, 1 fair, 2 guess, -1 where there is no depth; a depth without an error is a guess. Inputs of one shape."""
    error_m = TWO_SIDED_95 * np.where(np.isfinite(sigma_m), sigma_m, np.inf)
    level = (error_m > largest_error_m(depth_m, SURE_WITHIN)).astype(np.int8)
    level += error_m > largest_error_m(depth_m, FAIR_WITHIN)
    return np.where(np.isfinite(depth_m), level, np.int8(-1)).astype(np.int8)


def shares(depth_m: Floats, sigma_m: Floats) -> list[float]:
    """Share of the drawn pixels that are sure, fair, guess; zeros where nothing is drawn."""
    level = how_sure(depth_m, sigma_m)
    drawn = max(1, int(np.count_nonzero(level >= 0)))
    return [round(int(np.count_nonzero(level == k)) / drawn, 4) for k in range(len(WORDS))]
