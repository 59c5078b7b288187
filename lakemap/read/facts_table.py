"""What the tables of levels, temperatures, check depths and edits share: cells by our column names, units known."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lakemap.errors import InputError
from lakemap.model.columns import TableColumn
from lakemap.read.messages import first_of
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source
from lakemap.read.table import head_table
from lakemap.read.table_columns import Header, find_columns, recognise
from lakemap.read.table_text import Table, numbers, split_table
from lakemap.read.times import read_times
from lakemap.units import celsius_from_fahrenheit, to_metres

Floats = NDArray[np.float64]

LATEST_S = 4e9
"""Seconds since 1970 (year 2096) beyond which a number is no time of ours."""


def names_in_head(source: Source, columns: Sequence[TableColumn]) -> set[str]:
    """Our names of the columns in a file's header; none where its head is no table."""
    table = head_table(source)
    if table is None:
        return set()
    found = [recognise(text, index, columns) for index, text in enumerate(table.headers)]
    return {header.name for header in found if header is not None}


@dataclass(frozen=True)
class FactsTable:
    """One such table: ``found`` has the headers by our name; every method gives one value a row (n,)."""

    source: Source
    settings: ReadSettings
    table: Table
    found: dict[str, Header]

    @classmethod
    def of(
        cls, source: Source, settings: ReadSettings, columns: Sequence[TableColumn], needed: Sequence[str]
    ) -> FactsTable:
        """Raises InputError where there is no table, or a column that is needed lacks."""
        table = split_table(source.text(), source.name)
        found = find_columns(table.headers, columns, settings.column_headers(), source.name)
        missing = [own for own in needed if own not in found]
        if missing:
            raise InputError(f"{source.name}: no column for {', '.join(missing)} among "
                             f"{', '.join(table.headers[:12])}; name it so in the header")
        return cls(source, settings, table, found)

    @property
    def line(self) -> NDArray[np.int64]:
        """Line of each row in the file."""
        return self.table.line

    def number(self, own: str) -> Floats:
        """Cells as numbers, NaN where there is none or no such column."""
        header = self.found.get(own)
        if header is None:
            return np.full(len(self.line), np.nan)
        return numbers(self.table.cells[header.index], self.source.name, header.text)

    def length_m(self, own: str, default_unit: str | None = None) -> Floats:
        """Lengths [m]; raises InputError where neither header nor ``default_unit`` says the unit."""
        header = self.found.get(own)
        if header is None:
            return self.number(own)
        unit = header.unit or default_unit
        if unit is None:
            raise InputError(f"{self.source.name}: column {header.text!r} does not say its unit; write it into the "
                             f"header ({own}_m or {own}_ft)")
        return to_metres(self.number(own), unit)

    def temperature_c(self, own: str) -> Floats:
        """Degrees Celsius; the header says it where they are Fahrenheit."""
        header = self.found[own]
        return celsius_from_fahrenheit(self.number(own)) if header.fahrenheit else self.number(own)

    def time_s(self, own: str = "time") -> Floats:
        """Seconds since 1970, NaN where a row has none. Raises InputError for a column whose times have no date."""
        header = self.found.get(own)
        if header is None:
            return np.full(len(self.line), np.nan)
        cells = self.table.cells[header.index]
        times = read_times(cells)
        if times.has_time and not times.has_date:
            raise InputError(f"{self.source.name}: column {header.text!r} has no date; write 2025-06-01T14:30:00Z")
        known = ~np.isnat(times.time_utc) & (np.abs(times.time_s) < LATEST_S)
        return np.where(known, times.time_s, np.nan)

    def words(self, own: str) -> list[str]:
        """Cells as text, empty where there is no such column."""
        header = self.found.get(own)
        if header is None:
            return [""] * len(self.line)
        return [str(text).strip() for text in self.table.cells[header.index]]

    def first_lines(self, rows: NDArray[np.bool_]) -> str:
        """``line 7 + 12 more`` of the rows of a mask."""
        return first_of(self.line[rows])

    def said_above(self, key: str) -> str | None:
        """What a line such as ``# datum: full pool of 1962`` above the header says; None where none does."""
        head = self.source.text()[:65536]
        found = re.search(rf"^#[ \t]*{key}[ \t]*[:=][ \t]*(\S[^\r\n]*)", head, re.MULTILINE | re.IGNORECASE)
        return found[1].strip() if found else None
