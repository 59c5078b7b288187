"""NMEA 0183, compiled: finds sentences in bytes, checks their checksums and turns those of known kinds into records.

A sentence starts at ``$`` and ends at the next line end, ``$``, ``!`` or backslash, so that TAG blocks
(``\\...\\`` before it), glued sentences and binary junk fall away by themselves. One pass over the bytes.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from lakemap.read.kernels.nmea_bytes import angle_deg, day_number, number, time_of_day_s, whole
from lakemap.read.kernels.nmea_layout import (
    AFTER_CR,
    BAD,
    BARE,
    CUT,
    DAY,
    DEPTH,
    DPT,
    EXTRA,
    GGA,
    GLL,
    GNS,
    GOOD,
    GSA,
    HDG,
    IN_FEET,
    KIND_TABLE,
    LAST_DEPTH,
    LAST_FIX,
    LAT,
    LINES,
    LON,
    MTW,
    RECORDS,
    RMC,
    SENTENCES,
    SLOTS,
    SLOTS_USED,
    TAG,
    TAGS_FAILED,
    THS,
    TOD,
    VALUES,
    VHW,
    WRONG,
    ZDA,
    Book,
    Records,
)
from lakemap.units import M_PER_FATHOM, M_PER_FT

Bytes = NDArray[np.uint8]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

LONGEST_SENTENCE, LONGEST_TAG = 1024, 256
"""The standard has 82 characters for a sentence and 80 for a TAG block; what is far longer is junk."""
FIELDS = 17
DOLLAR, STAR, COMMA, LF, CR, BACKSLASH, BANG, COLON = 36, 42, 44, 10, 13, 92, 33, 58
_A, _C, _D, _E, _F, _M, _N, _P, _R, _S, _T, _V, _W, _c = 65, 67, 68, 69, 70, 77, 78, 80, 82, 83, 84, 86, 87, 99
_1, _2, _3, _4, _5 = 49, 50, 51, 52, 53
PER_AXIS = float(np.sqrt(0.5))
RANGE_ERROR_M, CORRECTED_M, FLOAT_M, FIXED_M = 3.5, 1.5, 0.4, 0.03
"""User range error: HDOP times it is the horizontal standard error, sqrt(1/2) of that along one axis. Common practice
of the trade, from memory: some 3 to 5 m for a receiver alone, 1 to 2 m with satellite or beacon corrections, decimetres
with a float and centimetres with a fixed carrier-phase solution."""
WORST_HDOP = 50.0
"""Receivers write 99.99 for "no fix"."""
EARLIEST_TAG_S, LATEST_TAG_S, TAG_IN_MS = 315532800.0, 4102444800.0, 1e11
"""TAG times outside 1980..2100 are no times; from TAG_IN_MS on they are milliseconds."""


PLAIN, JUNK, SEPARATES, STARS, ENDS = range(5)


def _roles() -> Bytes:
    roles = np.full(256, JUNK, np.uint8)
    roles[32:127] = PLAIN
    roles[[LF, CR, DOLLAR, BANG, BACKSLASH]] = ENDS
    roles[COMMA], roles[STAR] = SEPARATES, STARS
    return roles


ROLES = _roles()
"""What each byte does within a sentence."""


@njit(cache=True, error_model="numpy")
def hex_digit(letter: int) -> int:
    """0..15, or -1."""
    if 48 <= letter <= 57:
        return letter - 48
    if 65 <= letter <= 70:
        return letter - 55
    return letter - 87 if 97 <= letter <= 102 else -1


@njit(cache=True, error_model="numpy")
def checksum_at(buf: Bytes, star: int, n: int) -> int:
    """The two hex digits behind a star; -1 where they are not."""
    if star + 2 >= n:
        return -1
    high, low = hex_digit(buf[star + 1]), hex_digit(buf[star + 2])
    return -1 if high < 0 or low < 0 else high * 16 + low


@njit(cache=True, error_model="numpy")
def walk(buf: Bytes, start: int, stop: int, low: Ints, high: Ints) -> tuple[int, int, int, bool]:
    """Along one sentence from behind its ``$``: end (``stop`` where none), its star or end, XOR, all printable.

    ``low, high`` (FIELDS,) take where the fields behind the address start and end; those that are not there are empty.
    """
    total, count, plain = np.uint8(0), 0, True
    i = start
    while i < stop:
        c = buf[i]
        role = ROLES[c]
        if role > SEPARATES:
            break
        total ^= c
        if role == JUNK:
            plain = False
        elif role == SEPARATES:
            if 0 < count <= FIELDS:
                high[count - 1] = i
            if count < FIELDS:
                low[count] = i + 1
            count += 1
        i += 1
    star = i
    if 0 < count <= FIELDS:
        high[count - 1] = star
    for k in range(count, FIELDS):
        low[k] = high[k] = 0
    while i < stop and ROLES[buf[i]] != ENDS:
        i += 1
    return i, star, int(total), plain


@njit(cache=True, error_model="numpy")
def address_code(buf: Bytes, at: int) -> int:
    """Kind * 936 + talker of five letters that are a standard address; -1 for a kind not known, -2 for no address."""
    for i in range(at, at + 5):
        if not (65 <= buf[i] <= 90 or (i == at + 1 and 48 <= buf[i] <= 57)):
            return -2
    if buf[at] == _P or buf[at + 5] != COMMA:
        return -2
    kind = KIND_TABLE[((buf[at + 2] - 65) * 26 + buf[at + 3] - 65) * 26 + buf[at + 4] - 65]
    if kind < 0:
        return -1
    second = buf[at + 1] - 65 if buf[at + 1] >= 65 else buf[at + 1] - 22
    return int(kind * 936 + (buf[at] - 65) * 36 + second)


@njit(cache=True, error_model="numpy")
def letter(buf: Bytes, low: Ints, high: Ints, k: int) -> int:
    """The first character of a field, 0 where it is empty."""
    return int(buf[low[k]]) if high[k] > low[k] else 0


@njit(cache=True, error_model="numpy")
def place(buf: Bytes, low: Ints, high: Ints, k: int, value: Floats) -> None:
    """Latitude, N/S, longitude, E/W from field k on. Impossible places, and 0,0 that some receivers send for "no fix",
    stay NaN."""
    good, somewhere = True, False
    for j, positive, negative, most in ((k, _N, _S, 90.0), (k + 2, _E, _W, 180.0)):
        side, size = letter(buf, low, high, j + 1), angle_deg(buf, low[j], high[j])
        good &= high[j + 1] - low[j + 1] == 1 and side in (positive, negative) and size <= most
        somewhere |= size > 0
        value[LON if j == k + 2 else LAT] = size if side == positive else -size
    if not (good and somewhere):
        value[LON] = value[LAT] = np.nan


@njit(cache=True, error_model="numpy")
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


@njit(cache=True, error_model="numpy")
def valid(buf: Bytes, low: Ints, high: Ints, kind: int) -> bool:
    """Whether RMC or GLL say that they are a fix; GLL's oldest form has neither time nor status and is one."""
    if kind == GLL and high[4] <= low[4] and high[5] <= low[5] and high[6] <= low[6]:
        return True
    status, mode = (1, 11) if kind == RMC else (5, 6)
    way = letter(buf, low, high, mode)
    return (letter(buf, low, high, status) == _A and high[status] - low[status] == 1
            and way not in (_N, _E, _M, _S))


@njit(cache=True, error_model="numpy")
def read_day(buf: Bytes, low: Ints, high: Ints, kind: int) -> float:
    """RMC's ddmmyy, or ZDA's three fields, as days since 1970."""
    if kind == RMC:
        a = low[8]
        packed = whole(buf, a, high[8]) if high[8] - a == 6 else -1
        return day_number(packed // 10000, packed // 100 % 100, packed % 100, True) if packed >= 0 else np.nan
    day, month, year = whole(buf, low[1], high[1]), whole(buf, low[2], high[2]), whole(buf, low[3], high[3])
    return day_number(day, month, year, high[3] - low[3] == 2)


@njit(cache=True, error_model="numpy")
def read_fix(buf: Bytes, low: Ints, high: Ints, kind: int, value: Floats) -> None:
    """Time, date, place, and sigma along one axis out of HDOP (RMC: the variation); nothing where it is no fix."""
    error = 0.0
    if kind in (GGA, GNS):
        error = range_error_m(buf, low[5], high[5], kind)
        if error == 0:
            return
    elif kind != ZDA and not valid(buf, low, high, kind):
        return
    at = 4 if kind == GLL else 0
    value[TOD] = time_of_day_s(buf, low[at], high[at])
    if kind != ZDA:
        place(buf, low, high, 2 if kind == RMC else 0 if kind == GLL else 1, value)
    if kind in (RMC, ZDA):
        value[DAY] = read_day(buf, low, high, kind)
    if error > 0:
        hdop = number(buf, low[7], high[7])
        value[EXTRA] = hdop * error * PER_AXIS if 0 < hdop < WORST_HDOP else np.nan
    elif kind == RMC:
        value[EXTRA] = signed_deg(buf, low, high, 9)


@njit(cache=True, error_model="numpy")
def signed_deg(buf: Bytes, low: Ints, high: Ints, k: int) -> float:
    """Deviation or variation in field k and its letter in the next; east positive."""
    side, size = letter(buf, low, high, k + 1), number(buf, low[k], high[k])
    return size if side == _E else -size if side == _W else np.nan


@njit(cache=True, error_model="numpy")
def read_depth(buf: Bytes, low: Ints, high: Ints, kind: int, value: Floats) -> None:
    """DPT: depth below the transducer and offset, positive to the waterline, negative to the keel.
    DBT, DBS, DBK: metres first, they need no conversion; feet, then fathoms where they are all there is."""
    value[IN_FEET] = 0.0
    for k, unit_m in ((0, 1.0), (1, 1.0)) if kind == DPT else ((2, 1.0), (0, M_PER_FT)):
        found = number(buf, low[k], high[k])
        if kind == DPT:
            value[k] = found
        elif np.isnan(value[DEPTH]) and not np.isnan(found):
            value[DEPTH] = found * unit_m
            value[IN_FEET] = 1.0 if k == 0 else 0.0
    if kind != DPT and np.isnan(value[DEPTH]):
        value[DEPTH] = number(buf, low[4], high[4]) * M_PER_FATHOM


@njit(cache=True, error_model="numpy")
def read_other(buf: Bytes, low: Ints, high: Ints, kind: int, value: Floats) -> None:
    """Water temperature [degC] (some instruments write degF with its letter); sigma out of GSA's HDOP; or a heading
    0..360: HDG's sensor + deviation is magnetic, + variation true, east positive."""
    at = 15 if kind == GSA else 0
    found, mark = number(buf, low[at], high[at]), letter(buf, low, high, 1)
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
            turn = signed_deg(buf, low, high, k)
            if k == 3:
                value[1] = turn
            elif not np.isnan(turn):
                found += turn
    value[0] = found


@njit(cache=True, error_model="numpy")
def slot_for(book: Book, code: int) -> int:
    """The slot of an address, given at first sight; -1 when all are taken."""
    slot = int(book.slot_of[code])
    if slot < 0 and book.counts[SLOTS_USED] < SLOTS:
        slot = int(book.counts[SLOTS_USED])
        book.slot_of[code], book.address[slot] = slot, code
        book.counts[SLOTS_USED] += 1
    return slot


@njit(cache=True, error_model="numpy")
def tag_time(buf: Bytes, start: int, end: int) -> tuple[float, bool]:
    """The time ``c:`` of a TAG block [s since 1970], NaN without, and whether its checksum holds."""
    total, star, at = np.uint8(0), end, -1
    for i in range(start, end):
        if buf[i] == STAR:
            star = i
            break
        total ^= buf[i]
        if buf[i] == COLON and i > start and buf[i - 1] == _c and (i == start + 1 or buf[i - 2] == COMMA):
            at = i + 1
    if checksum_at(buf, star, end) != total:
        return np.nan, False
    if at < 0:
        return np.nan, True
    stop = at
    while stop < star and buf[stop] != COMMA:
        stop += 1
    seconds = number(buf, at, stop)
    seconds = seconds / 1000.0 if seconds >= TAG_IN_MS else seconds
    return (seconds if EARLIEST_TAG_S <= seconds < LATEST_TAG_S else np.nan), True


@njit(cache=True, error_model="numpy")
def pass_tag(buf: Bytes, i: int, n: int, final: bool, book: Book) -> int:
    """From a backslash to behind its TAG block; to the next byte where it is none; -1 where more bytes are needed."""
    stop = min(n, i + LONGEST_TAG)
    for j in range(i + 1, stop):
        if buf[j] == LF or buf[j] == CR or buf[j] == DOLLAR or buf[j] == BANG:
            return i + 1
        if buf[j] == BACKSLASH:
            book.tag_s[0], whole_block = tag_time(buf, i + 1, j)
            book.counts[TAGS_FAILED] += not whole_block
            return j + 1
    return i + 1 if final or n >= i + LONGEST_TAG else -1


@njit(cache=True, error_model="numpy")
def state_of(book: Book, slot: int, written: int, summed: int, has_star: bool, whole_line: bool) -> int:
    """GOOD, BARE, BAD or CUT; without a checksum only what is printable, ended, and of a talker that writes none."""
    if has_star:
        if written != summed:
            return BAD
        book.checked[slot] = 1
        return GOOD
    return BARE if whole_line and not book.checked[slot] else CUT


@njit(cache=True, error_model="numpy")
def scan(buf: Bytes, n: int, final: bool, book: Book, out: Records) -> int:
    """Records of the sentences that end within ``buf[:n]`` (all, if ``final``): ``book.counts[RECORDS]`` in ``out``.

    Returns how many bytes are done with: the rest is the start of an unfinished sentence and belongs before the
    next chunk. ``out`` needs room for as many records as there are ``$``.
    """
    low, high = np.zeros(FIELDS, np.int64), np.zeros(FIELDS, np.int64)
    value = np.empty(VALUES)
    count = book.counts
    count[RECORDS] = 0
    i = 0
    while i < n:
        c = buf[i]
        if c in (LF, CR):
            if c == CR or not count[AFTER_CR]:
                count[LINES] += 1
            book.tag_s[0] = np.nan
        count[AFTER_CR] = c == CR
        i += 1
        if c == BACKSLASH:
            behind = pass_tag(buf, i - 1, n, final, book)
            if behind < 0:
                return i - 1
            i = behind
        if c != DOLLAR:
            continue
        stop = min(n, i + LONGEST_SENTENCE)
        end, star, summed, plain = walk(buf, i, stop, low, high)
        ended, short = end < stop, n < i + LONGEST_SENTENCE
        if not ended and short and not final:
            return i - 1
        if not (ended or short):
            continue
        code = address_code(buf, i) if star - i > 5 else -2
        i = end
        if code == -2:
            continue
        written = checksum_at(buf, star, end) if star < end else -1
        count[SENTENCES] += 1
        count[WRONG] += star < end and written != summed
        slot = slot_for(book, code) if code >= 0 else -1
        if slot < 0:
            continue
        state = state_of(book, slot, written, summed, star < end, plain and ended)
        for k in range(VALUES):
            value[k] = book.tag_s[0] if k == TAG else np.nan
        if state <= BARE:
            kind = code // 936
            if kind <= LAST_FIX:
                read_fix(buf, low, high, kind, value)
            elif kind <= LAST_DEPTH:
                read_depth(buf, low, high, kind, value)
            else:
                read_other(buf, low, high, kind, value)
        m = count[RECORDS]
        count[RECORDS] += 1
        out.line[m], out.slot[m], out.state[m] = count[LINES] + 1, slot, state
        for k in range(VALUES):
            out.value[m, k] = value[k]
    return n
