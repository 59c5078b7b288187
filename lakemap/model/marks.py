"""Marks: what somebody noted at a place."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Self

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FIXED_KINDS = ("stump", "rock", "brush", "weed", "log", "wreck", "hump", "ledge", "drop-off", "cover")
MOVING_KINDS = ("bait", "fish")
NOTHING = "nothing"
"""Somebody looked and nothing was there: no thing, but evidence against one."""
OTHER_KINDS = ("catch", "place", NOTHING)
KINDS = (*FIXED_KINDS, *MOVING_KINDS, *OTHER_KINDS)
"""Kinds a mark may have; a word that is none of these becomes ``place`` and stays in the note."""

AIMED = ("range_m", "bearing_deg", "aim_deg")


def _not_noted() -> Floats:
    return np.empty(0)


@dataclass(frozen=True)
class Marks:
    """n marks: position (n,), kind and note as text (n,), time (NaT where not noted), file it came from.

    Where the thing lay off to the side: ``range_m`` how far from the boat, ``bearing_deg`` from true north or
    ``aim_deg`` from the bow, clockwise, all (n,), NaN where not noted; left out when built they are NaN.
    """

    lon_deg: Floats
    lat_deg: Floats
    kind: tuple[str, ...]
    name: tuple[str, ...]
    note: tuple[str, ...]
    time_utc: NDArray[np.datetime64]
    source: tuple[str, ...]
    messages: tuple[str, ...] = ()
    range_m: Floats = field(default_factory=_not_noted)
    bearing_deg: Floats = field(default_factory=_not_noted)
    aim_deg: Floats = field(default_factory=_not_noted)

    def __post_init__(self) -> None:
        for name in AIMED:
            if not len(getattr(self, name)):
                object.__setattr__(self, name, np.full(len(self.lon_deg), np.nan))

    def __len__(self) -> int:
        return len(self.lon_deg)

    @classmethod
    def empty(cls) -> Self:
        """No marks."""
        return cls(np.empty(0), np.empty(0), (), (), (), np.empty(0, "datetime64[ms]"), ())

    def take(self, rows: NDArray[np.int64]) -> Self:
        """Some marks, by index; what the files had to say stays."""
        def words(column: tuple[str, ...]) -> tuple[str, ...]:
            return tuple(column[i] for i in rows.tolist())

        return type(self)(
            self.lon_deg[rows], self.lat_deg[rows], words(self.kind), words(self.name), words(self.note),
            self.time_utc[rows], words(self.source), self.messages, *(getattr(self, name)[rows] for name in AIMED))

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
            *(np.concatenate([getattr(p, name) for p in parts]) for name in AIMED),
        )
