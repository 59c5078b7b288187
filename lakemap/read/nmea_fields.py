"""NMEA 0183: what the fields of one sentence say, as numbers; a field that says nothing is NaN.

Layouts from the open document "NMEA Revealed" (ntpsec/gpsd); fields are those behind the address,
padded with empty ones.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date
from functools import lru_cache

from lakemap.units import M_PER_FATHOM, M_PER_FT

Fields = Sequence[bytes]
NAN = math.nan

PIVOT_YEAR = 80
"""Two-digit years from here on are 19xx: GPS time began in 1980."""
NO_FIX_MODES = frozenset(b"NEMS")
"""Mode letters (not valid, estimated, manual, simulated) that never are a fix, whatever the status says."""
FIX_QUALITIES = (b"1", b"2", b"3", b"4", b"5")
"""GGA qualities that are a fix; 0 none, 6 estimated, 7 manual, 8 simulated."""
EPOCH = date(1970, 1, 1).toordinal()


def number(field: bytes) -> float:
    """A finite number, else NaN."""
    try:
        value = float(field)
    except ValueError:
        return NAN
    return value if math.isfinite(value) else NAN


def time_of_day_s(field: bytes) -> float:
    """``hhmmss.ss`` as seconds since midnight; a leap second (ss = 60) is allowed."""
    if not field[:6].isdigit() or len(field) < 6:
        return NAN
    hours, minutes, seconds = int(field[:2]), int(field[2:4]), number(field[4:])
    if hours > 23 or minutes > 59 or not 0 <= seconds < 61:
        return NAN
    return hours * 3600 + minutes * 60 + seconds


def angle_deg(field: bytes, letter: bytes, positive: bytes, negative: bytes) -> float:
    """``dddmm.mmm`` and its letter as degrees; the two digits left of the point and all behind are minutes."""
    point = field.find(b".")
    split = (len(field) if point < 0 else point) - 2
    if not 0 <= split <= 3 or not field[: split + 2].isdigit() or letter not in (positive, negative):
        return NAN
    minutes = number(field[split:])
    if not 0 <= minutes < 60:
        return NAN
    value = int(field[:split] or b"0") + minutes / 60.0
    return value if letter == positive else -value


def place(fields: Fields) -> tuple[float, float]:
    """Latitude, N/S, longitude, E/W as (lon, lat) [deg]; NaN, NaN for an impossible place and for 0, 0,
    which some receivers send for "no fix"."""
    lat = angle_deg(fields[0], fields[1], b"N", b"S")
    lon = angle_deg(fields[2], fields[3], b"E", b"W")
    if not (abs(lat) <= 90 and abs(lon) <= 180) or (lat == 0 and lon == 0):
        return NAN, NAN
    return lon, lat


@lru_cache(maxsize=1024)
def day_number(day: bytes, month: bytes, year: bytes) -> float:
    """Days since 1970-01-01; a two-digit year is put by PIVOT_YEAR."""
    if not (day.isdigit() and month.isdigit() and year.isdigit() and len(year) <= 4):
        return NAN
    full = int(year)
    if len(year) == 2:
        full += 1900 if full >= PIVOT_YEAR else 2000
    try:
        return float(date(full, int(month[:3]), int(day[:3])).toordinal() - EPOCH)
    except (ValueError, OverflowError):
        return NAN


def _mode_allows(mode: bytes) -> bool:
    return not mode or mode[0] not in NO_FIX_MODES


Fix = tuple[float, float, float, float]
"""Seconds since midnight, days since 1970, longitude, latitude; place NaN where it is no fix."""


def read_rmc(fields: Fields) -> Fix:
    """Time, date and place; a void one carries neither, since its clock may not be set yet."""
    if fields[1] != b"A" or not _mode_allows(fields[11]):
        return NAN, NAN, NAN, NAN
    day = fields[8]
    days = day_number(day[:2], day[2:4], day[4:6]) if len(day) == 6 else NAN
    return time_of_day_s(fields[0]), days, *place(fields[2:6])


def read_gga(fields: Fields) -> Fix:
    """Time and place."""
    if fields[5] not in FIX_QUALITIES:
        return NAN, NAN, NAN, NAN
    return time_of_day_s(fields[0]), NAN, *place(fields[1:5])


def read_gll(fields: Fields) -> Fix:
    """Time and place; the oldest form has neither time nor status and is a fix."""
    oldest = not any(fields[4:7])
    if not (oldest or (fields[5] == b"A" and _mode_allows(fields[6]))):
        return NAN, NAN, NAN, NAN
    return time_of_day_s(fields[4]), NAN, *place(fields[0:4])


def read_zda(fields: Fields) -> Fix:
    """Time and date; never a place."""
    return time_of_day_s(fields[0]), day_number(fields[1], fields[2], fields[3]), NAN, NAN


def read_three_units(fields: Fields) -> tuple[float, float, bool]:
    """DBT, DBS, DBK: depth [m], no offset, and whether it came in feet only; metres first, they need no conversion."""
    metres = number(fields[2])
    if metres == metres:
        return metres, NAN, False
    feet = number(fields[0])
    if feet == feet:
        return feet * M_PER_FT, NAN, True
    return number(fields[4]) * M_PER_FATHOM, NAN, False


def read_dpt(fields: Fields) -> tuple[float, float, bool]:
    """Depth below the transducer [m] and offset [m]: positive to the waterline, negative to the keel."""
    return number(fields[0]), number(fields[1]), False


def course_deg(field: bytes) -> float:
    """A course or heading 0..360, else NaN."""
    value = number(field)
    return value if 0 <= value <= 360 else NAN
