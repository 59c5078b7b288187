"""NMEA 0183: the records of a log, chunk by chunk, as often as they are asked for."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import reduce

import numpy as np

from lakemap.read.kernels.nmea_layout import KINDS, RECORDS, SLOTS_USED, Book, Records
from lakemap.read.source import Source

CHUNK_BYTES = 1 << 21
KEPT_BYTES = 80 << 20
"""Records are kept for the second look while they are fewer than this (some 1.5 million sentences); a longer log is
scanned twice, so that memory does not grow with it."""
SHORTEST_SENTENCE = 7
_BYTES_A_RECORD = 54
_KNOWN = re.compile(rb"\$([A-OQ-Z][A-Z0-9](?:" + "|".join(KINDS).encode() + rb"),[^$!\\*\r\n]*)(?:\*([0-9A-Fa-f]{2}))?")
ENOUGH = 200


class Stream:
    """``for records in stream``: the same records each time; ``book`` tells of the last complete run."""

    def __init__(self, source: Source) -> None:
        self.source = source
        self.book = Book.blank()
        self._kept: list[Records] | None = None

    def __iter__(self) -> Iterator[Records]:
        if self._kept is not None:
            yield from self._kept
            return
        kept: list[Records] | None = []
        held = 0
        for records in self._scanned():
            held += len(records.line) * _BYTES_A_RECORD
            kept = None if kept is None or held > KEPT_BYTES else [*kept, records.copied()]
            yield records
        self._kept = kept

    def _scanned(self) -> Iterator[Records]:
        from lakemap.read.kernels.nmea_scan import LONGEST_SENTENCE, scan

        self.book = book = _book_for(self.source.head)
        buffer = np.empty(CHUNK_BYTES + LONGEST_SENTENCE, np.uint8)
        out = Records.room(len(buffer) // SHORTEST_SENTENCE + 1)
        rest = 0
        with self.source.open() as file:
            while True:
                block = file.read(CHUNK_BYTES)
                n = rest + len(block)
                buffer[rest:n] = np.frombuffer(block, np.uint8)
                done = scan(buffer, n, not block, book, out)
                yield out.first(int(book.counts[RECORDS]))
                if not block:
                    return
                rest = n - done
                buffer[:rest] = buffer[done:n].copy()


def _book_for(head: bytes) -> Book:
    """A book that knows which sentences of the head carry checksums, so that a first one cut short is not believed."""
    from lakemap.read.kernels.nmea_scan import scan

    book = Book.blank()
    data = np.frombuffer(head, np.uint8).copy()  # writable as a chunk is: another type would compile anew
    scan(data, len(data), False, book, Records.room(len(data) // SHORTEST_SENTENCE + 1))
    used = int(book.counts[SLOTS_USED])
    book.counts[:] = 0
    book.counts[SLOTS_USED] = used
    book.tag_s[0] = np.nan
    return book


def count_known(head: bytes) -> int:
    """How many sentences of a known kind, whose checksum does not fail, some bytes hold; counted up to a few hundred.

    Without the compiler: every file of the user's is looked at this way.
    """
    known = 0
    for found in _KNOWN.finditer(head):
        known += found[2] is None or int(found[2], 16) == reduce(int.__xor__, found[1], 0)
        if known >= ENOUGH:
            break
    return known


