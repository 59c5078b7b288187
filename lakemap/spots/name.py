"""Names that stay: from a spot's kind and its oldest hit, not from its centre or its depth."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lakemap.model.spot_names import CODE_LENGTH, code_of, word_of

Floats = NDArray[np.float64]

LONGEST = 12
"""Most plotters show about so many characters of a waypoint's name (common practice, no source)."""


def names_of(
    kinds: Sequence[str], times: NDArray[np.datetime64], lon_deg: Floats, lat_deg: Floats,
    given: Sequence[str] | None = None,
) -> tuple[str, ...]:
    """One name a spot such as ``stump-4f7k2m``: ASCII, at most 12 signs, none twice.

    Rows are to be in the order of their oldest hits: where two codes meet, the older spot keeps its name. A code
    that is ``given`` (not empty) is kept: the oldest hit is a waypoint of ours.
    """
    names: dict[str, None] = {}
    kept = given or [""] * len(kinds)
    for kind, when, lon, lat, own in zip(kinds, times, lon_deg.tolist(), lat_deg.tolist(), kept, strict=True):
        salt, name = 0, f"{_prefix(kind)}-{own or code_of(when, lon, lat)}"
        while name in names:
            salt += 1
            name = f"{_prefix(kind)}-{code_of(when, lon, lat, salt)}"
        names[name] = None
    return tuple(names)


def _prefix(kind: str) -> str:
    return word_of(kind)[: LONGEST - CODE_LENGTH - 1]
