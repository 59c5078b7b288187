"""NMEA 0183, compiled: finds sentences in bytes, checks their checksums and turns those of known kinds into records.

A sentence starts at ``$`` and ends at the next line end, ``$``, ``!`` or backslash, so that TAG blocks
(``\\...\\`` before it), glued sentences and binary junk fall away by themselves. One pass over the bytes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lakemap.compiled import kernel
from lakemap.read.kernels.nmea_bytes import number
from lakemap.read.kernels.nmea_layout import (
    AFTER_CR,
    BAD,
    BARE,
    CUT,
    GOOD,
    KIND_TABLE,
    LINES,
    RECORDS,
    SENTENCES,
    SLOTS,
    SLOTS_USED,
    TAG,
    TAGS_FAILED,
    VALUES,
    WRONG,
    Book,
    Records,
)
from lakemap.read.kernels.nmea_values import FIELDS, read_fields

Bytes = NDArray[np.uint8]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

LONGEST_SENTENCE, LONGEST_TAG = 1024, 256
"""The standard has 82 characters for a sentence and 80 for a TAG block; what is far longer is junk."""
DOLLAR, STAR, COMMA, LF, CR, BACKSLASH, BANG, COLON = 36, 42, 44, 10, 13, 92, 33, 58
_P, _c = 80, 99
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


@kernel("numpy")
def hex_digit(letter: int) -> int:
    """0..15, or -1."""
    if 48 <= letter <= 57:
        return letter - 48
    if 65 <= letter <= 70:
        return letter - 55
    return letter - 87 if 97 <= letter <= 102 else -1


@kernel("numpy")
def checksum_at(buf: Bytes, star: int, n: int) -> int:
    """The two hex digits behind a star; -1 where they are not."""
    if star + 2 >= n:
        return -1
    high, low = hex_digit(buf[star + 1]), hex_digit(buf[star + 2])
    return -1 if high < 0 or low < 0 else high * 16 + low


@kernel("numpy")
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


@kernel("numpy")
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


@kernel("numpy")
def new_slot(book: Book, code: int) -> int:
    """A slot for an address met for the first time; -1 when all are taken."""
    slot = int(book.counts[SLOTS_USED])
    if slot == SLOTS:
        return -1
    book.slot_of[code], book.address[slot] = slot, code
    book.counts[SLOTS_USED] += 1
    return slot


@kernel("numpy")
def tag_time(buf: Bytes, start: int, end: int) -> tuple[float, bool]:
    """The time ``c:`` of a TAG block [s since 1970], NaN without, and whether its checksum holds."""
    total, star, at = np.uint8(0), end, start - 1
    for i in range(start, end):
        if buf[i] == STAR:
            star = i
            break
        total ^= buf[i]
        if buf[i] == COLON and i > start and buf[i - 1] == _c and (i == start + 1 or buf[i - 2] == COMMA):
            at = i + 1
    if checksum_at(buf, star, end) != total:
        return np.nan, False
    if at < start:
        return np.nan, True
    stop = at
    while stop < star and buf[stop] != COMMA:
        stop += 1
    seconds = number(buf, at, stop)
    seconds = seconds / 1000.0 if seconds >= TAG_IN_MS else seconds
    return (seconds if EARLIEST_TAG_S <= seconds < LATEST_TAG_S else np.nan), True


@kernel("numpy")
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


@kernel("numpy")
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
        for k in range(VALUES):
            value[k] = tag_s[0] if k == TAG else np.nan
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
