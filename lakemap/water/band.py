"""Depths at which the water suits: temperature within limits and oxygen enough, straight lines between readings."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lakemap.water.settings import WaterSettings

Floats = NDArray[np.float64]

Bands = tuple[tuple[float, float], ...]


def suitable_bands(depth_m: Floats, temperature_c: Floats, oxygen_mgl: Floats, wanted: WaterSettings) -> Bands:
    """Stretches (top, bottom) [m] of a profile that suit; arrays (k,), depths rising, oxygen NaN where not measured.

    Oxygen that was asked for and not measured at a level leaves that level out: nothing is claimed of it. The water
    above the first reading counts as the first reading's.
    """
    limits = [(temperature_c, wanted.least_c, 1.0), (temperature_c, wanted.most_c, -1.0)]
    limits.append((oxygen_mgl, wanted.least_oxygen_mgl, 1.0))
    stretch: Bands = ((0.0, float(depth_m[-1])),)
    for values, limit, sign in limits:
        if limit is not None:
            stretch = _both(stretch, _where_above(depth_m, sign * (values - limit)))
    return stretch


def _where_above(depth: Floats, margin: Floats) -> Bands:
    """Stretches where a margin, linear between levels, is at least 0; unknown levels belong to none."""
    found: list[tuple[float, float]] = []
    if margin[0] >= 0:
        found.append((0.0, float(depth[0])))
    for k in range(len(depth) - 1):
        a, b = margin[k], margin[k + 1]
        if not (np.isfinite(a) and np.isfinite(b)) or max(a, b) < 0:
            continue
        zero = depth[k] + (depth[k + 1] - depth[k]) * a / (a - b) if a != b else depth[k]
        found.append((float(depth[k] if a >= 0 else zero), float(depth[k + 1] if b >= 0 else zero)))
    return _joined(found)


def _joined(parts: list[tuple[float, float]]) -> Bands:
    out: list[tuple[float, float]] = []
    for top, bottom in parts:
        if out and top <= out[-1][1]:
            out[-1] = (out[-1][0], max(bottom, out[-1][1]))
        else:
            out.append((top, bottom))
    return tuple(out)


def _both(one: Bands, other: Bands) -> Bands:
    shared = [(max(a, c), min(b, d)) for a, b in one for c, d in other]
    return tuple(sorted((top, bottom) for top, bottom in shared if bottom > top))
