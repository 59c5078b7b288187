"""NMEA 0183, compiled: what one field between two commas says; a field that says nothing is NaN.

``buf`` holds the bytes, a field is ``buf[a:b]``. Layouts from the open document "NMEA Revealed" (ntpsec/gpsd).
The plain twin of all this is tests/plain_nmea.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lakemap.compiled import kernel

Bytes = NDArray[np.uint8]

ZERO, NINE, POINT, MINUS, PLUS, SPACE = 48, 57, 46, 45, 43, 32
MOST_DIGITS = 18
"""Digits that are summed up exactly in 64 bits; more behind the point are below any reading's worth."""
PIVOT_YEAR = 80
"""Two-digit years from here on are 19xx: GPS time began in 1980."""
POWERS = 10.0 ** np.arange(MOST_DIGITS + 1)


@kernel("numpy")
def whole(buf: Bytes, a: int, b: int) -> int:
    """Digits only, at most nine of them, as a whole number; else -1."""
    if b <= a or b - a > 9:
        return -1
    value = 0
    for i in range(a, b):
        if buf[i] < ZERO or buf[i] > NINE:
            return -1
        value = value * 10 + (buf[i] - ZERO)
    return value


@kernel("numpy")
def number(buf: Bytes, a: int, b: int) -> float:
    """A decimal number, maybe signed and between spaces: one division by a power of ten, so rounded as it should be."""
    while a < b and buf[a] == SPACE:
        a += 1
    while a < b and buf[b - 1] == SPACE:
        b -= 1
    negative = a < b and buf[a] == MINUS
    if a < b and (buf[a] == MINUS or buf[a] == PLUS):
        a += 1
    mantissa, i = np.int64(0), a
    while i < b and ZERO <= buf[i] <= NINE:
        mantissa = mantissa * 10 + (buf[i] - ZERO)
        i += 1
    digits, behind = i - a, 0
    if i < b and buf[i] == POINT:
        i += 1
        while i < b and ZERO <= buf[i] <= NINE:
            if digits < MOST_DIGITS:
                mantissa = mantissa * 10 + (buf[i] - ZERO)
                behind += 1
            digits += 1
            i += 1
    if i < b or digits == 0 or digits - behind > MOST_DIGITS:
        return np.nan
    value = float(mantissa / POWERS[behind])
    return -value if negative else value


@kernel("numpy")
def time_of_day_s(buf: Bytes, a: int, b: int) -> float:
    """``hhmmss.ss`` as seconds since midnight; a leap second (ss = 60) is allowed."""
    packed = whole(buf, a, a + 6) if b - a >= 6 else -1
    if packed < 0:
        return np.nan
    hours, minutes, seconds = packed // 10000, packed // 100 % 100, number(buf, a + 4, b)
    if hours > 23 or minutes > 59 or not 0 <= seconds < 61:
        return np.nan
    return hours * 3600 + minutes * 60 + seconds


@kernel("numpy")
def angle_deg(buf: Bytes, a: int, b: int) -> float:
    """``dddmm.mmm`` as degrees; the two digits left of the point and all behind are minutes."""
    split = a
    while split < b and buf[split] != POINT:
        split += 1
    split -= 2
    packed = whole(buf, a, split + 2) if a <= split <= a + 3 else -1
    minutes = number(buf, split, b)
    if packed < 0 or not 0 <= minutes < 60:
        return np.nan
    return packed // 100 + minutes / 60.0


@kernel("numpy")
def day_number(day: int, month: int, year: int, short: bool) -> float:
    """Days since 1970-01-01, by the calendar; a ``short`` year has two digits and is put by PIVOT_YEAR."""
    if short and 0 <= year <= 99:
        year += 1900 if year >= PIVOT_YEAR else 2000
    if year < 1 or year > 9999 or month < 1 or month > 12 or day < 1:
        return np.nan
    leap = (year % 4 == 0 and year % 100 != 0) or year % 400 == 0
    length = 28 + leap if month == 2 else 30 if month in (4, 6, 9, 11) else 31
    if day > length:
        return np.nan
    before = year - 1
    of_years = before * 365 + before // 4 - before // 100 + before // 400
    of_months = (367 * month - 362) // 12 - (0 if month <= 2 else 1 if leap else 2)
    return float(of_years + of_months + day - 1 - 719162)
