"""The invented lake's shore and island, as outlines in metres from the south-west corner of its box."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.ndimage import gaussian_filter1d

Floats = NDArray[np.float64]

SHORE = (
    (40, 385), (62, 300), (135, 240), (225, 215), (290, 160), (385, 120), (455, 118), (500, 82), (560, 90), (620, 62),
    (700, 92), (765, 72), (865, 42), (985, 62), (1085, 92), (1175, 150), (1238, 232), (1276, 330), (1246, 420),
    (1282, 505), (1232, 592), (1150, 640), (1085, 705), (965, 738), (850, 757), (752, 738), (706, 690), (684, 610),
    (676, 525), (650, 458), (618, 462), (598, 532), (578, 620), (538, 690), (455, 722), (365, 738), (268, 702),
    (205, 640), (128, 612), (72, 545), (52, 465),
)
"""Corners that a smooth shoreline runs through, counter-clockwise; the peninsula comes down from the north."""
ISLAND = ((868, 300), (885, 276), (918, 272), (946, 290), (950, 314), (928, 334), (892, 330))
STEP_M = 3.0
"""Distance between the vertices of the outline."""
CRINKLES = ((7.0, 1.8), (22.0, 5.0))
"""Vertices that an in-and-out of the shore takes (one sigma of the smoothing), and its standard deviation [m]."""


def water_outline(rng: np.random.Generator) -> shapely.Polygon:
    """The lake's water: shore with the island as a hole, metres from the box's corner."""
    shore, island = _crinkled(SHORE, rng), _crinkled(ISLAND, rng, 0.5)
    return shapely.Polygon(shore, [island])


def _crinkled(corners: tuple[tuple[float, float], ...], rng: np.random.Generator, share: float = 1.0) -> Floats:
    """A closed spline through the corners (n, 2), pushed in and out along its normal."""
    nodes = np.array([*corners, corners[0]], dtype=np.float64)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(nodes, axis=0).T))])
    spline = CubicSpline(along, nodes, bc_type="periodic")
    at = np.linspace(0.0, along[-1], int(along[-1] / STEP_M), endpoint=False)
    xy, course = spline(at), spline(at, 1)
    normal = np.column_stack([course[:, 1], -course[:, 0]]) / np.hypot(course[:, 0], course[:, 1])[:, None]
    push = np.zeros(len(at))
    for vertices, sigma_m in CRINKLES:
        wave = gaussian_filter1d(rng.standard_normal(len(at)), min(vertices, len(at) / 12.0), mode="wrap")
        push += share * sigma_m * wave / wave.std()
    return np.asarray(xy + push[:, None] * normal)


def charted_outline(water: shapely.Polygon, rng: np.random.Generator, error_m: float = 1.2) -> shapely.Polygon:
    """The outline as somebody traced it: fewer corners, and each off by an error of its own [m]."""
    def traced(ring: shapely.LinearRing) -> Floats:
        corners = shapely.get_coordinates(shapely.simplify(ring, 1.5))[:-1]
        return np.asarray(corners + rng.normal(0.0, error_m / np.sqrt(2.0), corners.shape))

    return shapely.Polygon(traced(water.exterior), [traced(ring) for ring in water.interiors])
