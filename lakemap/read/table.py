"""Tables of soundings: CSV or TSV with a header; units, sign and reference are found or refused."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from lakemap.errors import InputError
from lakemap.model.columns import LOG_COLUMNS, MARK_COLUMNS
from lakemap.model.flags import Flag
from lakemap.model.log_facts import DepthReference, LogFacts
from lakemap.model.soundings import NOT_NOTED, SECOND_SEEN, Soundings
from lakemap.read.messages import first_of
from lakemap.read.places import checked_places
from lakemap.read.reader import PERHAPS, SURE, Reader, Role
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source, as_text
from lakemap.read.table_columns import Header, find_columns, recognise
from lakemap.read.table_text import Table, numbers, split_table
from lakemap.read.times import Times, iso_times, read_times
from lakemap.units import celsius_from_fahrenheit, to_metres

Floats = NDArray[np.float64]

LENGTHS = {"second_bottom": "second_bottom_m", "first_echo_end": "first_echo_end_m", "display_range": "display_range_m"}
LEVELS = {"first_echo_db": "first_echo_db", "second_echo_db": "second_echo_db"}
NUMBER_FACTS = ("draft_m", "nominal_sound_speed_mps", "frequency_khz", "pulse_ms", "beam_deg")
GAIN_LAWS = ("none", "20logR", "40logR")
FEWEST_COLUMNS = 3
MARK_WORDS = ("kind", "name", "note")


class TableReader(Reader):
    """One row a sounding; model/columns.py lists the columns and their spellings."""

    name: ClassVar[str] = "table of soundings"
    role: ClassVar[Role] = "log"
    suffixes: ClassVar[tuple[str, ...]] = (".csv", ".tsv", ".txt")
    summary: ClassVar[str] = "lat, lon, depth with its unit; also time, second bottom, echo levels, water temperature"

    def likelihood(self, source: Source) -> float:
        """Sure with lat, lon and depth in the header; perhaps with a depth, or three columns of numbers to be named."""
        table = head_table(source)
        if table is None:
            return 0.0
        names = column_names(table)
        if {"lat", "lon", "depth"} <= names:
            return SURE
        numeric = sum(_mostly_numbers(table, index) for index in range(len(table.headers)))
        marked = {"lat", "lon"} <= names and names & set(MARK_WORDS)
        return PERHAPS if "depth" in names or (numeric >= FEWEST_COLUMNS and not marked) else 0.0

    def read(self, source: Source, settings: ReadSettings) -> Soundings:
        """Rows in file order. Raises InputError without lat, lon or depth, and for a depth without a known unit."""
        return _TableLog(source, settings, split_table(source.text(), source.name)).soundings()


def head_table(source: Source) -> Table | None:
    """The table that a file's first lines are, None where they are none."""
    text = as_text(source.head)
    if source.size > len(source.head):
        text = text[: text.rfind("\n") + 1]
    try:
        return split_table(text, source.name)
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


@dataclass
class _TableLog:
    """One table on its way to Soundings; ``said`` gathers messages."""

    source: Source
    settings: ReadSettings
    table: Table
    said: list[str] = field(default_factory=list)

    def soundings(self) -> Soundings:
        name, line = self.source.name, self.table.line
        found = self._columns()
        header = found["depth"]
        unit = self._unit(header)
        depth_m = self._length(header, unit)
        lat, lon, said = checked_places(self._number(found["lat"]), self._number(found["lon"]), line, name)
        self.said += said
        if np.isnan(lon).all():
            raise InputError(f"none of {len(line)} rows has a position; "
                             + ("; ".join(said) or f"{name}: columns lat and lon hold no numbers, name others with "
                                "--columns lat=...,lon=..."))
        times = self._times(found)
        columns: dict[str, Any] = {
            own: self._length(found[key], found[key].unit or unit) for key, own in LENGTHS.items() if key in found
        }
        columns |= {own: self._number(found[key]) for key, own in LEVELS.items() if key in found}
        if "water_temperature" in found:
            columns["water_c"] = self._temperature(found["water_temperature"])
        if "second_seen" in found:
            columns["second_seen"] = self._second_seen(found["second_seen"])
        facts = self._facts(header, unit, times)
        self._count_missing(np.isnan(depth_m), "depth", header)
        rows = Soundings.build(
            len(line), [facts], self.said, time_s=times.time_s, time_utc=times.time_utc, row=line,
            lon_deg=lon, lat_deg=lat, logged_depth_m=depth_m, **columns,
        )
        return rows.with_flag(Flag.no_position, np.isnan(lon)).with_flag(Flag.no_depth, np.isnan(depth_m))

    def _columns(self) -> dict[str, Header]:
        name = self.source.name
        found = find_columns(self.table.headers, LOG_COLUMNS, self.settings.column_headers(), name)
        missing = [own for own in ("lat", "lon", "depth") if own not in found]
        if missing:
            options = ",".join(f"{own}=..." for own in missing)
            raise InputError(
                f"{name}: no column for {', '.join(missing)} among {', '.join(self.table.headers[:12])}; "
                f"name them with --columns {options}"
            )
        return found

    def _unit(self, header: Header) -> str:
        unit = header.unit or self.settings.depth_unit
        if unit is None:
            raise InputError(
                f"{self.source.name}: column {header.text!r} does not say the unit of its depths; "
                "say it with --depth-unit m, ft or fathom, or write it into the header (depth_m)"
            )
        return unit

    def _number(self, header: Header) -> Floats:
        return numbers(self.table.cells[header.index], self.source.name, header.text)

    def _length(self, header: Header, unit: str) -> Floats:
        """Lengths [m], positive down; a column that is mostly negative counts downwards."""
        values = to_metres(self._number(header), unit)
        negative = values < 0
        if not negative.any():
            return values
        what = f"{self.source.name}: column {header.text!r}"
        if negative.sum() > (values > 0).sum():
            self.said.append(f"{what} is mostly negative; taken as negative down, its sign is turned")
            return -values
        self.said.append(f"{what} is negative in {first_of(self.table.line[negative])}; left as it is")
        return values

    def _times(self, found: dict[str, Header]) -> Times:
        n = len(self.table.line)
        if "time" not in found:
            self.said.append(f"{self.source.name}: no time column; rows keep their order")
            return Times.none(n)
        times = read_times(self._time_cells(found["time"].index))
        if not times.has_time:
            text = found["time"].text
            self.said.append(f"{self.source.name}: no time can be read from column {text!r}; "
                             "write ISO 8601, such as 2024-05-01T12:00:00Z")
        elif not times.has_date:
            self.said.append(f"{self.source.name}: no date in it; times are taken as {times.form}")
        return times

    def _time_cells(self, index: int) -> Any:
        """The time column, behind a date of its own column where there is one and the two make a time."""
        cells = self.table.cells[index]
        days = [i for i, text in enumerate(self.table.headers) if text.lower() == "date"]
        joined = self.table.cells[days[0]] + "T" + cells if days else cells
        return joined if iso_times(joined).has_time else cells

    def _temperature(self, header: Header) -> Floats:
        values = self._number(header)
        return celsius_from_fahrenheit(values) if header.fahrenheit else values

    def _second_seen(self, header: Header) -> NDArray[np.int8]:
        words = self.table.cells[header.index].str.lower()
        codes = words.map({word: code for code, word in enumerate(SECOND_SEEN)})
        strange = (codes.isna() & (words != "")).to_numpy(dtype=bool)
        if strange.any():
            first = words[int(np.flatnonzero(strange)[0])]
            self.said.append(f"{self.source.name}: column {header.text!r} has {first!r} "
                             f"({first_of(self.table.line[strange])}), not one of {', '.join(SECOND_SEEN)}; not noted")
        return np.asarray(codes.fillna(NOT_NOTED), dtype=np.int8)

    def _count_missing(self, missing: NDArray[np.bool_], what: str, header: Header) -> None:
        if missing.any():
            lines = first_of(self.table.line[missing])
            self.said.append(f"{self.source.name}: no {what} in column {header.text!r}, {lines}; kept without {what}")

    def _facts(self, header: Header, unit: str, times: Times) -> LogFacts:
        reference, origin = self._reference(header)
        origins = {"depth_reference": origin, "depth_unit": "header" if header.unit else "--depth-unit"}
        written = {key: _fact(self.table.facts.get(key, "")) for key in NUMBER_FACTS}
        known: dict[str, Any] = {key: value for key, value in written.items() if value is not None}
        if (law := self.table.facts.get("gain_law")) in GAIN_LAWS:
            known["gain_law"] = law
        return LogFacts(
            name=self.source.name, sha256=self.source.sha256, reader=TableReader.name, rows_in=len(self.table.line),
            depth_reference=reference, depth_unit=unit, has_time=times.has_time, has_date=times.has_date,
            origins=origins | dict.fromkeys(known, "comment above the header"), **known,
        )

    def _reference(self, header: Header) -> tuple[DepthReference, str]:
        if header.reference:
            return header.reference, "header"
        if self.settings.depth_from in ("transducer", "surface", "keel"):
            return self.settings.depth_from, "--depth-from"  # type: ignore[return-value]
        self.said.append(f"{self.source.name}: nothing says what its depths count from; taken as from the surface, "
                         "else say --depth-from transducer")
        return "surface", "nothing said it"


def _fact(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if np.isfinite(value) and value >= 0 else None
