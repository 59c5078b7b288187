"""Columns of a table out of its blocks: compiled parsing straight to numbers and times; and a careful way, block by
block, for what is not written as most of it is."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Literal

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv
from numpy.typing import NDArray

from lakemap.errors import InputError
from lakemap.read.source import Source
from lakemap.read.table_blocks import TableHead, blocks, line_numbers
from lakemap.read.table_text import MOST_COLUMNS, NUMBER_PATTERN
from lakemap.read.times import iso_seconds, written_times

Ints = NDArray[np.int64]
Columns = dict[str, NDArray[Any]]
EMPTY, STRANGE = -1, -2
"""Codes of cells that hold no word, and a word that is none of the known ones."""
FEWEST_TO_DOUBT = 5
"""Rows that must agree before a last cell with fewer decimals is taken for a torn one."""
MOST_FORESEEN = 1 << 24
"""Rows that memory is taken for at once; more than that come as they come."""
_NO_NUMBER = ("nan", "NaN", "NAN", "null", "NULL", "NA", "N/A", "n/a", "none", "None", "-", "--")


@dataclass(frozen=True)
class Wanted:
    """A column to be read: place in the table, what its cells hold, whether times name their zone and are finer than a
    microsecond, known ``words``."""

    index: int
    header: str
    kind: Literal["number", "iso", "text", "word"] = "number"
    zoned: bool = False
    fine: bool = False
    words: tuple[str, ...] = ()


_ODD_CELL = re.compile(r"CSV column #(\d+): (?:Row #\d+: )?CSV conversion error")


class _OddCell(Exception):
    """A cell that does not fit the type of its column, whose place in the table is ``index``."""

    def __init__(self, index: int) -> None:
        super().__init__(index)
        self.index = index


class Gathered:
    """A column that grows block by block, in memory taken once where the number of rows is foreseen well."""

    def __init__(self, dtype: Any, rows: int) -> None:
        self._values = np.empty(rows, dtype=dtype)
        self.used = 0

    def add(self, values: NDArray[Any]) -> None:
        """Put values (k,) behind those that are there."""
        needed = self.used + len(values)
        if needed > len(self._values):
            grown = np.empty(needed + needed // 4, dtype=self._values.dtype)
            grown[: self.used] = self._values[: self.used]
            self._values = grown
        self._values[self.used : needed] = values
        self.used = needed

    def whole(self) -> NDArray[Any]:
        """The column (n,)."""
        return self._values[: self.used]


@dataclass
class TableParser:
    """Reads the wanted columns of one table. A column ``time`` becomes ``time`` (seconds) and ``time.zoned``, one in
    other forms ``time.day, time.clock, time.zoned`` (see times.Written); words become int8 codes."""

    source: Source
    head: TableHead
    wanted: Mapping[str, Wanted]
    strange: dict[str, str] = field(default_factory=dict)
    said: list[str] = field(default_factory=list)
    _marks: dict[str, set[str]] = field(default_factory=dict)
    _odd: set[int] = field(default_factory=set)

    def read(self) -> tuple[Columns, Ints]:
        """All columns (n,) and each row's line in the file. Raises InputError where a column mixes decimal marks."""
        gathered: dict[str, Gathered] = {}
        done = 0
        last = b""
        for data, first, count in blocks(self.source, self.head.above, self.head.sample.delimiter):
            last, data = data, data if data.endswith(b"\n") else data + b"\n"
            columns, line = self._typed(data, first, count) or self._careful(data, first)
            done += len(data)
            rows = int(len(line) * max(1.0, 1.05 * self.source.size / done))
            for name, values in (*columns.items(), ("", line)):
                if name not in gathered:
                    gathered[name] = Gathered(values.dtype, min(rows, MOST_FORESEEN))
                gathered[name].add(values)
        for name, marks in self._marks.items():
            if len(marks) > 1:
                raise InputError(f"{self.source.name}: column {self.wanted[name].header!r} has numbers with both comma "
                                 "and point; write one decimal mark")
        if "" not in gathered or not gathered[""].used:
            raise InputError(f"{self.source.name}: a header but no rows below it")
        line = gathered.pop("").whole()
        columns = {name: column.whole() for name, column in gathered.items()}
        if not last.endswith(b"\n"):
            self._doubt_last(columns, last.decode("utf-8", "replace"), int(line[-1]))
        return columns, line

    def _doubt_last(self, columns: Columns, text: str, line: int) -> None:
        """A file that ends within a number: the last cell is none where it has fewer decimals than all in the head."""
        cells = text.split(self.head.sample.delimiter)
        for name, w in self.wanted.items():
            if w.kind != "number" or w.index != len(cells) - 1:
                continue
            usual = self.head.sample.cells[w.index].map(_decimals)[:-1]
            if len(usual) >= FEWEST_TO_DOUBT and _decimals(cells[-1].strip()) < usual.min():
                columns[name][-1] = np.nan
                self.said.append(f"{self.source.name}: cut off in line {line}; its last number {cells[-1].strip()!r} "
                                 "may lack digits and is not taken")

    @cached_property
    def _nulls(self) -> list[str]:
        """Cells that stand for nothing: those that the first rows have, for each one costs a look at every cell."""
        cells = [self.head.sample.cells[w.index] for w in self.wanted.values()]
        return ["", *(word for word in _NO_NUMBER if any((column == word).any() for column in cells))]

    def _typed(self, data: bytes, first: int, count: int) -> tuple[Columns, Ints] | None:
        """The block of ``count`` lines read straight to its types, a column with an odd cell as text; None where a line
        is not as wide as expected, or may hold nothing."""
        found = self._to_types(data)
        if found is None:
            return None
        delimiter = self.head.sample.delimiter
        if found.num_rows == count:
            line = np.arange(first, first + count, dtype=np.int64)
        elif b'"' in data or (counted := line_numbers(data, first, found.num_rows, delimiter)) is None:
            return None
        else:
            line = counted
        columns: Columns = {}
        for name, w in self.wanted.items():
            columns |= self._column(name, w, _one(found[str(w.index)]))
        if self._may_be_blank(columns):
            return None
        for name, w in self.wanted.items():
            if w.kind == "number" and not self._marks.get(name) and _any_fraction(columns[name]):
                self._marks.setdefault(name, set()).add(self.head.decimal)
        return columns, line

    def _to_types(self, data: bytes) -> pa.Table | None:
        """The wanted columns, each to its type, or as text where a cell does not fit: such columns are found one by
        one, and tried as text first in the block that follows."""
        for _ in range(len(self.wanted) + 1):
            types = {str(w.index): pa.string() if w.index in self._odd else _type_of(w) for w in self.wanted.values()}
            try:
                return self._arrow(data, types, '"')
            except _OddCell as odd:
                self._odd.add(odd.index)
        return None

    def _may_be_blank(self, columns: Columns) -> bool:
        """Whether some row has nothing in any column of numbers."""
        plain = [columns[name] for name, w in self.wanted.items() if w.kind in ("number", "iso")]
        if not all(np.isnan(values.sum()) for values in plain):
            return False
        return bool(np.logical_and.reduce([np.isnan(values) for values in plain]).any()) if plain else True

    def _arrow(self, data: bytes, types: Mapping[str, pa.DataType] | None, quote: str | bool) -> pa.Table | None:
        names = [str(index) for index in range(self.head.width)]
        try:
            return pa.csv.read_csv(
                pa.BufferReader(data),
                pa.csv.ReadOptions(use_threads=False, block_size=len(data) + 1, column_names=names),
                pa.csv.ParseOptions(delimiter=self.head.sample.delimiter, quote_char=quote, newlines_in_values=True),
                pa.csv.ConvertOptions(
                    include_columns=list(types) if types else names, null_values=self._nulls,
                    column_types=types or dict.fromkeys(names, pa.string()), decimal_point=self.head.decimal,
                    check_utf8=types is None or pa.string() in types.values(),
                ),
            )
        except pa.ArrowInvalid as fault:
            odd = _ODD_CELL.search(str(fault))
            if odd and types and int(odd[1]) not in self._odd:
                raise _OddCell(int(odd[1])) from None
            return None

    def _column(self, name: str, w: Wanted, cells: pa.Array) -> Columns:
        """A column that Arrow has read to its type, or as text."""
        if w.index in self._odd and w.kind in ("number", "iso"):
            return self._odd_column(name, w, pc.utf8_trim_whitespace(cells.fill_null("")))
        if w.kind == "number":
            values = (cells.fill_null(np.nan) if cells.null_count else cells).to_numpy()
            finite = np.isfinite(values.sum()) or np.isfinite(values).all()
            return {name: values if finite else np.where(np.isfinite(values), values, np.nan)}
        if w.kind == "iso":
            ticks = (cells.cast(pa.int64()).fill_null(0) if cells.null_count else cells.cast(pa.int64())).to_numpy()
            seconds = (ticks // 1000 if w.fine else ticks) / 1e6
            known = np.asarray(cells.is_valid()) if cells.null_count else np.ones(len(ticks), dtype=bool)
            seconds = seconds if known.all() else np.where(known, seconds, np.nan)
            return {name: seconds, f"{name}.zoned": known & w.zoned}
        return self._text_column(name, w, pc.utf8_trim_whitespace(cells.fill_null("")))

    def _odd_column(self, name: str, w: Wanted, cells: pa.Array) -> Columns:
        """A column with a cell that is not as the others, as text."""
        if w.kind == "number":
            self._note_marks(name, cells)
            try:
                plain = pc.cast(pc.if_else(pc.equal(cells, ""), None, cells), pa.float64())
                self._odd.discard(w.index)
                return self._column(name, w, plain)
            except pa.ArrowInvalid:
                return {name: number_cells(cells)}
        columns = self._text_column(name, w, cells)
        if np.isfinite(columns[name]).all() and (columns[f"{name}.zoned"] == w.zoned).all():
            self._odd.discard(w.index)
        return columns

    def _careful(self, data: bytes, first: int) -> tuple[Columns, Ints]:
        """The block as text, cell by cell: what is no number becomes NaN; lines that are too short or too long stay.

        An open quote may swallow lines: of reading with and without quotes the one that finds more whole rows counts.
        """
        data = _valid(data)
        texts = self._texts(data, first, quoted=True)
        columns = self._from_texts(texts) if texts is not None else None
        if texts is None or texts.num_rows < sum(map(bool, data.split(b"\n"))):
            plain = self._texts(data, first, quoted=False)
            again = self._from_texts(plain) if plain is not None else {}
            if plain is not None and (columns is None or self._whole_rows(again) > self._whole_rows(columns)):
                texts, columns = plain, again
        if texts is None or columns is None:
            raise InputError(f"{self.source.name}: lines from {first} on cannot be split into columns; save it again "
                             "as CSV")
        line = line_numbers(data, first, texts.num_rows, self.head.sample.delimiter)
        line = np.arange(first, first + texts.num_rows, dtype=np.int64) if line is None else line
        for name, w in self.wanted.items():
            if w.kind == "number":
                self._note_marks(name, _one(texts[str(w.index)]))
        filled = np.zeros(texts.num_rows, dtype=bool)
        for cells in texts.columns:
            filled |= np.asarray(pc.not_equal(_one(cells), ""))
        return {name: values[filled] for name, values in columns.items()}, line[filled]

    def _texts(self, data: bytes, first: int, *, quoted: bool) -> pa.Table | None:
        """All columns as trimmed text, with quotes heeded or taken for letters; None where that makes no rows."""
        found = self._arrow(data, None, '"' if quoted else False)
        if found is None:
            found = self._ragged(data, first, csv.QUOTE_MINIMAL if quoted else csv.QUOTE_NONE)
        if found is None:
            return None
        cells = [pc.utf8_trim_whitespace(_one(column).fill_null("")) for column in found.columns]
        return pa.table(cells, names=found.column_names)

    def _ragged(self, data: bytes, first: int, quoting: int) -> pa.Table | None:
        """Lines of unequal width, no blank ones: short ones filled up, long ones cut; None where quotes stay open."""
        rows = [row for row in data.decode().split("\n") if row]
        delimiter, width = self.head.sample.delimiter, self.head.width
        widest = max(row.count(delimiter) for row in rows) + 1
        if widest > MOST_COLUMNS:
            at = next(i for i, row in enumerate(data.decode().split("\n")) if row.count(delimiter) >= MOST_COLUMNS)
            raise InputError(f"{self.source.name}: line {first + at} has {widest} columns; a table may have "
                             f"{MOST_COLUMNS}, mend or remove that line")
        # a first row of full width tells the splitter how many columns there are
        text = "\n".join([delimiter * (max(widest, width) - 1), *rows]) + "\n"
        try:
            frame = pd.read_csv(  # type: ignore[call-overload]
                io.StringIO(text), sep=delimiter, header=None, names=list(range(max(widest, width))), dtype=str,
                quoting=quoting, keep_default_na=False, skip_blank_lines=False, usecols=list(range(width)),
                index_col=False,
            )
        except (ValueError, pd.errors.ParserError, OverflowError):
            return None
        return pa.table({str(i): pa.array(frame[i][1:], pa.string()) for i in range(width)})

    def _from_texts(self, texts: pa.Table) -> Columns:
        columns: Columns = {}
        for name, w in self.wanted.items():
            columns |= self._text_column(name, w, _one(texts[str(w.index)]))
        return columns

    def _whole_rows(self, columns: Columns) -> int:
        """Rows in which every number is there."""
        numbers = [columns[name] for name, w in self.wanted.items() if w.kind == "number" and name in PLACE_AND_DEPTH]
        return int(np.isfinite(np.sum(numbers, axis=0)).sum()) if numbers else 0

    def _text_column(self, name: str, w: Wanted, cells: pa.Array) -> Columns:
        if w.kind == "number":
            return {name: number_cells(cells)}
        if w.kind == "iso":
            seconds, zoned = iso_seconds(cells)
            return {name: seconds, f"{name}.zoned": zoned}
        if w.kind == "text":
            written = written_times(cells)
            return {f"{name}.day": written.day, f"{name}.clock": written.clock_s, f"{name}.zoned": written.zoned}
        codes, strange = word_codes(cells, w)
        if strange:
            self.strange.setdefault(name, strange)
        return {name: codes}

    def _note_marks(self, name: str, cells: pa.Array) -> None:
        numeric = pc.match_substring_regex(cells, r"^[-+\d.,]+$")
        for mark in ".,":
            if pc.any(pc.and_(numeric, pc.match_substring(cells, mark))).as_py():
                self._marks.setdefault(name, set()).add(mark)


PLACE_AND_DEPTH = ("lat", "lon", "x", "y", "depth")


def word_codes(cells: pa.Array, w: Wanted) -> tuple[NDArray[np.int8], str]:
    """Index of each word (n,) among the known ones, whatever its case, EMPTY or STRANGE; and the first strange one."""
    lowered = pc.utf8_lower(cells)
    at = np.asarray(pc.index_in(lowered, pa.array(w.words)).fill_null(STRANGE))
    codes = np.where(np.asarray(pc.equal(lowered, "")), EMPTY, at).astype(np.int8)
    strange = np.flatnonzero(codes == STRANGE)
    return codes, lowered[int(strange[0])].as_py() if len(strange) else ""


def number_cells(cells: pa.Array) -> NDArray[np.float64]:
    """Cells as numbers, NaN where a cell holds none; a comma is taken as the decimal mark."""
    cells = pc.replace_substring(cells, ",", ".")
    good = pc.match_substring_regex(cells, f"^{NUMBER_PATTERN}$")
    bare = pc.utf8_ltrim(pc.if_else(good, cells, None), "+")
    values = np.array(pc.cast(bare, pa.float64()).fill_null(np.nan), dtype=np.float64)
    values[~np.isfinite(values)] = np.nan
    return values


def _type_of(w: Wanted) -> pa.DataType:
    if w.kind == "number":
        return pa.float64()
    if w.kind == "iso":
        return pa.timestamp("ns" if w.fine else "us", "UTC" if w.zoned else None)
    return pa.string()


def _decimals(cell: str) -> int:
    return len(cell.replace(",", ".").partition(".")[2])


def _any_fraction(values: NDArray[np.float64]) -> bool:
    return bool(((values != np.floor(values)) & np.isfinite(values)).any())


def _one(column: pa.ChunkedArray | pa.Array) -> pa.Array:
    if isinstance(column, pa.Array):
        return column
    return column.chunk(0) if column.num_chunks == 1 else column.combine_chunks()


def _valid(data: bytes) -> bytes:
    """The block in valid UTF-8: what is none is taken as Latin-1."""
    try:
        data.decode()
    except UnicodeDecodeError:
        return data.decode("latin-1").encode()
    return data
