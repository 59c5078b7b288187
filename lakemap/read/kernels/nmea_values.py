"""NMEA 0183, compiled: what the fields of one sentence of a known kind say together.

Field k is ``buf[bound[k] + 1 : bound[k + 1]]``, empty where it is not there; ``bound`` (FIELDS + 1,).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lakemap.compiled import kernel
from lakemap.read.kernels.nmea_bytes import angle_deg, day_number, number, time_of_day_s, whole
from lakemap.read.kernels.nmea_layout import (
    DAY,
    DEPTH,
    DPT,
    EXTRA,
    GGA,
    GLL,
    GNS,
    GSA,
    HDG,
    IN_FEET,
    LAST_DEPTH,
    LAST_FIX,
    LAT,
    LON,
    MTW,
    RMC,
    THS,
    TOD,
    VHW,
    ZDA,
)
from lakemap.units import M_PER_FATHOM, M_PER_FT

Bytes = NDArray[np.uint8]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

FIELDS = 17
_A, _C, _D, _E, _F, _M, _N, _P, _R, _S, _T, _V, _W = 65, 67, 68, 69, 70, 77, 78, 80, 82, 83, 84, 86, 87
_1, _2, _3, _4, _5 = 49, 50, 51, 52, 53
PER_AXIS = float(np.sqrt(0.5))
RANGE_ERROR_M, CORRECTED_M, FLOAT_M, FIXED_M = 3.5, 1.5, 0.4, 0.03
"""User range error: HDOP times it is the horizontal standard error, sqrt(1/2) of that along one axis. Common practice
of the trade, from memory: some 3 to 5 m for a receiver alone, 1 to 2 m with satellite or beacon corrections, decimetres
with a float and centimetres with a fixed carrier-phase solution."""
WORST_HDOP = 50.0
"""Receivers write 99.99 for "no fix"."""


@kernel("numpy")
def letter(buf: Bytes, bound: Ints, k: int) -> int:
    """The first character of a field, 0 where it is empty."""
    return int(buf[bound[k] + 1]) if bound[k + 1] > bound[k] + 1 else 0


@kernel("numpy")
def place(buf: Bytes, bound: Ints, k: int, value: Floats) -> None:
    """Latitude, N/S, longitude, E/W from field k on. Impossible places, and 0,0 that some receivers send for "no fix",
    stay NaN."""
    good, somewhere = True, False
    for j, positive, negative, most in ((k, _N, _S, 90.0), (k + 2, _E, _W, 180.0)):
        side, size = letter(buf, bound, j + 1), angle_deg(buf, bound[j] + 1, bound[j + 1])
        good &= bound[j + 2] - bound[j + 1] == 2 and side in (positive, negative) and size <= most
        somewhere |= size > 0
        value[LON if j == k + 2 else LAT] = size if side == positive else -size
    if not (good and somewhere):
        value[LON] = value[LAT] = np.nan


@kernel("numpy")
def range_error_m(buf: Bytes, a: int, b: int, kind: int) -> float:
    """User range error by GGA's quality, or by the best of GNS's mode letters, one a satellite system; 0 is no fix.
    Quality 6 is estimated, 7 manual, 8 simulated, as are the letters N, E, M, S."""
    best = 0.0
    for i in range(a, b):
        c = buf[i]
        error = 0.0
        if c == (_A if kind == GNS else _1) or (kind == GNS and c == _P):
            error = RANGE_ERROR_M
        elif c == (_D if kind == GNS else _2) or (kind == GGA and c == _3):
            error = CORRECTED_M
        elif c == (_F if kind == GNS else _5):
            error = FLOAT_M
        elif c == (_R if kind == GNS else _4):
            error = FIXED_M
        if error > 0 and (best == 0 or error < best):
            best = error
    return 0.0 if kind == GGA and b - a != 1 else best


@kernel("numpy")
def valid(buf: Bytes, bound: Ints, kind: int) -> bool:
    """Whether RMC or GLL say that they are a fix; GLL's oldest form has neither time nor status and is one."""
    if kind == GLL and bound[5] <= bound[4] + 1 and bound[6] <= bound[5] + 1 and bound[7] <= bound[6] + 1:
        return True
    status, mode = (1, 11) if kind == RMC else (5, 6)
    way = letter(buf, bound, mode)
    return (letter(buf, bound, status) == _A and bound[status + 1] - bound[status] == 2
            and way not in (_N, _E, _M, _S))


@kernel("numpy")
def read_day(buf: Bytes, bound: Ints, kind: int) -> float:
    """RMC's ddmmyy, or ZDA's three fields, as days since 1970."""
    if kind == RMC:
        a = bound[8] + 1
        packed = whole(buf, a, bound[9]) if bound[9] - a == 6 else -1
        return day_number(packed // 10000, packed // 100 % 100, packed % 100, kind == RMC) if packed >= 0 else np.nan
    day, month = whole(buf, bound[1] + 1, bound[2]), whole(buf, bound[2] + 1, bound[3])
    year = whole(buf, bound[3] + 1, bound[4])
    return day_number(day, month, year, bound[4] - bound[3] == 3)


@kernel("numpy")
def read_fix(buf: Bytes, bound: Ints, kind: int, value: Floats) -> None:
    """Time, date, place, and sigma along one axis out of HDOP (RMC: the variation); nothing where it is no fix."""
    error = 0.0
    if kind in (GGA, GNS):
        error = range_error_m(buf, bound[5] + 1, bound[6], kind)
        if error == 0:
            return
    elif kind != ZDA and not valid(buf, bound, kind):
        return
    at = 4 if kind == GLL else 0
    value[TOD] = time_of_day_s(buf, bound[at] + 1, bound[at + 1])
    if kind != ZDA:
        place(buf, bound, 2 if kind == RMC else 0 if kind == GLL else 1, value)
    if kind in (RMC, ZDA):
        value[DAY] = read_day(buf, bound, kind)
    if error > 0:
        hdop = number(buf, bound[7] + 1, bound[8])
        value[EXTRA] = hdop * error * PER_AXIS if 0 < hdop < WORST_HDOP else np.nan
    elif kind == RMC:
        value[EXTRA] = signed_deg(buf, bound, 9)


@kernel("numpy")
def signed_deg(buf: Bytes, bound: Ints, k: int) -> float:
    """Deviation or variation in field k and its letter in the next; east positive."""
    side, size = letter(buf, bound, k + 1), number(buf, bound[k] + 1, bound[k + 1])
    return size if side == _E else -size if side == _W else np.nan


@kernel("numpy")
def read_depth(buf: Bytes, bound: Ints, kind: int, value: Floats) -> None:
    """DPT: depth below the transducer and offset, positive to the waterline, negative to the keel.
    DBT, DBS, DBK: metres first, they need no conversion; feet, then fathoms where they are all there is."""
    value[IN_FEET] = 0.0
    for k, unit_m in ((0, 1.0), (1, 1.0)) if kind == DPT else ((2, 1.0), (0, M_PER_FT)):
        found = number(buf, bound[k] + 1, bound[k + 1])
        if kind == DPT:
            value[k] = found
        elif np.isnan(value[DEPTH]) and not np.isnan(found):
            value[DEPTH] = found * unit_m
            value[IN_FEET] = 1.0 if k == 0 else 0.0
    if kind != DPT and np.isnan(value[DEPTH]):
        value[DEPTH] = number(buf, bound[4] + 1, bound[5]) * M_PER_FATHOM


@kernel("numpy")
def read_other(buf: Bytes, bound: Ints, kind: int, value: Floats) -> None:
    """Water temperature [degC] (some instruments write degF with its letter); sigma out of GSA's HDOP; or a heading
    0..360: HDG's sensor + deviation is magnetic, + variation true, east positive."""
    at = 15 if kind == GSA else 0
    found, mark = number(buf, bound[at] + 1, bound[at + 1]), letter(buf, bound, 1)
    if kind == MTW:
        found = found if mark == _C or mark == 0 else (found - 32.0) / 1.8 if mark == _F else np.nan
    elif kind == GSA:
        found = found * RANGE_ERROR_M * PER_AXIS if 0 < found < WORST_HDOP else np.nan
    elif not 0 <= found <= 360 or (kind == VHW and mark != _T):
        found = np.nan
    elif kind == THS:
        found = np.nan if mark in (_V, _E, _M, _S) else found
    elif kind == HDG:
        for k in (1, 3):
            turn = signed_deg(buf, bound, k)
            if k == 3:
                value[1] = turn
            elif not np.isnan(turn):
                found += turn
    value[0] = found


@kernel("numpy")
def read_fields(buf: Bytes, bound: Ints, kind: int, value: Floats) -> None:
    """The values of one sentence of a known kind into ``value`` (VALUES,), which is NaN but for the TAG time."""
    if kind <= LAST_FIX:
        read_fix(buf, bound, kind, value)
    elif kind <= LAST_DEPTH:
        read_depth(buf, bound, kind, value)
    else:
        read_other(buf, bound, kind, value)
