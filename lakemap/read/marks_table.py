"""Tables of marks: CSV or TSV with position and kind."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from lakemap.errors import InputError
from lakemap.model.columns import CATCH_COLUMNS, MARK_COLUMNS
from lakemap.model.marks import Marks
from lakemap.read.aimed_marks import Aimed, read_aimed
from lakemap.read.facts_table import names_in_head
from lakemap.read.mark_kinds import kind_and_note
from lakemap.read.messages import first_of
from lakemap.read.places import checked_places
from lakemap.read.reader import LIKELY, PERHAPS, SURE, Reader, Role
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source
from lakemap.read.table import column_names, head_table
from lakemap.read.table_columns import find_columns
from lakemap.read.table_text import Table, numbers, split_table
from lakemap.read.times import Times, read_times

Floats = NDArray[np.float64]

_GUARD = re.compile(r"^'(?=[\s\"'\ufeff]*[=+\-@\t])")


class MarksTableReader(Reader):
    """One mark a row; model/columns.py lists the columns and their spellings."""

    name: ClassVar[str] = "table of marks"
    role: ClassVar[Role] = "marks"
    suffixes: ClassVar[tuple[str, ...]] = (".csv", ".tsv", ".txt")
    summary: ClassVar[str] = "lat, lon, kind (stump, weed, nothing ...); also name, note, time, range, bearing, aim"

    def likelihood(self, source: Source) -> float:
        """Sure with a kind beside lat and lon; likely with a name or a note and no depth; counts are catches."""
        table = head_table(source)
        names = column_names(table) if table else set()
        if not {"lat", "lon"} <= names:
            return 0.0
        if "count" in names_in_head(source, CATCH_COLUMNS):
            return PERHAPS
        if "kind" in names:
            return SURE
        return LIKELY if names & {"name", "note"} and "depth" not in names else 0.0

    def read(self, source: Source, settings: ReadSettings) -> Marks:
        """Marks in file order; rows without a position are left out and said. Raises InputError without lat and lon."""
        table = split_table(source.text(), source.name)
        found = find_columns(table.headers, MARK_COLUMNS, settings.column_headers(), source.name)
        missing = [own for own in ("lat", "lon") if own not in found]
        if missing:
            options = ",".join(f"{own}=..." for own in missing)
            raise InputError(f"{source.name}: no column for {', '.join(missing)}; name them with --columns {options}")
        texts = {own: _texts(table, found[own].index if own in found else None) for own in ("kind", "name", "note")}
        places = tuple(numbers(table.cells[found[own].index], source.name, own) for own in ("lat", "lon"))
        times = read_times(table.cells[found["time"].index]) if "time" in found else Times.none(len(table.line))
        aimed, said = read_aimed(found, table.cells, table.line, source.name, settings.depth_unit)
        marks = made_marks(
            source, table.line, (places[0], places[1]), [[kind] for kind in texts["kind"]],
            (texts["name"], texts["note"]), times.time_utc, aimed,
        )
        return replace(marks, messages=(*marks.messages, *said))


def _texts(table: Table, index: int | None) -> list[str]:
    """Cells without the apostrophe that the map's page, and our own tables, put before what could run as a formula."""
    return [""] * len(table.line) if index is None else [_GUARD.sub("", str(text)) for text in table.cells[index]]


def made_marks(
    source: Source, line: NDArray[np.int64], lat_lon: tuple[Floats, Floats], words: list[list[str]],
    names_notes: tuple[list[str], list[str]], time_utc: NDArray[np.datetime64], aimed: Aimed | None = None,
) -> Marks:
    """Marks out of what a file says of each: ``words`` that may tell the kind; those without a place are left out."""
    lat, lon, said = checked_places(*lat_lon, line, source.name)
    placed = np.isfinite(lon)
    if not placed.all():
        said.append(f"{source.name}: marks without a position left out, {first_of(line[~placed])}")
    kept = np.flatnonzero(placed)
    names, notes = names_notes
    told = [kind_and_note(words[i], names[i], notes[i]) for i in kept]
    return Marks(
        lon[kept], lat[kept], tuple(kind for kind, _ in told), tuple(names[i] for i in kept),
        tuple(note for _, note in told), time_utc[kept], (source.name,) * len(kept), tuple(said),
        *(values[kept] for values in aimed or ()),
    )
