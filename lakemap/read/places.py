"""Positions as written in tables and tracks, checked."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lakemap.read.messages import first_of

Floats = NDArray[np.float64]


def checked_places(
    lat: Floats, lon: Floats, line: NDArray[np.int64], name: str
) -> tuple[Floats, Floats, list[str]]:
    """Latitude, longitude (n,) and messages: longitudes 0..360 are wrapped; impossible places and 0, 0 (no fix)
    become NaN and are counted; ``line`` (n,) is each row's in the file."""
    said: list[str] = []
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
