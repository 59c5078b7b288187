"""Medians of many small groups at once, and squares of the plane as groups."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lakemap.hardness.reading import Floats

Ints = NDArray[np.int64]

_ROW = 1 << 31
"""More squares than any lake has along one side."""


def medians(values: Floats, group: Ints, count: int) -> Floats:
    """Median of the finite values (n,) of each group 0..count-1, NaN for groups without one."""
    good = np.isfinite(values)
    values, group = values[good], group[good]
    order = np.lexsort((values, group))
    size = np.bincount(group, minlength=count)
    start = np.concatenate([[0], np.cumsum(size)[:-1]])
    ordered = np.append(values[order], np.nan)
    last = len(values)
    low = np.where(size > 0, start + (size - 1) // 2, last)
    high = np.where(size > 0, start + size // 2, last)
    return np.asarray((ordered[low] + ordered[high]) / 2.0)


def ranked(values: Floats, group: Ints, count: int, share: float) -> Floats:
    """The finite value of each group 0..count-1 that so large a share of the others lies below, NaN where none is."""
    good = np.isfinite(values)
    values, group = values[good], group[good]
    order = np.lexsort((values, group))
    size = np.bincount(group, minlength=count)
    start = np.concatenate([[0], np.cumsum(size)[:-1]])
    at = np.where(size > 0, start + np.round(share * (size - 1)).astype(np.int64), len(values))
    return np.asarray(np.append(values[order], np.nan)[at])


def squares(xy: Floats, side_m: float) -> Ints:
    """A number for the square of side ``side_m`` that each place (n, 2) lies in, the same for all sets of places."""
    cell = np.floor(xy / side_m).astype(np.int64)
    return np.asarray(cell[:, 0] * _ROW + cell[:, 1], dtype=np.int64)
