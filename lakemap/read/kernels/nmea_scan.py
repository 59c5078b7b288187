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
def walk(buf: Bytes, start: int, stop: int, bound: Ints) -> tuple[int, int, int, bool]:
    """Along one sentence from behind its ``$``: end (``stop`` where none), its star or end, XOR, all printable.

    Field k behind the address is ``buf[bound[k] + 1 : bound[k + 1]]``, empty where it is not there; ``bound``
    (FIELDS + 1,). Unsigned indices spare the compiler the question whether they count from the end.
    """
    total, count, seen = np.uint8(0), 0, np.uint8(0)
    i = start
    while i < stop:
        c = buf[np.uint64(i)]
        role = ROLES[c]
        if role > JUNK:
            if role > SEPARATES:
                break
            if count <= FIELDS:
                bound[np.uint64(count)] = i
            count += 1
        total ^= c
        seen |= role
        i += 1
    star = i
    for k in range(min(count, FIELDS + 1), FIELDS + 1):
        bound[np.uint64(k)] = star
    while i < stop and ROLES[buf[np.uint64(i)]] != ENDS:
        i += 1
    return i, star, int(total), seen & JUNK == 0


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
def letter(buf: Bytes, bound: Ints, k: int) -> int:
    """The first character of a field, 0 where it is empty."""
    return int(buf[bound[k] + 1]) if bound[k + 1] > bound[k] + 1 else 0


@njit(cache=True, error_model="numpy")
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
def valid(buf: Bytes, bound: Ints, kind: int) -> bool:
    """Whether RMC or GLL say that they are a fix; GLL's oldest form has neither time nor status and is one."""
    if kind == GLL and bound[5] <= bound[4] + 1 and bound[6] <= bound[5] + 1 and bound[7] <= bound[6] + 1:
        return True
    status, mode = (1, 11) if kind == RMC else (5, 6)
    way = letter(buf, bound, mode)
    return (letter(buf, bound, status) == _A and bound[status + 1] - bound[status] == 2
            and way not in (_N, _E, _M, _S))


@njit(cache=True, error_model="numpy")
def read_day(buf: Bytes, bound: Ints, kind: int) -> float:
    """RMC's ddmmyy, or ZDA's three fields, as days since 1970."""
    if kind == RMC:
        a = bound[8] + 1
        packed = whole(buf, a, bound[9]) if bound[9] - a == 6 else -1
        return day_number(packed // 10000, packed // 100 % 100, packed % 100, True) if packed >= 0 else np.nan
    day, month = whole(buf, bound[1] + 1, bound[2]), whole(buf, bound[2] + 1, bound[3])
    year = whole(buf, bound[3] + 1, bound[4])
    return day_number(day, month, year, bound[4] - bound[3] == 3)


@njit(cache=True, error_model="numpy")
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


@njit(cache=True, error_model="numpy")
def signed_deg(buf: Bytes, bound: Ints, k: int) -> float:
    """Deviation or variation in field k and its letter in the next; east positive."""
    side, size = letter(buf, bound, k + 1), number(buf, bound[k] + 1, bound[k + 1])
    return size if side == _E else -size if side == _W else np.nan


@njit(cache=True, error_model="numpy")
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


@njit(cache=True, error_model="numpy")
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


@njit(cache=True, error_model="numpy")
def new_slot(book: Book, code: int) -> int:
    """A slot for an address met for the first time; -1 when all are taken."""
    slot = int(book.counts[SLOTS_USED])
    if slot == SLOTS:
        return -1
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
def read_fields(buf: Bytes, bound: Ints, kind: int, value: Floats) -> None:
    """The values of one sentence of a known kind; the last of ``value`` (VALUES,) stays."""
    for k in range(TAG):
        value[k] = np.nan
    if kind <= LAST_FIX:
        read_fix(buf, bound, kind, value)
    elif kind <= LAST_DEPTH:
        read_depth(buf, bound, kind, value)
    else:
        read_other(buf, bound, kind, value)


@njit(cache=True, error_model="numpy")
def scan(buf: Bytes, n: int, final: bool, book: Book, out: Records) -> int:
    """Records of the sentences that end within ``buf[:n]`` (all, if ``final``): ``book.counts[RECORDS]`` in ``out``.

    Returns how many bytes are done with: the rest is the start of an unfinished sentence and belongs before the
    next chunk. ``out`` needs room for as many records as there are ``$``. A sentence without a checksum is BARE where
    it is printable, ended, and its talker writes none; else CUT.
    """
    bound, value = np.zeros(FIELDS + 1, np.int64), np.empty(VALUES)
    counts, slot_of, checked, tag_s = book.counts, book.slot_of, book.checked, book.tag_s
    lines, after_cr, sentences, wrong, m = counts[LINES], counts[AFTER_CR], 0, 0, 0
    i, done = 0, n
    while i < n:
        c = buf[np.uint64(i)]
        if c in (LF, CR):
            lines += c == CR or not after_cr
            tag_s[0] = np.nan
        after_cr = c == CR
        i += 1
        if c == BACKSLASH:
            behind = pass_tag(buf, i - 1, n, final, book)
            if behind < 0:
                done = i - 1
                break
            i = behind
        if c != DOLLAR:
            continue
        stop = min(n, i + LONGEST_SENTENCE)
        end, star, summed, plain = walk(buf, i, stop, bound)
        ended, short = end < stop, n < i + LONGEST_SENTENCE
        if not (ended or short):
            continue
        if not (ended or final):
            done = i - 1
            break
        code = address_code(buf, i) if star - i > 5 else -2
        i = end
        if code == -2:
            continue
        written = checksum_at(buf, star, end) if star < end else -1
        sentences += 1
        wrong += star < end and written != summed
        slot = np.int64(slot_of[code]) if code >= 0 else -1
        if slot < 0 and code >= 0:
            slot = new_slot(book, code)
        if slot < 0:
            continue
        state = BARE if plain and ended and not checked[slot] else CUT
        if star < end:
            state = GOOD if written == summed else BAD
            checked[slot] |= state == GOOD
        value[TAG] = tag_s[0]
        if state <= BARE:
            read_fields(buf, bound, code // 936, value)
        out.line[m], out.slot[m], out.state[m] = lines + 1, slot, state
        for k in range(VALUES):
            out.value[m, k] = value[k]
        m += 1
    counts[LINES], counts[AFTER_CR], counts[RECORDS] = lines, after_cr, m
    counts[SENTENCES] += sentences
    counts[WRONG] += wrong
    return done
