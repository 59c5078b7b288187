"""Readings as the field takes them: with the variance of their own error, and not more of them than its lattice can
tell apart."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lakemap.grid.blocks import SHARED_VARIANCE

Floats = NDArray[np.float64]
Index = NDArray[np.int64]


@dataclass(frozen=True)
class Readings:
    """Places (n, 2), values, variance of each reading's own error, pass, distance to the shore; bounds of censored
    ones, both NaN elsewhere; ``doubt`` (n,) is 1 for a reading to be believed and less for one that is not."""

    xy: Floats
    value: Floats
    variance: Floats
    pass_id: NDArray[np.int32]
    distance_m: Floats
    lower: Floats
    upper: Floats
    doubt: Floats

    def __len__(self) -> int:
        return len(self.value)

    @cached_property
    def censored(self) -> NDArray[np.bool_]:
        """Which readings (n,) are known by their bounds alone."""
        return ~(np.isnan(self.lower) & np.isnan(self.upper))

    def take(self, rows: NDArray[Any]) -> Readings:
        """Some readings, by index or mask."""
        return Readings(*(getattr(self, spec.name)[rows] for spec in dataclasses.fields(self)))

    def merged(self, side_m: float) -> tuple[Readings, Index]:
        """One reading for each pass, square of ``side_m`` and kind of bounds, and which one each went to (n,).

        Values are means by weight; the error falls as in blocks.py, since neighbours share a part of it.
        """
        cell = np.floor(self.xy / side_m).astype(np.int64)
        key = np.column_stack([self.pass_id, cell[:, 1], cell[:, 0], np.isnan(self.lower), np.isnan(self.upper)])
        member = np.unique(key, axis=0, return_inverse=True)[1].reshape(-1)
        count = int(member.max()) + 1 if len(member) else 0
        first = np.unique(member, return_index=True)[1]
        weight = 1.0 / self.variance
        total = np.bincount(member, weight, count)

        def mean(column: Floats) -> Floats:
            return np.asarray(np.bincount(member, weight * column, count) / total)

        number = np.bincount(member, minlength=count)
        share = SHARED_VARIANCE + (1 - SHARED_VARIANCE) / number
        shored = bool(np.isfinite(self.distance_m).all())
        return Readings(
            np.column_stack([mean(self.xy[:, 0]), mean(self.xy[:, 1])]), mean(self.value), number / total * share,
            self.pass_id[first], mean(self.distance_m) if shored else self.distance_m[first],
            mean(self.lower), mean(self.upper), mean(self.doubt),
        ), member
