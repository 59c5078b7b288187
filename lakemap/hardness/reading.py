"""Readings of hardness with their error and bounds, and why a row says nothing."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import Self

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]


class Silence(IntEnum):
    """Why a row in which something was noted or logged gives no hardness; ``nothing_there`` is not counted."""

    nothing_there = 0
    range_short = 1
    range_unknown = 2
    too_quiet = 3
    no_levels = 4
    contradiction = 5
    above_bottom = 6


SILENCE_SENTENCES: dict[Silence, str] = {
    Silence.range_short: "no second bottom, but the display range was too short to show one",
    Silence.range_unknown: "no second bottom, and the display range is not known",
    Silence.too_quiet: "no second echo, where even that of a hard floor could be too weak to be heard",
    Silence.no_levels: "the second echo far too strong for the first: saturated, or levels that are not dB",
    Silence.contradiction: "a second bottom with a depth, but noted as none",
    Silence.above_bottom: "the second bottom not below the end of the first",
}


@dataclass(frozen=True)
class Reading:
    """One kind of reading for n rows: hardness 0..1, its sigma, bounds where censored; NaN where it says nothing.

    ``low`` and ``high`` say "at least" and "at most"; ``silence`` (n,) holds Silence codes of rows without a value.
    """

    value: Floats
    sigma: Floats
    low: Floats
    high: Floats
    silence: NDArray[np.int8]

    @classmethod
    def blank(cls, n: int) -> Self:
        """n rows that say nothing."""
        value, sigma, low, high = np.full((4, n), np.nan)
        return cls(value, sigma, low, high, np.zeros(n, dtype=np.int8))

    def _columns(self) -> Floats:
        return np.stack([self.value, self.sigma, self.low, self.high])

    @property
    def observed(self) -> Mask:
        """Which rows (n,) carry a value."""
        return np.isfinite(self.value)

    def only(self, rows: Mask) -> Reading:
        """The same readings, blank (and without a reason) outside ``rows``."""
        value, sigma, low, high = np.where(rows, self._columns(), np.nan)
        return Reading(value, sigma, low, high, np.where(rows, self.silence, 0).astype(np.int8))

    def or_else(self, other: Reading) -> Reading:
        """These readings, and the other's where these carry no value."""
        mine = self.observed
        value, sigma, low, high = np.where(mine, self._columns(), other._columns())
        reason = np.where(self.silence > 0, self.silence, other.silence)
        return Reading(value, sigma, low, high, np.where(mine | other.observed, 0, reason).astype(np.int8))

    def shifted(self, by: float, error: float) -> Reading:
        """The same readings moved on the scale, kept within 0..1, with the move's own error in their sigma."""
        value, low, high = (np.clip(column + by, 0.0, 1.0) for column in (self.value, self.low, self.high))
        return Reading(value, np.hypot(self.sigma, error), low, high, self.silence)
