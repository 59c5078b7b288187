"""Whether two dates differ in a square: judged with the squares around it, against what the rest of the lake shows."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lakemap.changes.cells import MAD_TO_SIGMA, CellDepths, neighbours

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Near = list[tuple[NDArray[np.int64], NDArray[np.int64]]]

SHARED = 2.0
"""Squares side by side hold stretches of the same passes: the variance of their mean is larger than if they were
independent by about this (own choice; the lake's own scatter puts it right as a whole)."""
GROWN = 0.75
"""Share of the limit that a square must reach by its own depth beside one that is sure, so that edges stay sharp."""
STEPS = 1
"""How many squares an area grows outward from those that are sure."""
NARROWEST, WIDEST = 0.5, 3.0
"""How far the lake's own scatter may correct the errors."""
FEWEST = 30
"""Fewer squares than this do not tell their scatter."""


def deeper(cells: CellDepths, gap_m: Floats, sigma_m: Floats, least_m: float, sigmas: float) -> Bools:
    """Squares (c,) where ``gap_m`` (c,), with error ``sigma_m`` (c,), is above ``least_m`` beyond doubt.

    Sure is a square whose mean with its neighbours exceeds ``least_m`` and ``sigmas`` standard errors; a square beside
    a sure one needs GROWN of that, by its own depth alone. Errors are scaled by the scatter of all squares about 0,
    since most of a lake has not moved (an empirical null, Efron 2004).
    """
    near = neighbours(np.column_stack([cells.column, cells.line]))
    mean, sigma = _with_around(near, gap_m, sigma_m)
    sure = np.nan_to_num(mean) > np.nan_to_num(np.maximum(least_m, sigmas * _scale(mean / sigma) * sigma))
    own = np.maximum(least_m, sigmas * _scale(gap_m / sigma_m) * np.nan_to_num(sigma_m)) * GROWN
    clear = np.nan_to_num(gap_m) > own
    found = sure & (np.nan_to_num(gap_m) > GROWN * least_m)
    for _ in range(STEPS):
        found |= clear & _touches(near, found)
    return np.asarray(found)


def _touches(near: Near, found: Bools) -> Bools:
    beside = np.zeros(len(found), dtype=bool)
    for there, number in near:
        beside[there] |= found[number]
    return beside


def _with_around(near: Near, gap_m: Floats, sigma_m: Floats) -> tuple[Floats, Floats]:
    """Weighted mean of each square and its neighbours, and its error (c,); NaN where the square itself has none."""
    known = np.isfinite(gap_m) & np.isfinite(sigma_m)
    weight = np.where(known, 1.0 / np.maximum(np.nan_to_num(sigma_m), 1e-3) ** 2, 0.0)
    total, weighted = np.zeros(len(gap_m)), np.zeros(len(gap_m))
    for there, number in near:
        total[there] += weight[number]
        weighted[there] += weight[number] * np.nan_to_num(gap_m[number])
    total = np.where(known, total, np.nan)
    return weighted / total, np.sqrt(SHARED / total)


def _scale(size: Floats) -> float:
    """Robust spread of standardised differences about 0."""
    known = size[np.isfinite(size)]
    if len(known) < FEWEST:
        return 1.0
    return float(np.clip(MAD_TO_SIGMA * np.median(np.abs(known)), NARROWEST, WIDEST))
