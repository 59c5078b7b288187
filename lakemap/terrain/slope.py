"""Steepness of the floor."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def horn_gradient(depth_m: Floats, pixel_m: float) -> tuple[Floats, Floats]:
    """Change of depth per metre eastward and southward, each (rows, columns), dimensionless.

    Weighted differences of the 3 x 3 window, Horn 1981, Proc. IEEE 69:14. The frame's outermost cells, and cells with
    a NaN among their eight neighbours, are NaN; the middle cell itself must be there too.
    """
    z = np.pad(depth_m, 1, constant_values=np.nan)
    a, b, c = z[:-2, :-2], z[:-2, 1:-1], z[:-2, 2:]
    d, e, f = z[1:-1, :-2], z[1:-1, 1:-1], z[1:-1, 2:]
    g, h, i = z[2:, :-2], z[2:, 1:-1], z[2:, 2:]
    missing = np.isnan(e + b + d + f + h)
    east = ((c + 2.0 * f + i) - (a + 2.0 * d + g)) / (8.0 * pixel_m)
    south = ((g + 2.0 * h + i) - (a + 2.0 * b + c)) / (8.0 * pixel_m)
    return np.where(missing, np.nan, east), np.where(missing, np.nan, south)


def horn_slope_deg(depth_m: Floats, pixel_m: float) -> Floats:
    """Slope [deg] of a depth or elevation grid (rows, columns), NaN where ``horn_gradient`` is."""
    east, south = horn_gradient(depth_m, pixel_m)
    return np.asarray(np.degrees(np.arctan(np.hypot(east, south))))
