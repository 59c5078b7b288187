"""What existed before the survey: an old map's depths, with a datum of their own."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class DepthPrior:
    """k places of one source: ``depth_m`` (k,) positive down from some zero of its own.

    ``sense_known`` is False where the source does not say whether its figures are depths or heights: then they are
    taken as depths here, and the soundings tell.
    """

    lon_deg: Floats
    lat_deg: Floats
    depth_m: Floats
    source: str
    sense_known: bool = True
    messages: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.depth_m)


@dataclass(frozen=True)
class DepthPriors:
    """All of them, in the order of names."""

    parts: tuple[DepthPrior, ...] = ()

    @classmethod
    def of(cls, parts: Iterable[object]) -> Self:
        """From what readers gave."""
        return cls(tuple(part for part in parts if isinstance(part, DepthPrior)))

    def __len__(self) -> int:
        return len(self.parts)
