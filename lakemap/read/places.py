"""Positions as written in tables and tracks, checked."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lakemap.errors import InputError
from lakemap.geo.projected import GivenCrs
from lakemap.read.messages import first_of
from lakemap.read.settings import ReadSettings
from lakemap.read.table_columns import Header

Floats = NDArray[np.float64]

WIDEST_LAKE_DEG = 10.0
"""Columns x and y in degrees spread less than this over a lake; in metres, more than this over all but a puddle."""


def table_places(
    found: Mapping[str, Header], columns: dict[str, NDArray[Any]], line: NDArray[np.int64], settings: ReadSettings,
    name: str,
) -> tuple[Floats, Floats, list[str]]:
    """Latitude, longitude (n,) on WGS 84 and messages, from columns lat and lon or from x and y on ``read.crs``.

    Without a CRS, x and y are taken as longitude and latitude where they can be nothing else. Raises InputError
    where nothing tells, and where no row has a position.
    """
    crs = GivenCrs.of(settings.crs) if settings.crs else None
    said: list[str] = []
    own = ("lat", "lon") if "lat" in columns else ("y", "x")
    lat, lon = (columns.pop(key) for key in own)
    if crs and (own == ("y", "x") or crs.is_degrees):
        _check_unit([found[key] for key in own], crs, name)
        lon, lat, word = crs.on_wgs84(lon, lat)
        said += [f"{name}: {word}"] if word else []
    elif own == ("y", "x"):
        said.append(_as_degrees(lat, lon, [found[key].text for key in own], name))
    lat, lon, more = checked_places(lat, lon, line, name)
    said += more
    if np.isnan(lon[0]) and np.isnan(lon).all():
        raise InputError(f"none of {len(line)} rows has a position; " + ("; ".join(said) or (
            f"{name}: columns {found[own[0]].text!r} and {found[own[1]].text!r} hold no numbers, name others with "
            "--columns lat=...,lon=...")))
    return lat, lon, said


def _check_unit(headers: list[Header], crs: GivenCrs, name: str) -> None:
    for header in headers:
        if header.unit and header.unit != crs.unit:
            raise InputError(f"{name}: column {header.text!r} is in {header.unit}, but {crs.text} counts in "
                             f"{crs.unit}; give the CRS that the positions are on with --crs")


def _as_degrees(y: Floats, x: Floats, headers: list[str], name: str) -> str:
    """A word that x and y are taken as degrees; raises InputError where they may be metres."""
    good = np.isfinite(x) & np.isfinite(y)
    inside = good & (np.abs(y) <= 90) & (x >= -180) & (x <= 360)
    spread = [np.subtract(*np.quantile(values[good], (0.95, 0.05))) if good.any() else 0.0 for values in (x, y)]
    if inside.sum() * 2 > good.sum() and max(spread) < WIDEST_LAKE_DEG:
        return f"{name}: columns {headers[1]!r} and {headers[0]!r} are taken as longitude and latitude in degrees"
    raise InputError(f"{name}: columns {headers[1]!r} and {headers[0]!r} (such as {x[good][0]:g}, {y[good][0]:g}) are "
                     "no degrees; say which CRS they are on with --crs EPSG:...")


def checked_places(
    lat: Floats, lon: Floats, line: NDArray[np.int64], name: str
) -> tuple[Floats, Floats, list[str]]:
    """Latitude, longitude (n,) and messages: longitudes 0..360 are wrapped; impossible places and 0, 0 (no fix)
    become NaN and are counted; ``line`` (n,) is each row's in the file."""
    said: list[str] = []
    if _all_good(lat, lon):
        return lat, lon, said
    given = np.isfinite(lat) & np.isfinite(lon)
    wrapped = given & (lon > 180) & (lon <= 360)
    lon = np.where(wrapped, lon - 360.0, lon)
    null = given & (lat == 0) & (lon == 0)
    bad = given & ((np.abs(lat) > 90) | (np.abs(lon) > 180))
    if wrapped.any():
        said.append(f"{name}: longitudes count 0 to 360; taken as -180 to 180")
    if null.any():
        said.append(f"{name}: 0, 0 is no fix ({first_of(line[null])}); these rows have no position")
    if bad.any():
        at = int(np.flatnonzero(bad)[0])
        swapped = np.abs(lat[bad]) > 90
        swapped &= (np.abs(lat[bad]) <= 180) & (np.abs(lon[bad]) <= 90)
        hint = "; are lat and lon swapped? use --columns lat=...,lon=..." if swapped.any() else ""
        said.append(f"{name}: no such place as lat {lat[at]:g}, lon {lon[at]:g} ({first_of(line[bad])}){hint}")
    none = ~given | null | bad
    return np.where(none, np.nan, lat), np.where(none, np.nan, lon), said


def _all_good(lat: Floats, lon: Floats) -> bool:
    """Whether nothing can be wrong with any place: all within bounds, and none at 0, 0."""
    if not len(lat):
        return True
    south, north, west, east = lat.min(), lat.max(), lon.min(), lon.max()
    inside = south >= -90 and north <= 90 and west >= -180 and east <= 180
    return bool(inside and (south > 0 or north < 0 or west > 0 or east < 0))
