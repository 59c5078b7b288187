"""Where no shoreline is known: an outline of what the tracks enclose. It bounds what is drawn, and is no bank."""

from __future__ import annotations

import math

import numpy as np
from affine import Affine
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt

Floats = NDArray[np.float64]

MARGIN_PIXELS = 3
"""The outline lies so far outside the outermost track."""

GAP_SHARE = 0.75
"""Gaps between tracks up to twice this share of their mean distance are closed (own choice: lone wide gaps stay, and
land between two arms is not drawn over)."""


def track_outline(
    places: Floats, shape: tuple[int, int], transform: Affine, spacing_m: float
) -> NDArray[np.bool_]:
    """True (rows, columns) near ``places`` (n, 2) [m] and between tracks ``spacing_m`` apart (infinite: one line).

    A closing with a disc (Serra 1982, Image Analysis and Mathematical Morphology): grown by the gap, then shrunk.
    """
    pixel_m = float(transform.a)
    row = np.floor((transform.f - places[:, 1]) / pixel_m).astype(np.int64)
    column = np.floor((places[:, 0] - transform.c) / pixel_m).astype(np.int64)
    on = (row >= 0) & (row < shape[0]) & (column >= 0) & (column < shape[1])
    margin_m = MARGIN_PIXELS * pixel_m
    reach_m = margin_m + (GAP_SHARE * spacing_m if math.isfinite(spacing_m) else 0.0)
    pad = math.ceil(reach_m / pixel_m) + 1
    empty = np.ones((shape[0] + 2 * pad, shape[1] + 2 * pad), dtype=bool)
    empty[row[on] + pad, column[on] + pad] = False
    grown = np.asarray(distance_transform_edt(empty)) * pixel_m <= reach_m
    inner = np.asarray(distance_transform_edt(grown)) * pixel_m > reach_m - margin_m
    return np.asarray(inner[pad:-pad, pad:-pad], dtype=bool)
