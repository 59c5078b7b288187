"""Tables of any length as blocks of whole lines in UTF-8, and what their first lines tell of their form."""

from __future__ import annotations

import codecs
import csv
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lakemap.errors import InputError
from lakemap.read.source import Source, as_text
from lakemap.read.table_text import MOST_COLUMNS, Table, split_table, unix_lines

BLOCK_BYTES = 1 << 21
LONGEST_LINE = 1 << 24
"""A line longer than this is no row of a table of soundings."""
LONGEST_CELL = 1 << 16
"""A cell in quotes longer than this is taken for a stray quote."""
_UTF16 = {b"\xff\xfe": "utf-16-le", b"\xfe\xff": "utf-16-be"}


@dataclass(frozen=True)
class TableHead:
    """``sample`` is the table that the first lines make; ``above`` lines stand before the first row (header and what is
    above it); ``width`` columns in the rows, which may have an empty one more than the header."""

    sample: Table
    above: int
    width: int

    @cached_property
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
    if source.size > len(source.head) and len(text.strip("\n").split("\n")) < 2:
        raise InputError(f"{source.name}: line 2 has over {len(source.head)} bytes; a table may have {MOST_COLUMNS} "
                         "columns, is this one?")
    sample = split_table(text, source.name)
    above = sample.header_line
    rows = [row for row in csv.reader(text.split("\n")[above : above + 200], delimiter=sample.delimiter) if row]
    width = Counter(map(len, rows)).most_common(1)[0][0] if rows else len(sample.headers)
    return TableHead(sample, above, max(width, len(sample.headers)))


def blocks(source: Source, above: int, delimiter: str = ",") -> Iterator[tuple[bytes, int, int]]:
    """Blocks of whole lines in UTF-8, each with the number of its first line, from 1, and how many there are; the first
    ``above`` lines are left out. A last line without its end comes alone, as it is.
    Raises InputError for a line that is longer than any row.
    """
    pending, line = b"", 1
    for chunk in _clean_chunks(source):
        whole, pending = _whole_lines(pending, chunk, delimiter)
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
        yield pending, line, count_lines(pending) + (not pending.endswith(b"\n"))


def count_lines(data: bytes) -> int:
    """How many line feeds there are."""
    return int(np.count_nonzero(np.frombuffer(data, dtype=np.uint8) == ord("\n")))


def line_numbers(data: bytes, first: int, rows: int, delimiter: str) -> NDArray[np.int64] | None:
    """The line of each of ``rows`` rows in a block whose first line is ``first``: blank lines carry none, and line ends
    within quotes end no row. None where that does not come out."""
    ends = np.flatnonzero(np.frombuffer(data, dtype=np.uint8) == ord("\n"))
    starts = np.concatenate([[0], ends[:-1] + 1]).astype(np.int64)
    filled = np.flatnonzero(ends > starts)
    if len(filled) == rows:
        return first + filled
    opens = np.searchsorted(quotes(data, delimiter), starts) % 2 == 1
    begun = np.flatnonzero((ends > starts) & ~opens)
    return first + begun if len(begun) == rows else None


def quotes(data: bytes, delimiter: str) -> NDArray[np.int64]:
    """Places of the quotes that open or close a cell: an odd number of them side by side, at a cell's border. Others,
    as an inch sign in a note, are letters."""
    letters = np.frombuffer(data, dtype=np.uint8)
    at = np.flatnonzero(letters == ord('"'))
    begins = np.flatnonzero(np.diff(at, prepend=-2) != 1)
    run = np.diff(np.append(begins, len(at)))
    first, last = at[begins], at[begins] + run - 1
    padded, borders = np.full(len(letters) + 2, ord("\n"), dtype=np.uint8), (ord(delimiter), ord("\n"))
    padded[1:-1] = letters
    border = np.isin(padded[first], borders) | np.isin(padded[last + 2], borders)
    return np.asarray(first[border & (run % 2 == 1)], dtype=np.int64)


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


def _whole_lines(pending: bytes, chunk: bytes, delimiter: str) -> tuple[bytes, bytes]:
    """All whole lines of what was left and what came, and the rest."""
    if b'"' in pending or b'"' in chunk:
        data = pending + chunk
        cut = _cut(data, delimiter)
        return data[:cut], data[cut:]
    cut = chunk.rfind(b"\n") + 1
    if cut == 0:
        return b"", pending + chunk
    return b"".join((pending, memoryview(chunk)[:cut])), chunk[cut:]


def _cut(data: bytes, delimiter: str) -> int:
    """Where the last whole line ends; before a cell in quotes that goes on behind it, if its start is near."""
    ends = np.flatnonzero(np.frombuffer(data, dtype=np.uint8) == ord("\n")) + 1
    if not len(ends):
        return 0
    whole = ends[np.searchsorted(quotes(data, delimiter), ends) % 2 == 0]
    cut, end = int(whole[-1]) if len(whole) else 0, int(ends[-1])
    return cut if end - cut < LONGEST_CELL else end
