"""Tables of notes without a position: a time and what was seen then; the log tells where that was."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from lakemap.errors import InputError
from lakemap.model.columns import LEVEL_COLUMNS, LOG_COLUMNS, NOTE_COLUMNS, PROFILE_COLUMNS, TableColumn
from lakemap.model.notes import Notes
from lakemap.model.soundings import NOT_NOTED, SECOND_SEEN
from lakemap.read.mark_kinds import ANYWHERE, kind_of
from lakemap.read.messages import first_of
from lakemap.read.note_words import seen_of, thing_of
from lakemap.read.reader import LIKELY, SURE, Reader, Role
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source
from lakemap.read.table import head_table
from lakemap.read.table_columns import Header, find_columns, recognise
from lakemap.read.table_text import Table, numbers, split_table
from lakemap.read.table_times import zone_told
from lakemap.read.times import DAY_S, day_numbers, iso_seconds, written_times
from lakemap.units import to_metres

Floats = NDArray[np.float64]
LENGTHS = ("second_bottom", "first_echo_end", "display_range")
WHAT = {"note", "kind", "second_seen", *LENGTHS}


class NotesReader(Reader):
    """One note a row; model/columns.py lists the columns. Joined to the log by time (geo/notes_by_time.py)."""

    name: ClassVar[str] = "table of notes"
    role: ClassVar[Role] = "marks"
    suffixes: ClassVar[tuple[str, ...]] = (".csv", ".tsv", ".txt")
    summary: ClassVar[str] = "time and note (second bottom strong, stump ...), without a position"

    def likelihood(self, source: Source) -> float:
        """Sure with a time and a note, likely with a reading off the screen, where nothing is a place or a depth."""
        table = head_table(source)
        if table is None:
            return 0.0
        names, others = _names(table, NOTE_COLUMNS), _names(table, LOG_COLUMNS, LEVEL_COLUMNS, PROFILE_COLUMNS)
        if not names & {"time", "date"} or not names & WHAT or others - names:
            return 0.0
        return SURE if names & {"note", "second_seen"} else LIKELY

    def read(self, source: Source, settings: ReadSettings) -> Notes:
        """Notes in file order; those without a time are left out and said. Raises InputError where none has one."""
        table = split_table(source.text(), source.name)
        found = find_columns(table.headers, NOTE_COLUMNS, settings.column_headers(), source.name)
        if "time" not in found and "date" not in found:
            raise InputError(f"{source.name}: no column for time; name it with --columns time=...")
        time_s, clock_s, zone, said = _times(table, found, settings, source.name)
        timed = np.isfinite(time_s) | np.isfinite(clock_s)
        if not timed.any():
            raise InputError(f"{source.name}: no time in any of {len(timed)} notes; write 2025-06-01 14:32, or 14:32")
        if not timed.all():
            said.append(f"{source.name}: no time in {first_of(table.line[~timed])}; left out")
        kept = np.flatnonzero(timed)
        texts = _texts(table, found, "note", kept)
        lengths = {own: _length(table, found.get(own), settings, source.name)[kept] for own in LENGTHS}
        return Notes(
            time_s[kept], clock_s[kept], (zone,) * len(kept), _seen(table, found, kept, texts),
            lengths["second_bottom"], lengths["first_echo_end"], lengths["display_range"],
            _kinds(_texts(table, found, "kind", kept), texts), tuple(texts),
            (source.name,) * len(kept), table.line[kept], tuple(said),
        )


def _names(table: Table, *columns: tuple[TableColumn, ...]) -> set[str]:
    found = [recognise(text, i, some) for i, text in enumerate(table.headers) for some in columns]
    return {header.name for header in found if header}


def _times(
    table: Table, found: Mapping[str, Header], settings: ReadSettings, name: str
) -> tuple[Floats, Floats, str, list[str]]:
    """Seconds since 1970 (n,), times of day (n,) where there is no date, the zone of the latter, and messages."""
    header = found.get("time", found.get("date"))
    assert header is not None
    cells = table.cells[header.index]
    if "date" in found and "time" in found:
        cells = (table.cells[found["date"].index] + " " + cells).str.strip()
    text = pa.array(cells, pa.string())
    zone = zone_told(found, settings, name)
    seconds, zoned = iso_seconds(text)
    written = written_times(text)
    other = ~np.isfinite(seconds) & np.isfinite(written.day)
    if other.any():
        code = np.where(other, written.day, np.nan)
        days = day_numbers(code, settings.date_order, name, header.text)
        seconds, zoned = np.where(other, days * DAY_S + written.clock_s, seconds), np.where(other, written.zoned, zoned)
    said = []
    if zone is None and not zoned[np.isfinite(seconds) | np.isfinite(written.clock_s)].all():
        said.append(f"{name}: times name no zone; taken as UTC, as logs have it, else say --set read.timezone=+02:00")
    elif zone is not None:
        seconds = np.where(zoned, seconds, zone.utc_s(seconds)[0])
    clock = np.where(np.isfinite(seconds), np.nan, written.clock_s)
    return seconds, clock, zone.text if zone else "", said


def _texts(table: Table, found: Mapping[str, Header], own: str, kept: NDArray[np.int64]) -> list[str]:
    return [str(table.cells[found[own].index][i]) for i in kept] if own in found else [""] * len(kept)


def _length(table: Table, header: Header | None, settings: ReadSettings, name: str) -> Floats:
    """Lengths [m] (n,); raises InputError where there are some and nothing says their unit."""
    if header is None:
        return np.full(len(table.line), np.nan)
    values = numbers(table.cells[header.index], name, header.text)
    unit = header.unit or settings.depth_unit
    if unit is None:
        raise InputError(f"{name}: column {header.text!r} does not say its unit; say it with --depth-unit, or write it "
                         f"into the header ({header.name}_m)")
    return to_metres(values, unit)


def _seen(table: Table, found: Mapping[str, Header], kept: NDArray[np.int64], notes: list[str]) -> NDArray[np.int8]:
    words = [word.lower() for word in _texts(table, found, "second_seen", kept)]
    own = [SECOND_SEEN.index(word) if word in SECOND_SEEN else NOT_NOTED for word in words]
    codes = [code if code != NOT_NOTED else seen_of(note) for code, note in zip(own, notes, strict=True)]
    return np.array(codes, np.int8)


def _kinds(words: list[str], notes: list[str]) -> tuple[str, ...]:
    """The kind of each note's thing; words that mean no kind and nothing of the second bottom make it a ``place``."""
    kinds = []
    for word, note in zip(words, notes, strict=True):
        kind = kind_of(word) if word else None
        kind = kind or thing_of(note)
        said = bool(word or (note and seen_of(note) == NOT_NOTED and "second" not in note.lower()))
        kinds.append(kind or (ANYWHERE if said else ""))
    return tuple(kinds)
