"""How far a start lies from the water: a slip in its degrees shows as many kilometres."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS

from lakemap.geo.crs import GEOD, unproject
from lakemap.units import length_slot


def away_said(crs: CRS, xy: NDArray[np.float64], lon_deg: float, lat_deg: float) -> str:
    """``the nearest water that may be driven lies {12.000 m:0} away`` of a start; places xy (k, 2) on ``crs``.

    By geodesics on WGS 84 (pyproj), as a start on the far side of the globe has no place on the lake's plane.
    """
    lon, lat = unproject(crs, *xy.T)
    away_m = GEOD.inv(np.full(len(lon), lon_deg), np.full(len(lat), lat_deg), lon, lat)[2]
    return f"the nearest water that may be driven lies {length_slot(float(np.min(away_m)), 0)} away"
