"""Where the frame lies on the Web Mercator view, as polynomials that the page evaluates for each screen pixel.

The page keeps the values on their own metric frame and draws each screen pixel from the frame's pixel below it, so a
tap reads the raster's own value and no second resampling comes in between.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from lakemap.geo.crs import unproject
from lakemap.model.frame import GridFrame

Floats = NDArray[np.float64]

MERCATOR_RADIUS_M = 6378137.0
"""Sphere of EPSG:3857 (radius = semi-major axis of WGS 84)."""

DEGREE = 5
"""Of the polynomials; over a frame of 60 km the fit stays within 0.01 m (tested), far below a pixel."""

_MARGIN = 0.08
_SAMPLES = 17


def unwrapped_lonlat(frame: GridFrame, x_m: Any, y_m: Any) -> tuple[Floats, Floats]:
    """Longitude and latitude [deg] of places on the frame's CRS; longitudes run on across the antimeridian."""
    west, south, east, north = frame.bounds
    centre, _ = unproject(frame.crs, (west + east) / 2, (south + north) / 2)
    lon, lat = unproject(frame.crs, x_m, y_m)
    return centre + (lon - centre + 180.0) % 360.0 - 180.0, lat


def mercator(lon_deg: Floats, lat_deg: Floats) -> tuple[Floats, Floats]:
    """Spherical Mercator x, y [m] of EPSG:3857, longitudes as given (EPSG guidance note 7-2, method 1024)."""
    x_m = MERCATOR_RADIUS_M * np.radians(lon_deg)
    return x_m, MERCATOR_RADIUS_M * np.log(np.tan(np.pi / 4 + np.radians(lat_deg) / 2))


def powers(degree: int) -> list[tuple[int, int]]:
    """Exponents (i, j) of u^i v^j in the order the coefficients have."""
    return [(i, j) for i in range(degree + 1) for j in range(degree + 1 - i)]


def place_on_mercator(frame: GridFrame) -> dict[str, Any]:
    """``{shape, centre, half, degree, column, row, x, y}``: column, row as polynomials of u, v = (x - centre) / half.

    ``x, y`` is the way back: u and v as polynomials of 2 column / columns - 1 and 2 row / rows - 1.

    u and v run from -1 to 1 over the frame and a margin; columns and rows count from the outer corner of the first
    pixel, so that their whole part is the pixel's number.
    """
    at = 0.5 - np.cos(np.pi * (np.arange(_SAMPLES) + 0.5) / _SAMPLES) * (0.5 + _MARGIN)
    column, row = (axis.ravel() for axis in np.meshgrid(at * frame.shape[1], at * frame.shape[0]))
    west, _, _, north = frame.bounds
    x_m, y_m = mercator(*unwrapped_lonlat(frame, west + column * frame.pixel_m, north - row * frame.pixel_m))
    centre = [float((axis.max() + axis.min()) / 2) for axis in (x_m, y_m)]
    half = [float((axis.max() - axis.min()) / 2) for axis in (x_m, y_m)]
    u, v = (x_m - centre[0]) / half[0], (y_m - centre[1]) / half[1]
    there = _fitted(u, v, np.column_stack([column, row]))
    back = _fitted(2 * column / frame.shape[1] - 1, 2 * row / frame.shape[0] - 1, np.column_stack([u, v]))
    return {"shape": list(frame.shape), "centre": centre, "half": half, "degree": DEGREE, "column": there[0],
            "row": there[1], "x": back[0], "y": back[1]}


def _fitted(u: Floats, v: Floats, wanted: Floats) -> list[list[float]]:
    """Coefficients of the polynomials in u and v (n,) that give each column of ``wanted`` (n, 2), by least squares."""
    terms = np.column_stack([u**i * v**j for i, j in powers(DEGREE)])
    with threadpool_limits(limits=1):
        found = np.linalg.lstsq(terms, wanted, rcond=None)[0]
    return [[float(f"{value:.12g}") for value in column] for column in found.T]
