"""Grids as the page carries them: whole numbers of a quantum, differenced, deflated, in base64.

The page undoes each step in codec.js; a value comes back within half a quantum.
"""

from __future__ import annotations

import base64
import zlib
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating[Any]]

LARGEST_CODE = 65534
"""Codes are 16 bits; 0 means nothing here."""

MOST_PIXELS = 4_000_000
"""Larger grids are averaged down first, and the page says so: a phone has to hold and colour them."""


def coarsening(shape: tuple[int, int]) -> int:
    """Pixels along a side that go into one, so that a grid stays within MOST_PIXELS; 1 leaves it as it is."""
    factor = 1
    while (-(-shape[0] // factor)) * (-(-shape[1] // factor)) > MOST_PIXELS:
        factor += 1
    return factor


def coarser(values: Floats, factor: int) -> NDArray[np.float64]:
    """Mean of each ``factor`` by ``factor`` block of (rows, columns), over what is not NaN."""
    exact = values.astype(np.float64)
    if factor == 1:
        return exact
    rows, columns = values.shape
    padded = np.pad(
        exact, ((0, -rows % factor), (0, -columns % factor)), constant_values=np.nan,
    )
    blocks = padded.reshape(padded.shape[0] // factor, factor, padded.shape[1] // factor, factor)
    there = np.isfinite(blocks)
    total, count = np.where(there, blocks, 0.0).sum(axis=(1, 3)), there.sum(axis=(1, 3))
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def pack(values: Floats, quantum: float) -> dict[str, Any]:
    """(rows, columns) with NaN for nothing, as ``{low, quantum, data}``; the quantum doubles until 16 bits do."""
    there = np.isfinite(values)
    exact = np.where(there, values, np.nan).astype(np.float64)
    low, high = (float(np.nanmin(exact)), float(np.nanmax(exact))) if there.any() else (0.0, 0.0)
    while (high - low) / quantum > LARGEST_CODE - 2:
        quantum *= 2.0
    low = float(np.floor(low / quantum) * quantum)
    codes = np.where(there, np.rint((np.where(there, exact, low) - low) / quantum) + 1, 0).astype(np.uint16)
    return {"low": round(low, 6), "quantum": quantum, "data": _deflate(codes)}


def _deflate(codes: NDArray[np.uint16]) -> str:
    steps = codes.copy()
    steps[:, 1:] -= codes[:, :-1]
    across = steps.copy()
    steps[1:] -= across[:-1]
    signed = steps.view(np.int16)
    folded = ((signed << 1) ^ (signed >> 15)).view(np.uint16).ravel()
    planes = np.concatenate([folded & 0xFF, folded >> 8]).astype(np.uint8)
    return base64.b64encode(zlib.compress(planes.tobytes(), 9)).decode("ascii")
