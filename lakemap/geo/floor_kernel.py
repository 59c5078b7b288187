"""Compiled loops over windows of a sailed line: serial, cached, each with a plain twin in the tests. Import only where
used."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lakemap.compiled import kernel

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@kernel()
def _ordered(values: Floats, count: int) -> None:
    """Sort the first ``count`` values in place; short windows, so by insertion."""
    for i in range(1, count):
        value, j = values[i], i - 1
        while j >= 0 and values[j] > value:
            values[j + 1] = values[j]
            j -= 1
        values[j + 1] = value


@kernel()
def _median(values: Floats, count: int) -> float:
    """Median of the first ``count`` values, which get sorted."""
    _ordered(values, count)
    if count % 2:
        return float(values[count // 2])
    return float((values[count // 2 - 1] + values[count // 2]) / 2.0)


@kernel()
def level_on_slope(s_m: Floats, depth_m: Floats, low: Ints, high: Ints, samples: int) -> Floats:
    """Median depth (m,) of ``samples`` rows spread evenly over ``low`` to ``high - 1`` about each row, the window's own
    slope (between the medians of its halves) taken out."""
    level = np.empty(len(s_m))
    s, z, part = np.empty(samples), np.empty(samples), np.empty(samples)
    half = samples // 2
    for i in range(len(s_m)):
        last = high[i] - low[i] - 1
        for k in range(samples):
            at = low[i] + (2 * last * k + samples - 1) // (2 * (samples - 1))
            s[k], z[k] = s_m[at] - s_m[i], depth_m[at]
        ends = np.empty(4)
        for which in range(4):
            source, first = (s if which < 2 else z), (samples - half if which % 2 == 0 else 0)
            for k in range(half):
                part[k] = source[first + k]
            ends[which] = _median(part, half)
        run, fall = ends[0] - ends[1], ends[2] - ends[3]
        slope = fall / run if run > 0 else 0.0
        for k in range(samples):
            part[k] = z[k] - slope * s[k]
        level[i] = _median(part, samples)
    return level


@kernel()
def median_about(values: Floats, low: Ints, high: Ints, samples: int) -> Floats:
    """Median (m,) of ``samples`` values spread evenly over ``low`` to ``high - 1`` about each row."""
    out, part = np.empty(len(values)), np.empty(samples)
    for i in range(len(values)):
        last = high[i] - low[i] - 1
        for k in range(samples):
            part[k] = values[low[i] + (2 * last * k + samples - 1) // (2 * (samples - 1))]
        out[i] = _median(part, samples)
    return out


@kernel()
def lower_median_of_runs(values: Floats, edges: Ints) -> Floats:
    """Lower median of the finite values between each two ``edges`` (k + 1,), shape (k,); 0 where there are none."""
    out = np.zeros(len(edges) - 1)
    for k in range(len(edges) - 1):
        run = values[edges[k] : edges[k + 1]]
        finite = np.sort(run[np.isfinite(run)])
        if len(finite):
            out[k] = finite[(len(finite) - 1) // 2]
    return out
