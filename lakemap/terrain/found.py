"""One feature as it was found on the pixels, and how a list of them becomes Features."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from affine import Affine
from numpy.typing import NDArray
from rasterio.features import shapes
from shapely import union_all
from shapely.geometry import shape
from shapely.geometry.base import BaseGeometry

from lakemap.model.terrain import FEATURE_KINDS, Features
from lakemap.terrain.floor import Floor

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Found:
    """Pixels ``rows, columns`` (k,), the pixel it is anchored at, relief or height [m], confidence 0..1; its steepness
    [deg], NaN for the mean over its pixels."""

    kind: str
    rows: Ints
    columns: Ints
    anchor: tuple[int, int]
    relief_m: float
    confidence: float
    steep_deg: float = np.nan


def outline(rows: Ints, columns: Ints, transform: Affine) -> BaseGeometry:
    """The pixels' outline [m], corners of single pixels smoothed off by less than a pixel."""
    top, left = int(rows.min()), int(columns.min())
    mask = np.zeros((int(rows.max()) - top + 1, int(columns.max()) - left + 1), np.uint8)
    mask[rows - top, columns - left] = 1
    a, e = transform.a, transform.e
    moved = Affine(a, 0.0, transform.c + left * a, 0.0, e, transform.f + top * e)
    parts = [shape(part) for part, _ in shapes(mask, mask=mask.astype(bool), connectivity=4, transform=moved)]
    return union_all(parts).simplify(0.7 * abs(transform.a)).buffer(0)


def as_features(found: Sequence[Found], floor: Floor) -> Features:
    """Measured features, by kind, greatest relief first; the order depends on nothing else."""
    if not found:
        return Features()
    ordered = sorted(found, key=lambda f: (FEATURE_KINDS.index(f.kind), -round(f.relief_m, 6), f.anchor))
    anchors = np.array([f.anchor for f in ordered])
    x_m = floor.transform.c + (anchors[:, 1] + 0.5) * floor.transform.a
    y_m = floor.transform.f + (anchors[:, 0] + 0.5) * floor.transform.e
    return Features(
        kind=tuple(f.kind for f in ordered),
        geometry=tuple(outline(f.rows, f.columns, floor.transform) for f in ordered),
        x_m=x_m, y_m=y_m,
        relief_m=np.array([f.relief_m for f in ordered]),
        area_m2=np.array([len(f.rows) for f in ordered]) * floor.pixel_m**2,
        slope_deg=np.array([
            f.steep_deg if np.isfinite(f.steep_deg) else _mean(floor.slope_deg[f.rows, f.columns]) for f in ordered
        ]),
        depth_m=floor.depth_m[anchors[:, 0], anchors[:, 1]],
        confidence=np.array([f.confidence for f in ordered]),
    )


def _mean(values: Floats) -> float:
    known = values[np.isfinite(values)]
    return float(np.mean(known)) if len(known) else float("nan")
