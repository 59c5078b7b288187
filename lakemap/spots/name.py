"""Names that stay: from a spot's kind and its oldest hit, not from its centre or its depth."""

from __future__ import annotations

from collections.abc import Sequence
from hashlib import blake2b

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LONGEST = 12
"""Most plotters show about so many characters of a waypoint's name (common practice, no source)."""

LETTERS = "0123456789abcdefghjkmnpqrstvwxyz"
"""32 signs without i, l, o, u, which are misread."""

CODE_LENGTH = 6


def code_of(time_utc: np.datetime64, lon_deg: float, lat_deg: float, salt: int = 0) -> str:
    """Six signs told by when and where (to 1e-5 deg) the oldest hit was made; the same in every run."""
    when = "" if np.isnat(time_utc) else str(time_utc.astype("datetime64[ms]").astype(np.int64))
    text = f"{when}|{lon_deg:.5f}|{lat_deg:.5f}" + (f"|{salt}" if salt else "")
    number = int.from_bytes(blake2b(text.encode(), digest_size=8).digest(), "big")
    return "".join(LETTERS[number >> (5 * place) & 31] for place in range(CODE_LENGTH))


def names_of(
    kinds: Sequence[str], times: NDArray[np.datetime64], lon_deg: Floats, lat_deg: Floats
) -> tuple[str, ...]:
    """One name a spot such as ``stump-4f7k2m``: ASCII, at most 12 signs, none twice.

    Rows are to be in the order of their oldest hits: where two codes meet, the older spot keeps its name.
    """
    names: dict[str, None] = {}
    for kind, when, lon, lat in zip(kinds, times, lon_deg.tolist(), lat_deg.tolist(), strict=True):
        salt = 0
        while (name := f"{_prefix(kind)}-{code_of(when, lon, lat, salt)}") in names:
            salt += 1
        names[name] = None
    return tuple(names)


def _prefix(kind: str) -> str:
    return kind.split("-")[0][: LONGEST - CODE_LENGTH - 1]
