"""Catches: what came of fishing at a place, blanks too."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def _none() -> Floats:
    return np.empty(0)


@dataclass(frozen=True)
class Catches:
    """n rows, one a stop: ``lon_deg, lat_deg``; ``count`` of fish, 0 for a blank; ``effort_h`` hours spent there, NaN
    where not noted; ``time_s`` since 1970, NaN unknown; ``kind`` of fish, ``note`` and ``source`` as text; ``line``.
    """

    lon_deg: Floats = field(default_factory=_none)
    lat_deg: Floats = field(default_factory=_none)
    count: Floats = field(default_factory=_none)
    effort_h: Floats = field(default_factory=_none)
    time_s: Floats = field(default_factory=_none)
    kind: tuple[str, ...] = ()
    note: tuple[str, ...] = ()
    source: tuple[str, ...] = ()
    messages: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.lon_deg)

    @classmethod
    def joined(cls, parts: list[Self]) -> Self:
        """Several files' rows, one after the other."""
        if not parts:
            return cls()
        columns: dict[str, Any] = {
            name: np.concatenate([getattr(part, name) for part in parts])
            for name in ("lon_deg", "lat_deg", "count", "effort_h", "time_s")}
        columns |= {name: tuple(text for part in parts for text in getattr(part, name))
                    for name in ("kind", "note", "source", "messages")}
        return cls(**columns)
