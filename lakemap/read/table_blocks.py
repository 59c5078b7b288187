"""Tables of any length as blocks of whole lines in UTF-8, and what their first lines tell of their form."""

from __future__ import annotations

import codecs
import csv
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lakemap.errors import InputError
from lakemap.read.source import Source, as_text
from lakemap.read.table_text import MOST_COLUMNS, Table, split_table, unix_lines

BLOCK_BYTES = 1 << 20
LONGEST_LINE = 1 << 24
"""A line longer than this is no row of a table of soundings."""
LOOK_BACK_LINES = 200
"""How far a block's end is moved back for a cell in quotes that runs over several lines."""
_UTF16 = {b"\xff\xfe": "utf-16-le", b"\xfe\xff": "utf-16-be"}


@dataclass(frozen=True)
class TableHead:
    """``sample`` is the table that the first lines make; ``above`` lines stand before the first row (header and what is
    above it); ``width`` columns in the rows, which may have an empty one more than the header."""

    sample: Table
    above: int
    width: int

    @property
    def decimal(self) -> str:
        """The decimal mark of most numbers."""
        if self.sample.delimiter == ",":
            return "."
        commas = sum(column.str.fullmatch(r"[+-]?\d+,\d+").sum() for column in self.sample.cells)
        points = sum(column.str.fullmatch(r"[+-]?\d+\.\d+").sum() for column in self.sample.cells)
        return "," if commas > points else "."


def read_head(source: Source) -> TableHead:
    """What the first lines of a file tell. Raises InputError where they are no table."""
    text = unix_lines(as_text(source.head))
    if source.size > len(source.head):
        text = text[: text.rfind("\n") + 1]
    if not text:
        raise InputError(f"{source.name}: its first line has over {len(source.head)} bytes; a table may have "
                         f"{MOST_COLUMNS} columns, leave the others out")
    sample = split_table(text, source.name)
    above = sample.header_line
    rows = [row for row in csv.reader(text.split("\n")[above : above + 200], delimiter=sample.delimiter) if row]
    width = Counter(map(len, rows)).most_common(1)[0][0] if rows else len(sample.headers)
    return TableHead(sample, above, max(width, len(sample.headers)))


def blocks(source: Source, above: int) -> Iterator[tuple[bytes, int, int]]:
    """Blocks of whole lines in UTF-8, each with the number of its first line, from 1, and how many there are; the first
    ``above`` lines are left out. Raises InputError for a line that is longer than any row."""
    pending, line = b"", 1
    for chunk in _clean_chunks(source):
        whole, pending = _whole_lines(pending, chunk)
        if len(pending) > LONGEST_LINE:
            at = line + count_lines(whole)
            raise InputError(f"{source.name}: line {at} has over {LONGEST_LINE} bytes; a table may have {MOST_COLUMNS} "
                             "columns, is this one?")
        lines = count_lines(whole)
        skipped = min(above, lines)
        if skipped:
            whole = whole.split(b"\n", skipped)[-1]
        if whole:
            yield whole, line + skipped, lines - skipped
        line, above = line + lines, above - skipped
    if pending and not above:
        yield pending + b"\n", line, 1


def count_lines(data: bytes) -> int:
    """How many line feeds there are."""
    return int(np.count_nonzero(np.frombuffer(data, dtype=np.uint8) == ord("\n")))


def line_numbers(data: bytes, first: int, rows: int) -> NDArray[np.int64] | None:
    """The line of each of ``rows`` rows in a block whose first line is ``first``: blank lines carry none, and line ends
    within quotes end no row. None where that does not come out."""
    letters = np.frombuffer(data, dtype=np.uint8)
    ends = np.flatnonzero(letters == ord("\n"))
    starts = np.concatenate([[0], ends[:-1] + 1]).astype(np.int64)
    filled = np.flatnonzero(ends > starts)
    if len(filled) == rows:
        return first + filled
    quoted = (np.cumsum(letters == ord('"')) & 1).astype(bool)
    opens = np.concatenate([[False], quoted[ends[:-1]]])
    begun = np.flatnonzero((ends > starts) & ~opens)
    return first + begun if len(begun) == rows else None


def _clean_chunks(source: Source) -> Iterator[bytes]:
    """The file in UTF-8 without byte order mark and NUL, lines ended by a line feed."""
    with source.open() as file:
        chunk = file.read(BLOCK_BYTES)
        wide = _UTF16.get(chunk[:2])
        decoder = codecs.getincrementaldecoder(wide)(errors="replace") if wide else None
        chunk = chunk[2:] if wide else chunk.removeprefix(codecs.BOM_UTF8)
        held = b""
        while chunk:
            if decoder:
                chunk = decoder.decode(chunk).encode()
            if b"\0" in chunk:
                chunk = chunk.replace(b"\0", b"")
            chunk = held + chunk if held else chunk
            held = b"\r" if chunk.endswith(b"\r") else b""
            chunk = chunk[:-1] if held else chunk
            yield unix_lines(chunk) if b"\r" in chunk else chunk
            chunk = file.read(BLOCK_BYTES)
        if held:
            yield b"\n"


def _whole_lines(pending: bytes, chunk: bytes) -> tuple[bytes, bytes]:
    """All whole lines of what was left and what came, and the rest."""
    if b'"' in pending or b'"' in chunk:
        data = pending + chunk
        cut = _cut(data)
        return data[:cut], data[cut:]
    cut = chunk.rfind(b"\n") + 1
    if cut == 0:
        return b"", pending + chunk
    return b"".join((pending, memoryview(chunk)[:cut])), chunk[cut:]


def _cut(data: bytes) -> int:
    """Where the last whole line ends; before a cell in quotes that goes on behind it, if its start is near."""
    end = data.rfind(b"\n") + 1
    if data.count(b'"', 0, end) % 2 == 0:
        return end
    cut = end
    for _ in range(LOOK_BACK_LINES):
        back = data.rfind(b"\n", 0, cut - 1) + 1
        if back == 0:
            return end
        if data.count(b'"', back, cut) % 2:
            return back
        cut = back
    return end
