"""Where not to go: dangers with a distance to keep, and areas that are closed for a time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Hazards:
    """k dangers in WGS 84: ``shape`` (points, lines, areas), ``keep_m`` (k,) the distance to keep, ``what`` each is."""

    shape: Sequence[Any] = ()
    keep_m: Sequence[float] = ()
    what: Sequence[str] = ()
    messages: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.shape)

    @classmethod
    def joined(cls, parts: Sequence[Self]) -> Self:
        """Those of several files."""
        return cls(*(tuple(one for part in parts for one in getattr(part, name))
                     for name in ("shape", "keep_m", "what", "messages")))


@dataclass(frozen=True)
class ClosedAreas:
    """k polygons in WGS 84 with ``first`` and ``last`` closed day: ``2026-04-01``, ``04-01`` for every year, empty for
    always; ``why`` of each."""

    shape: Sequence[Any] = ()
    first: Sequence[str] = ()
    last: Sequence[str] = ()
    why: Sequence[str] = ()
    messages: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.shape)

    @classmethod
    def joined(cls, parts: Sequence[Self]) -> Self:
        """Those of several files."""
        return cls(*(tuple(one for part in parts for one in getattr(part, name))
                     for name in ("shape", "first", "last", "why", "messages")))

    def closed_on(self, number: int, day: np.datetime64 | None) -> bool:
        """Whether an area is closed on a day; where no day is given every area counts as closed."""
        first, last = self.first[number], self.last[number]
        if day is None or not (first or last):
            return True
        when = str(day.astype("datetime64[D]"))
        if len(first or last) == 5:
            when = when[5:]
        if first and last and first > last:
            return when >= first or when <= last
        return (not first or when >= first) and (not last or when <= last)
