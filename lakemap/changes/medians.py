"""Medians of many groups at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def group_medians(group: NDArray[np.int64], value: Floats, groups: int) -> Floats:
    """Median (groups,) of the values (n,) of each group 0 .. groups - 1; NaN for a group without any."""
    count = np.bincount(group, minlength=groups)
    order = np.lexsort((value, group))
    first = np.cumsum(count) - count
    out = np.full(groups, np.nan)
    some = count > 0
    low, high = first[some] + (count[some] - 1) // 2, first[some] + count[some] // 2
    out[some] = (value[order][low] + value[order][high]) / 2
    return out
