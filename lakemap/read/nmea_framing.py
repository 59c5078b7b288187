"""NMEA 0183: finds sentences in bytes and checks their checksums, many at a time.

A sentence starts at ``$`` and ends at the next line end or ``$``, so that TAG blocks (``\\...\\`` before it), other
talk on the line and binary junk fall away by themselves. Layout from the open document "NMEA Revealed" (ntpsec/gpsd).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]

DOLLAR, STAR, COMMA, LF, CR = 36, 42, 44, 10, 13
NO_CHECKSUM, GOOD, BAD = 0, 1, 2
ADDRESS_LENGTH = 5
_PADDING = b"\0" * 8
"""So that the checksum and address of a last sentence may be looked up without minding the end."""

_HEX = np.full(256, -1, dtype=np.int16)
_HEX[np.frombuffer(b"0123456789", np.uint8)] = np.arange(10)
_HEX[np.frombuffer(b"ABCDEF", np.uint8)] = np.arange(10, 16)
_HEX[np.frombuffer(b"abcdef", np.uint8)] = np.arange(10, 16)


@dataclass(frozen=True)
class Framed:
    """k sentences with a five-letter address, in order: ``start`` of the address and ``end`` of the last field in
    ``data``; ``kind`` the last three letters as one number (see kind_code); ``checksum`` NO_CHECKSUM, GOOD or BAD;
    ``commas`` in it; ``line`` from 0; ``lines`` that ``data`` has.
    """

    data: bytes
    start: Ints
    end: Ints
    kind: Ints
    checksum: NDArray[np.int8]
    commas: Ints
    line: Ints
    lines: int


def kind_code(letters: bytes) -> int:
    """Three letters of a sentence type as one number."""
    return letters[0] << 16 | letters[1] << 8 | letters[2]


def frame(chunk: bytes) -> Framed:
    """All sentences in some bytes; proprietary ones (``$P...``) and those with an odd address are left out."""
    data = chunk + _PADDING
    buffer = np.frombuffer(data, np.uint8)
    line_end = (buffer == LF) | (buffer == CR)
    start = np.flatnonzero(buffer == DOLLAR) + 1
    end = _next_at(np.flatnonzero(line_end | (buffer == DOLLAR)), start, len(chunk))
    start, end = _standard_addresses(buffer, start, end)
    star = _next_at(np.flatnonzero(buffer == STAR), start, len(chunk))
    has_star = star < end
    body_end = np.where(has_star, star, end)
    commas = np.flatnonzero(buffer == COMMA)
    breaks = np.flatnonzero((buffer == LF) | ((buffer == CR) & (np.append(buffer[1:], 0) != LF)))
    return Framed(
        data=data, start=start, end=body_end, kind=_three_letters(buffer, start + 2),
        checksum=_checksum_state(buffer, start, body_end, has_star),
        commas=np.searchsorted(commas, body_end) - np.searchsorted(commas, start),
        line=np.searchsorted(breaks, start), lines=len(breaks),
    )


def _next_at(places: Ints, start: Ints, beyond: int) -> Ints:
    """The first of ``places`` at or after each start; ``beyond`` where there is none."""
    return np.append(places, beyond)[np.searchsorted(places, start)]


def _standard_addresses(buffer: NDArray[np.uint8], start: Ints, end: Ints) -> tuple[Ints, Ints]:
    fits = end - start > ADDRESS_LENGTH
    start, end = start[fits], end[fits]
    letters = buffer[start[:, None] + np.arange(ADDRESS_LENGTH)]
    capital = (letters >= ord("A")) & (letters <= ord("Z"))
    digit = (letters[:, 1] >= ord("0")) & (letters[:, 1] <= ord("9"))
    capital[:, 1] |= digit
    standard = capital.all(axis=1) & (letters[:, 0] != ord("P")) & (buffer[start + ADDRESS_LENGTH] == COMMA)
    return start[standard], end[standard]


def _three_letters(buffer: NDArray[np.uint8], at: Ints) -> Ints:
    first, second, third = (buffer[at + i].astype(np.int64) for i in range(3))
    return first << 16 | second << 8 | third


def _checksum_state(buffer: NDArray[np.uint8], start: Ints, star: Ints, has_star: NDArray[np.bool_]) -> Any:
    """Running XOR over all bytes gives the XOR of any stretch as that of its two ends."""
    running = np.bitwise_xor.accumulate(buffer)
    summed = running[star - 1] ^ running[start - 1]
    digits = [_HEX[buffer[np.minimum(star + i, len(buffer) - 1)]] for i in (1, 2)]
    written = np.where((digits[0] >= 0) & (digits[1] >= 0), digits[0] * 16 + digits[1], -1)
    state = np.where(written == summed, GOOD, BAD)
    return np.where(has_star, state, NO_CHECKSUM).astype(np.int8)
