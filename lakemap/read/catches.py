"""Catch log: CSV of place, count, hours spent, time and kind; an empty hour is a row with count 0."""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from lakemap.errors import InputError
from lakemap.model.catches import Catches
from lakemap.model.columns import CATCH_COLUMNS
from lakemap.read.facts_table import FactsTable, names_in_head
from lakemap.read.places import checked_places
from lakemap.read.reader import LIKELY, Reader, Role
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source

LONGEST_H = 48.0
"""More hours at one stop are a slip of the pen, or minutes."""


class CatchesReader(Reader):
    """One stop a row; a column ``count`` beside lat and lon tells such a file from marks and logs."""

    name: ClassVar[str] = "catch log"
    role: ClassVar[Role] = "catches"
    suffixes: ClassVar[tuple[str, ...]] = (".csv", ".tsv", ".txt")
    summary: ClassVar[str] = "lat, lon, count (0 for a blank), effort_h, time, kind, note"

    def likelihood(self, source: Source) -> float:
        """Likely with a column of counts beside lat and lon."""
        return LIKELY if {"lat", "lon", "count"} <= names_in_head(source, CATCH_COLUMNS) else 0.0

    def read(self, source: Source, settings: ReadSettings) -> Catches:
        """Rows in file order; those without place or count are left out and said. Raises InputError without any."""
        table = FactsTable.of(source, settings, CATCH_COLUMNS, ["lat", "lon", "count"])
        lat, lon, said = checked_places(table.number("lat"), table.number("lon"), table.line, source.name)
        count, effort, time_s = table.number("count"), table.number("effort"), table.time_s()
        known = np.isfinite(count) & (count >= 0) & (count < 1e6)
        good = known & np.isfinite(lon)
        if not good.any():
            raise InputError(f"{source.name}: no row with a place and a count; write 0 for an empty hour, or leave the "
                             "file out")
        if (~good).any():
            said.append(f"{source.name}: no place or no count in {table.first_lines(~good)}; left out (a blank is 0)")
        odd = good & np.isfinite(effort) & ~((effort > 0) & (effort <= LONGEST_H))
        if odd.any():
            said.append(f"{source.name}: effort beyond 0 to {LONGEST_H:g} hours in {table.first_lines(odd)}; taken as "
                        "not noted")
        effort = np.where(odd, np.nan, effort)
        kept = np.flatnonzero(good)
        kinds, notes = table.words("kind"), table.words("note")
        return Catches(
            lon[kept], lat[kept], count[kept], effort[kept], time_s[kept], tuple(kinds[i] for i in kept),
            tuple(notes[i] for i in kept), (source.name,) * len(kept), tuple(said))
