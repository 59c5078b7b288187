"""Readings of hardness with their error and bounds, and what is to be said of each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lakemap.model.hardness_notes import HardnessNote

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
Notes = NDArray[np.uint32]


def note_where(where: Mask, note: HardnessNote) -> Notes:
    """The note's bit where the mask (n,) says, 0 elsewhere."""
    return np.where(where, np.uint32(note.value), np.uint32(0))


@dataclass(frozen=True)
class Reading:
    """One kind of reading for n rows: hardness (not yet kept within 0..1), its sigma, bounds; NaN where none.

    ``low`` and ``high`` say "at least" and "at most" of a censored reading, whose value is the middle of what is left;
    ``notes`` (n,) holds bits of HardnessNote, of rows without a value why there is none.
    """

    value: Floats
    sigma: Floats
    low: Floats
    high: Floats
    notes: Notes

    @classmethod
    def of(cls, value: Floats, sigma: Floats, notes: Notes | None = None) -> Self:
        """Measured readings without bounds; sigma is NaN where the value is."""
        blank = np.full(value.shape, np.nan)
        bits = np.zeros(value.shape, np.uint32) if notes is None else notes
        return cls(value, np.where(np.isfinite(value), sigma, np.nan), blank, blank.copy(), bits)

    @classmethod
    def bounded(cls, low: Floats, high: Floats, notes: Notes) -> Self:
        """Censored readings between bounds, an open one NaN; value and sigma are those of an even chance between."""
        known = np.isfinite(low) | np.isfinite(high)
        least, most = np.where(np.isfinite(low), low, 0.0), np.where(np.isfinite(high), high, 1.0)
        least, most = np.minimum(least, 1.0), np.maximum(most, 0.0)
        middle, spread = (least + most) / 2.0, np.abs(most - least) / np.sqrt(12.0)
        return cls(np.where(known, middle, np.nan), np.where(known, spread, np.nan), low, high, notes)

    @classmethod
    def blank(cls, n: int) -> Self:
        """n rows that say nothing."""
        return cls.of(np.full(n, np.nan), np.full(n, np.nan))

    def _columns(self) -> Floats:
        return np.stack([self.value, self.sigma, self.low, self.high])

    @property
    def observed(self) -> Mask:
        """Which rows (n,) carry a value."""
        return np.isfinite(self.value)

    @property
    def censored(self) -> Mask:
        """Which rows (n,) are bounds."""
        return np.isfinite(self.low) | np.isfinite(self.high)

    def has(self, note: HardnessNote) -> Mask:
        """Which rows (n,) carry any bit of ``note``."""
        return np.asarray((self.notes & np.uint32(note.value)) != 0)

    def only(self, rows: Mask) -> Reading:
        """The same readings, blank (and without notes) outside ``rows``."""
        value, sigma, low, high = np.where(rows, self._columns(), np.nan)
        return Reading(value, sigma, low, high, np.where(rows, self.notes, np.uint32(0)))

    def noted(self, where: Mask, note: HardnessNote) -> Reading:
        """The same readings with a note more where the mask says."""
        return Reading(self.value, self.sigma, self.low, self.high, self.notes | note_where(where, note))

    def or_else(self, other: Reading) -> Reading:
        """These readings, and the other's where these carry no value; where neither does, both say why."""
        mine = self.observed
        value, sigma, low, high = np.where(mine, self._columns(), other._columns())
        notes = np.where(mine, self.notes, np.where(other.observed, other.notes, self.notes | other.notes))
        return Reading(value, sigma, low, high, notes)

    def moved(self, offset: Floats, scale: Floats, error: Floats) -> Reading:
        """The same readings on another scale: (reading - offset) / scale, with the move's own error in their sigma."""
        value, low, high = ((column - offset) / scale for column in (self.value, self.low, self.high))
        return Reading(value, np.hypot(self.sigma / scale, error), low, high, self.notes)

    def doubted(self, where: Mask, other: ArrayLike) -> Reading:
        """Where a second kind of evidence says ``other``, the reading becomes anything between the two: no average."""
        else_where = np.broadcast_to(np.asarray(other, dtype=np.float64), self.value.shape)
        low, high = np.fmin(self.value, else_where), np.fmax(self.value, else_where)
        between = Reading.bounded(np.clip(low, 0.0, 1.0), np.clip(high, 0.0, 1.0), self.notes)
        mixed = np.where(where & self.observed, between._columns(), self._columns())
        return Reading(mixed[0], np.fmax(mixed[1], self.sigma), mixed[2], mixed[3], self.notes)

    def within_scale(self) -> Reading:
        """The same readings with values and bounds kept within 0..1."""
        value, low, high = (np.clip(column, 0.0, 1.0) for column in (self.value, self.low, self.high))
        return Reading(value, self.sigma, low, high, self.notes)
