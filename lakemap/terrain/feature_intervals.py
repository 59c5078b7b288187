"""What a feature's relief may be, on surfaces that are all as likely as the readings leave them."""

from __future__ import annotations

import dataclasses

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from lakemap.model.frame import GridFrame
from lakemap.model.surface import Surface
from lakemap.model.terrain import Features
from lakemap.terrain.volume import INTERVAL

Ints = NDArray[np.int64]

ENDS_SHARE = 0.2
"""The deepest and the shallowest pixels of a feature that make its relief: so much of it each (own choice)."""


def with_intervals(features: Features, depth: Surface) -> Features:
    """``features`` with the ends of the interval that holds INTERVAL of their reliefs on the realisations; as they are
    where none were drawn.

    On each realisation the deepest and the shallowest fifth of a feature and the pixels beside it stand farther apart
    or closer together than on the estimate: by so much its relief differs.
    """
    if depth.realisations is None or not len(features):
        return features
    estimate = depth.estimate.values
    number = np.full(estimate.shape, -1, dtype=np.int64)
    number[np.isfinite(estimate)] = np.arange(depth.realisations.shape[1])
    flat = estimate[np.isfinite(estimate)].astype(np.float64)
    away = np.zeros((len(features), len(depth.realisations)))
    for k, outline in enumerate(features.geometry):
        pixels = number[_pixels(outline, depth.frame)]
        pixels = pixels[pixels >= 0]
        if len(pixels) >= 2:
            ordered = pixels[np.argsort(flat[pixels], kind="stable")]
            count = max(int(ENDS_SHARE * len(ordered)), 1)
            top, foot = ordered[:count], ordered[-count:]
            apart = depth.realisations[:, foot].mean(axis=1) - depth.realisations[:, top].mean(axis=1)
            away[k] = apart - (flat[foot].mean() - flat[top].mean())
    ends = np.quantile(away, [(1.0 - INTERVAL) / 2.0, (1.0 + INTERVAL) / 2.0], axis=1)
    low, high = np.maximum(features.relief_m + ends, 0.0)
    return dataclasses.replace(features, relief_low_m=low, relief_high_m=high)


def _pixels(outline: BaseGeometry, frame: GridFrame) -> tuple[Ints, Ints]:
    """Rows and columns of the pixels in an outline and one beside it."""
    around = shapely.buffer(outline, frame.pixel_m)
    shapely.prepare(around)
    west, south, east, north = around.bounds
    x_m, y_m = frame.centres()
    column = np.flatnonzero((x_m >= west) & (x_m <= east))
    row = np.flatnonzero((y_m >= south) & (y_m <= north))
    rows, columns = np.meshgrid(row, column, indexing="ij")
    inside = shapely.contains_xy(around, x_m[columns], y_m[rows])
    return rows[inside], columns[inside]
