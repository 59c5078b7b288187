"""Tables of soundings: CSV or TSV with a header; units, sign and reference are found or refused."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import ClassVar

import numpy as np

from lakemap.errors import InputError
from lakemap.model.columns import LOG_COLUMNS, MARK_COLUMNS, NOTE_COLUMNS
from lakemap.model.soundings import SECOND_SEEN, Soundings
from lakemap.read.reader import LIKELY, PERHAPS, SURE, Reader, Role
from lakemap.read.settings import ReadSettings
from lakemap.read.singles import WORDS
from lakemap.read.source import Source
from lakemap.read.table_blocks import read_head
from lakemap.read.table_columns import Header, find_columns, recognise
from lakemap.read.table_parse import TableParser, Wanted
from lakemap.read.table_rows import TableRows
from lakemap.read.table_text import Table, numbers
from lakemap.read.table_times import TIME_COLUMNS, time_headers, wanted_times

FEWEST_COLUMNS = 3
MARK_WORDS = ("kind", "name", "note")
NOTE_WORDS = frozenset(column.name for column in NOTE_COLUMNS) - {"time", "date"}
WORD_COLUMNS: Mapping[str, tuple[str, ...]] = {"second_seen": SECOND_SEEN, "how": WORDS}


class TableReader(Reader):
    """One row a sounding; model/columns.py lists the columns and their spellings."""

    name: ClassVar[str] = "table of soundings"
    role: ClassVar[Role] = "log"
    suffixes: ClassVar[tuple[str, ...]] = (".csv", ".tsv", ".txt")
    summary: ClassVar[str] = "lat, lon, depth with its unit; also time, second bottom, echo levels, water temperature"

    def likelihood(self, source: Source) -> float:
        """Sure with a place and a depth in the header; perhaps with a depth, or three columns of numbers to name."""
        table = head_table(source)
        if table is None:
            return 0.0
        names = column_names(table)
        if {"lat", "lon", "depth"} <= names:
            return SURE
        if {"x", "y"} <= names and names & {"depth", "z"}:
            return LIKELY
        if names & {"time", "date"} and not names & {"lat", "lon", "x", "depth"} and names & NOTE_WORDS:
            return 0.0
        numeric = sum(_mostly_numbers(table, index) for index in range(len(table.headers)))
        marked = {"lat", "lon"} <= names and names & set(MARK_WORDS)
        return PERHAPS if "depth" in names or (numeric >= FEWEST_COLUMNS and not marked) else 0.0

    def read(self, source: Source, settings: ReadSettings) -> Soundings:
        """Rows in file order. Raises InputError without lat, lon or depth, and for a depth without a known unit."""
        head = read_head(source)
        found = log_columns(head.sample.headers, settings, source.name)
        times = time_headers(found)
        wanted = wanted_times(times, head.sample)
        for name, header in found.items():
            if name not in TIME_COLUMNS:
                words = WORD_COLUMNS.get(name, ())
                wanted[name] = Wanted(header.index, header.text, "word" if words else "number", words=words)
        parser = TableParser(source, head, wanted)
        columns, line = parser.read()
        return TableRows(
            source, settings, self.name, found, columns, line, head.sample.facts, parser.strange, parser.said
        ).soundings()


def log_columns(headers: tuple[str, ...], settings: ReadSettings, name: str) -> dict[str, Header]:
    """The headers of a table of soundings by our names; z is the depth where no other column is one.

    Raises InputError where position or depth lacks.
    """
    found = find_columns(headers, LOG_COLUMNS, settings.column_headers(), name)
    if "z" in found and "depth" not in found:
        found["depth"] = replace(found["z"], name="depth")
    found.pop("z", None)
    if {"lat", "lon"} <= set(found):
        found = {own: header for own, header in found.items() if own not in ("x", "y")}
    projected = {"x", "y"} <= set(found)
    missing = [own for own in ("lat", "lon", "depth") if own not in found and not (projected and own != "depth")]
    if missing:
        options = ",".join(f"{own}=..." for own in missing)
        raise InputError(
            f"{name}: no column for {', '.join(missing)} among {', '.join(headers[:12])}; "
            f"name them with --columns {options}"
        )
    if projected:
        found = {own: header for own, header in found.items() if own not in ("lat", "lon")}
    return found


def head_table(source: Source) -> Table | None:
    """The table that a file's first lines are, None where they are none."""
    try:
        return read_head(source).sample
    except InputError:
        return None


def column_names(table: Table) -> set[str]:
    """Our names of all columns that a table has, as a log or as marks."""
    headers = enumerate(table.headers)
    found = [recognise(text, index, columns) for index, text in headers for columns in (LOG_COLUMNS, MARK_COLUMNS)]
    return {header.name for header in found if header is not None}


def _mostly_numbers(table: Table, index: int) -> bool:
    try:
        values = numbers(table.cells[index], "", "")
    except InputError:
        return False
    return bool(np.isfinite(values).mean() > 0.5)
