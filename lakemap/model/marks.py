"""Marks: what somebody noted at a place."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Self

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FIXED_KINDS = ("stump", "rock", "brush", "weed", "log", "wreck", "hump", "ledge", "drop-off", "cover")
MOVING_KINDS = ("bait", "fish")
OTHER_KINDS = ("catch", "place")
KINDS = (*FIXED_KINDS, *MOVING_KINDS, *OTHER_KINDS)
"""Kinds a mark may have; a word that is none of these becomes ``place`` and stays in the note."""


@dataclass(frozen=True)
class Marks:
    """n marks: position (n,), kind and note as text (n,), time (NaT where not noted), file it came from."""

    lon_deg: Floats
    lat_deg: Floats
    kind: tuple[str, ...]
    name: tuple[str, ...]
    note: tuple[str, ...]
    time_utc: NDArray[np.datetime64]
    source: tuple[str, ...]
    messages: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.lon_deg)

    @classmethod
    def empty(cls) -> Self:
        """No marks."""
        return cls(np.empty(0), np.empty(0), (), (), (), np.empty(0, "datetime64[ms]"), ())

    def take(self, rows: NDArray[np.int64]) -> Self:
        """The marks of these rows, with all messages."""
        words = ("kind", "name", "note", "source")
        picked = {name: tuple(getattr(self, name)[i] for i in rows.tolist()) for name in words}
        return replace(self, lon_deg=self.lon_deg[rows], lat_deg=self.lat_deg[rows], time_utc=self.time_utc[rows],
                       **picked)

    @classmethod
    def concatenate(cls, parts: list[Self]) -> Self:
        """Several files' marks as one, in the order given."""
        if not parts:
            return cls.empty()
        return cls(
            np.concatenate([p.lon_deg for p in parts]), np.concatenate([p.lat_deg for p in parts]),
            tuple(k for p in parts for k in p.kind), tuple(k for p in parts for k in p.name),
            tuple(k for p in parts for k in p.note), np.concatenate([p.time_utc for p in parts]),
            tuple(k for p in parts for k in p.source), tuple(k for p in parts for k in p.messages),
        )
