"""Position index: does a place lie higher or lower than the ring around it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.signal import fftconvolve

Floats = NDArray[np.float64]

LEAST_SHARE = 0.5
"""A ring of which less than half was observed says nothing (our own choice)."""


def ring_footprint(inner_m: float, outer_m: float, pixel_m: float) -> NDArray[np.bool_]:
    """Which pixels around the middle one lie from inner to outer radius [m]; (2k+1, 2k+1), the middle never does.

    A ring thinner than a pixel still takes the eight neighbours.
    """
    reach = max(1, int(np.floor(outer_m / pixel_m)))
    offset = np.arange(-reach, reach + 1) * pixel_m
    distance = np.hypot(offset[:, None], offset[None, :])
    ring = (distance >= inner_m) & (distance <= outer_m)
    ring[reach, reach] = False
    if not ring.any():
        ring = np.ones((3, 3), bool)
        ring[1, 1] = False
    return np.asarray(ring)


def position_index(depth_m: Floats, footprint: NDArray[np.bool_], least_share: float = LEAST_SHARE) -> Floats:
    """Mean depth of the pixels of ``footprint`` minus own depth [m]: positive where higher than around.

    Weiss 2001 (topographic position index; with depth for elevation the sign turns twice). ``depth_m`` (rows, columns);
    NaN pixels are left out of the mean, and the answer is NaN where fewer than ``least_share`` of them are there.
    """
    seen = np.isfinite(depth_m)
    if not seen.any():
        return np.full(depth_m.shape, np.nan)
    middle = float(np.mean(depth_m[seen]))
    kernel = footprint[::-1, ::-1].astype(np.float64)
    total = fftconvolve(np.where(seen, depth_m - middle, 0.0), kernel, mode="same")
    count = np.rint(fftconvolve(seen.astype(np.float64), kernel, mode="same"))
    enough = seen & (count >= max(1.0, least_share * footprint.sum()))
    return np.where(enough, total / np.maximum(count, 1.0) + middle - depth_m, np.nan)
