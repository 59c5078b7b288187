"""The working CRS and the way between longitude/latitude and metres; the axis order is fixed here and nowhere else."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
import pyproj
import pyproj.network
from numpy.typing import NDArray
from pyproj import CRS, Transformer

from lakemap.errors import NothingUsable, SettingError
from lakemap.model.flags import Flag
from lakemap.model.soundings import Soundings

Floats = NDArray[np.float64]

WGS84 = CRS.from_epsg(4326)
GEOD = pyproj.Geod(ellps="WGS84")
"""Geodesics on the ellipsoid of WGS 84."""

pyproj.network.set_network_enabled(active=False)  # type: ignore[attr-defined]


def utm_zone(lon_deg: float, lat_deg: float) -> int:
    """UTM zone 1..60 of a place, with the exceptions for Norway and Svalbard.

    Source: DMA TM 8358.2 (1989), sec. 2-2 and figure 2-1 (section numbers from memory); longitude 180 counts as -180.
    """
    lon = (lon_deg + 180.0) % 360.0 - 180.0
    if 56.0 <= lat_deg < 64.0 and 3.0 <= lon < 12.0:
        return 32
    if 72.0 <= lat_deg <= 84.0:
        for east, zone in ((9.0, 31), (21.0, 33), (33.0, 35), (42.0, 37)):
            if 0.0 <= lon < east:
                return zone
    return int((lon + 180.0) // 6.0) + 1


def utm_crs(lon_deg: float, lat_deg: float) -> CRS:
    """UTM on WGS 84 for a place: EPSG 326zz north of the equator, 327zz south of it."""
    return CRS.from_epsg((32600 if lat_deg >= 0 else 32700) + utm_zone(lon_deg, lat_deg))


def median_position(lon_deg: Floats, lat_deg: Floats) -> tuple[float, float]:
    """Median longitude and latitude of n places, safe across the antimeridian."""
    radians = np.radians(lon_deg)
    middle = np.degrees(np.arctan2(np.mean(np.sin(radians)), np.mean(np.cos(radians))))
    offset = (lon_deg - middle + 180.0) % 360.0 - 180.0
    lon = (middle + float(np.median(offset)) + 180.0) % 360.0 - 180.0
    return float(lon), float(np.median(lat_deg))


def working_crs(soundings: Soundings, override: str | None = None) -> CRS:
    """The CRS for all metric work: UTM of the median good position, or ``override`` (``EPSG:32632``).

    Raises NothingUsable when no row has a position, SettingError when ``override`` is no CRS in metres.
    """
    if override:
        return _metric_crs(override)
    placed = np.isfinite(soundings.lon_deg) & np.isfinite(soundings.lat_deg)
    good = placed & soundings.usable()
    chosen = good if good.any() else placed
    if not chosen.any():
        raise NothingUsable(
            f"none of {len(soundings)} rows has a position; check that the log holds fixes, or name the columns "
            "with --columns lat=...,lon=..."
        )
    return utm_crs(*median_position(soundings.lon_deg[chosen], soundings.lat_deg[chosen]))


def _metric_crs(text: str) -> CRS:
    try:
        crs = CRS.from_user_input(text)
    except pyproj.exceptions.CRSError:
        raise SettingError(f"grid.crs = {text!r}: no such CRS; give a code such as EPSG:32632") from None
    if not crs.is_projected or crs.axis_info[0].unit_name != "metre":
        raise SettingError(f"grid.crs = {text!r}: not a projected CRS in metres; give one such as EPSG:32632")
    return crs


@lru_cache(maxsize=32)
def _transformer(source: CRS, target: CRS) -> Transformer:
    return Transformer.from_crs(source, target, always_xy=True, allow_ballpark=False)


def project(crs: CRS, lon_deg: Any, lat_deg: Any) -> tuple[Floats, Floats]:
    """Degrees on WGS 84 as x, y on ``crs`` [m], shape as given; NaN in, NaN out."""
    x_m, y_m = _transformer(WGS84, crs).transform(np.asarray(lon_deg, float), np.asarray(lat_deg, float))
    return _nan_for_inf(x_m), _nan_for_inf(y_m)


def unproject(crs: CRS, x_m: Any, y_m: Any) -> tuple[Floats, Floats]:
    """x, y on ``crs`` [m] as longitude and latitude on WGS 84 [deg]."""
    lon, lat = _transformer(crs, WGS84).transform(np.asarray(x_m, float), np.asarray(y_m, float))
    return _nan_for_inf(lon), _nan_for_inf(lat)


def _nan_for_inf(values: Any) -> Floats:
    values = np.asarray(values, dtype=np.float64)
    return np.where(np.isfinite(values), values, np.nan)


def convergence_deg(crs: CRS, lon_deg: Any, lat_deg: Any) -> Floats:
    """Meridian convergence [deg]: true bearing minus grid bearing."""
    if not np.size(lon_deg):
        return np.empty(0)
    factors = pyproj.Proj(crs).get_factors(np.asarray(lon_deg, float), np.asarray(lat_deg, float))
    return np.asarray(factors.meridian_convergence, dtype=np.float64)


def point_scale(crs: CRS, lon_deg: Any, lat_deg: Any) -> Floats:
    """Grid distance over ground distance at a place (UTM: 0.9996 on the central meridian)."""
    factors = pyproj.Proj(crs).get_factors(np.asarray(lon_deg, float), np.asarray(lat_deg, float))
    return np.asarray(factors.meridional_scale, dtype=np.float64)


def on_crs(soundings: Soundings, crs: CRS) -> Soundings:
    """The same rows with ``x_m, y_m`` filled; rows without a finite place are flagged no_position."""
    x_m, y_m = project(crs, soundings.lon_deg, soundings.lat_deg)
    placed = soundings.with_columns(x_m=x_m, y_m=y_m).with_flag(Flag.no_position, ~np.isfinite(x_m + y_m))
    return replace(placed, crs=crs)
