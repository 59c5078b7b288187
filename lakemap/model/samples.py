"""Bottom samples: what somebody felt, saw or brought up from the floor at a place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class BottomSamples:
    """k samples: ``lon_deg, lat_deg`` (k,); ``word`` as understood and ``felt`` (how) (k,); mean grain size ``phi``
    and how far it may be off, ``phi_sigma`` (k,), NaN where the word tells no grain size (weed); line in the file.

    ``x_m, y_m`` (k,) on the working CRS, NaN until placed; ``use`` (k,) False for those that cannot calibrate.
    """

    lon_deg: Floats
    lat_deg: Floats
    word: tuple[str, ...]
    felt: tuple[str, ...]
    phi: Floats
    phi_sigma: Floats
    line: NDArray[np.int64]
    source: tuple[str, ...]
    x_m: Floats
    y_m: Floats
    use: NDArray[np.bool_]
    messages: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.word)

    @classmethod
    def of(
        cls, places: tuple[Floats, Floats], word: tuple[str, ...], felt: tuple[str, ...], phi: tuple[Floats, Floats],
        line: NDArray[np.int64], source: str = "", messages: tuple[str, ...] = (),
    ) -> Self:
        """Samples of one file, ``places`` as (lon, lat) and ``phi`` as (mean, sigma); not yet on any CRS."""
        n, nowhere = len(word), np.full(len(word), np.nan)
        return cls(
            *places, word, felt, *phi, line, (source,) * n, nowhere, nowhere.copy(), np.isfinite(phi[0]), messages
        )

    @classmethod
    def none(cls) -> Self:
        """No sample."""
        none = np.empty(0)
        return cls.of((none, none), (), (), (none, none), np.empty(0, np.int64))

    @classmethod
    def concatenate(cls, parts: list[BottomSamples]) -> BottomSamples:
        """Samples of several files, one after the other."""
        if not parts:
            return cls.none()
        def joined(name: str) -> Any:
            return np.concatenate([getattr(part, name) for part in parts])
        return BottomSamples(
            joined("lon_deg"), joined("lat_deg"), tuple(w for p in parts for w in p.word),
            tuple(w for p in parts for w in p.felt), joined("phi"), joined("phi_sigma"), joined("line"),
            tuple(w for p in parts for w in p.source), joined("x_m"), joined("y_m"), joined("use"),
            tuple(m for p in parts for m in p.messages),
        )
