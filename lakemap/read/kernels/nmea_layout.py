"""NMEA 0183: the kinds of sentences that are read, and the tables of one log's records; plain arrays, no compiler."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

KINDS = (
    "RMC", "GGA", "GNS", "GLL", "ZDA", "DPT", "DBT", "DBS", "DBK", "HDT", "THS", "HDG", "HDM", "VHW", "MTW", "GSA",
)
RMC, GGA, GNS, GLL, ZDA, DPT, DBT, DBS, DBK, HDT, THS, HDG, HDM, VHW, MTW, GSA = range(len(KINDS))
LAST_FIX, LAST_DEPTH = ZDA, DBK
"""Kinds up to LAST_FIX tell time and place, those behind it up to LAST_DEPTH a depth."""

GOOD, BARE, BAD, CUT = range(4)
"""State of a sentence: checksum right; none written and none expected; wrong; cut short (its kind has one else)."""
VALUES = 6
"""Values of a record: fix: second of day, day since 1970, lon, lat, sigma [m] (RMC: variation); depth: [m], offset [m],
in feet; heading: [deg], variation [deg]; the last is the TAG block's time [s since 1970] whatever the kind."""
TOD, DAY, LON, LAT, EXTRA, TAG = range(VALUES)
DEPTH, OFFSET, IN_FEET = range(3)

BY_TIME_OF_DAY, BY_TAG, BY_COUNT = range(3)
"""Where the clock of a log comes from: its sentences, its TAG blocks, or nothing: fixes are counted."""

SLOTS = 64
"""Talkers times kinds that one log is followed in; a boat has some twenty, the rest of a hostile file is left out."""
ADDRESSES = len(KINDS) * 26 * 36


def _kind_table() -> NDArray[np.int8]:
    table = np.full(26**3, -1, np.int8)
    for index, kind in enumerate(KINDS):
        a, b, c = (ord(letter) - ord("A") for letter in kind)
        table[(a * 26 + b) * 26 + c] = index
    return table


KIND_TABLE = _kind_table()


class Book(NamedTuple):
    """What is carried from chunk to chunk while scanning.

    ``slot_of`` (ADDRESSES,) slot of each address, -1 before it is met; ``address`` (SLOTS,) the other way;
    ``checked`` (SLOTS,) whether sentences of a slot carry checksums; ``tag_s`` (1,) time of the line's TAG block;
    ``counts`` (7,): lines ended, last byte was CR, slots used, sentences, wrong checksums, TAG blocks that failed,
    records made.
    """

    slot_of: NDArray[np.int16]
    address: NDArray[np.int32]
    checked: NDArray[np.uint8]
    tag_s: Floats
    counts: Ints

    @classmethod
    def blank(cls) -> Book:
        """Before the first byte."""
        return cls(
            np.full(ADDRESSES, -1, np.int16), np.full(SLOTS, -1, np.int32), np.zeros(SLOTS, np.uint8),
            np.full(1, np.nan), np.zeros(7, np.int64),
        )

    def names(self) -> list[str]:
        """Address of each slot in use, such as ``SDDBT``."""
        return [address_name(int(code)) for code in self.address[: int(self.counts[SLOTS_USED])]]


LINES, AFTER_CR, SLOTS_USED, SENTENCES, WRONG, TAGS_FAILED, RECORDS = range(7)


class Records(NamedTuple):
    """Sentences of known kinds, in file order: ``line`` from 1, ``slot``, ``state`` (m,); ``value`` (m, VALUES)."""

    line: NDArray[np.int32]
    slot: NDArray[np.uint8]
    state: NDArray[np.uint8]
    value: Floats

    @classmethod
    def room(cls, m: int) -> Records:
        """Space for m of them."""
        return cls(np.empty(m, np.int32), np.empty(m, np.uint8), np.empty(m, np.uint8), np.empty((m, VALUES)))

    def first(self, m: int) -> Records:
        """The first m, in the same memory."""
        return Records(self.line[:m], self.slot[:m], self.state[:m], self.value[:m])

    def copied(self) -> Records:
        """The same in memory of their own."""
        return Records(self.line.copy(), self.slot.copy(), self.state.copy(), self.value.copy())


def address_name(code: int) -> str:
    """The five letters of an address code."""
    kind, talker = divmod(code, 26 * 36)
    first, second = divmod(talker, 36)
    return chr(65 + first) + (chr(65 + second) if second < 26 else chr(22 + second)) + KINDS[kind]


def kind_of(address: str) -> int:
    """Index in KINDS of an address such as ``SDDBT``."""
    return KINDS.index(address[2:])
