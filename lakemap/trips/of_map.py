"""What the planning of lines takes from a map: places to follow the error at, how depths vary, which way they fall."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from lakemap.geo.shore import water_mask
from lakemap.model.frame import GridFrame
from lakemap.trips.error_field import MOST_NODES, Variability

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

PASS_NOISE_M = 0.15
"""Error of one place on one pass: bias of the pass and what is finer than a node (common practice of the trade)."""
PASS_NOISE_HARDNESS = 0.1
"""The same for the hardness index (own choice: what passes held back miss, less what kriging between passes misses)."""
UNKNOWN_RANGE_SHARE = 0.35
"""Range of an unknown lake as a share of its extent (own choice, tried on flooded terrain)."""
PIXELS_ACROSS = 200
CASCADE_TO_RANGE = 3.0
"""exp(-h / L) has fallen to 5 % at 3 L."""


def follow_at(frame: GridFrame, water: Mask) -> tuple[Floats, float]:
    """At most MOST_NODES places (n, 2) evenly over the water pixels, and the side of the square each stands for [m]."""
    pixels = int(water.sum())
    step = max(1, int(np.ceil(np.sqrt(pixels / MOST_NODES))))
    rows, columns = (-(-size // step) for size in frame.shape)
    padded = np.zeros((rows * step, columns * step))
    padded[: frame.shape[0], : frame.shape[1]] = water
    share = padded.reshape(rows, step, columns, step).mean(axis=(1, 3))
    row, column = np.nonzero(share >= 0.5)
    side = step * frame.pixel_m
    x = frame.transform.c + (column + 0.5) * side
    y = frame.transform.f - (row + 0.5) * side
    return np.column_stack([x, y]), side


def variability(model: Mapping[str, Any], drawn: Floats, pass_noise: float = PASS_NOISE_M) -> Variability:
    """How a surface varies, by what it was fitted with; by its values (any shape) where that says nothing."""
    if "rough_sd" in model:
        sd2 = float(model["rough_sd"]) ** 2 + float(model["detail_sd"]) ** 2
        noise = pass_noise**2 + float(model["noise"]) ** 2
        return Variability(sd2, CASCADE_TO_RANGE * float(model["rough_m"]), noise)
    if "partial_sill" in model:
        return Variability(float(model["partial_sill"]), float(model["range_m"]),
                           pass_noise**2 + float(model["nugget"]))
    known = drawn[np.isfinite(drawn)]
    spread = float(np.var(known)) if len(known) > 1 else 1.0
    return Variability(max(spread, 1e-3), 300.0, pass_noise**2)


def unknown_lake(nodes: Floats) -> Variability:
    """A lake of which only the outline is known; its variance is 1, so that errors are shares of its own spread."""
    extent = float(np.hypot(*np.ptp(nodes, axis=0)))
    return Variability(1.0, max(UNKNOWN_RANGE_SHARE * extent, 1.0), 0.01)


def slope_axis(depth_m: Floats) -> float | None:
    """Direction [rad from east, modulo half a turn] in which the floor falls on the whole; None where it has none.

    The main axis of the structure tensor of the depths (rows, columns), rows from north.
    """
    down, east = (np.asarray(part) for part in np.gradient(depth_m))
    known = np.isfinite(down) & np.isfinite(east)
    gx, gy = east[known], -down[known]
    if len(gx) == 0:
        return None
    xx, yy, xy = float((gx * gx).sum()), float((gy * gy).sum()), float((gx * gy).sum())
    strength = np.hypot(xx - yy, 2 * xy) / max(xx + yy, 1e-12)
    return float(0.5 * np.arctan2(2 * xy, xx - yy) % np.pi) if strength > 0.1 else None


def outline_frame(water: BaseGeometry, crs: CRS) -> GridFrame:
    """A frame around a lake of which only the outline is known: about PIXELS_ACROSS pixels over its longer side."""
    west, south, east, north = water.bounds
    pixel_m = max(1.0, float(np.round(max(east - west, north - south) / PIXELS_ACROSS)))
    left, top = np.floor(west / pixel_m) * pixel_m, np.ceil(north / pixel_m) * pixel_m
    shape = (int(np.ceil((top - south) / pixel_m)), int(np.ceil((east - left) / pixel_m)))
    transform = Affine(pixel_m, 0.0, left, 0.0, -pixel_m, top)
    return GridFrame(shape, transform, crs, water_mask(water, shape, transform), True)
