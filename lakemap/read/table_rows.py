"""From the columns of a table to Soundings: units, signs, references and places found, or refused with the way on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lakemap.errors import InputError
from lakemap.model.flags import Flag
from lakemap.model.log_facts import NOT_SAID, DepthReference, LogFacts
from lakemap.model.soundings import SECOND_SEEN, Soundings
from lakemap.read.messages import first_of
from lakemap.read.places import table_places
from lakemap.read.settings import ReadSettings
from lakemap.read.singles import CAST, default_errors_m, freeboard_m, said_of_singles, ways_of
from lakemap.read.source import Source
from lakemap.read.table_columns import Header
from lakemap.read.table_parse import EMPTY, STRANGE
from lakemap.read.table_times import time_headers, times_of
from lakemap.read.times import Times
from lakemap.units import celsius_from_fahrenheit, to_metres

Floats = NDArray[np.float64]

LENGTHS = {"second_bottom": "second_bottom_m", "first_echo_end": "first_echo_end_m", "display_range": "display_range_m"}
LEVELS = {"first_echo_db": "first_echo_db", "second_echo_db": "second_echo_db", "gain": "gain_setting"}
NUMBER_FACTS = ("draft_m", "nominal_sound_speed_mps", "frequency_khz", "pulse_ms", "beam_deg")
GAIN_LAWS = ("none", "20logR", "40logR", "20logR+absorption", "40logR+absorption", "auto")


@dataclass
class TableRows:
    """One table on its way to Soundings: ``found`` headers by our names, their ``columns`` (n,) as table_parse.py gives
    them, ``line`` (n,), facts above the header, the first word that is none for columns of words; ``said`` gathers
    messages."""

    source: Source
    settings: ReadSettings
    reader: str
    found: Mapping[str, Header]
    columns: dict[str, NDArray[Any]]
    line: NDArray[np.int64]
    facts: Mapping[str, str] = field(default_factory=dict)
    strange: Mapping[str, str] = field(default_factory=dict)
    said: list[str] = field(default_factory=list)

    def soundings(self) -> Soundings:
        """Rows in file order. Raises InputError where no row has a position or a depth, or nothing tells a unit."""
        n, header = len(self.line), self.found["depth"]
        unit = self._unit(header)
        depth_m = self._length("depth", unit)
        if np.isnan(depth_m[0]) and np.isnan(depth_m).all():
            raise InputError(f"{self.source.name}: column {header.text!r} holds no numbers in {n} rows; name the "
                             "column of depths with --columns depth=...")
        lat, lon, said = table_places(self.found, self.columns, self.line, self.settings, self.source.name)
        self.said += said
        times = self._times(n)
        if self.is_single:
            depth_m = self._from_the_water(depth_m, unit)
        columns = self._readings(unit) | self._errors(unit, depth_m)
        facts = self._facts(header, unit, times)
        no_depth = np.isnan(depth_m)
        self._count_missing(no_depth, "depth", header)
        rows = Soundings.build(
            n, [facts], self.said, time_s=times.time_s, time_utc=times.time_utc, row=self.line,
            lon_deg=lon, lat_deg=lat, logged_depth_m=depth_m, **columns,
        )
        for flag, missing in ((Flag.no_position, np.isnan(lon)), (Flag.no_depth, no_depth)):
            rows = rows.with_flag(flag, missing) if missing.any() else rows
        return rows

    def _readings(self, unit: str) -> dict[str, Any]:
        """What stands beside the depth."""
        columns: dict[str, Any] = {
            own: self._length(key, self.found[key].unit or unit) for key, own in LENGTHS.items() if key in self.columns
        }
        columns |= {own: self.columns[key] for key, own in LEVELS.items() if key in self.columns}
        if "water_temperature" in self.columns:
            values, header = self.columns["water_temperature"], self.found["water_temperature"]
            columns["water_c"] = celsius_from_fahrenheit(values) if header.fahrenheit else values
        if "second_seen" in self.columns:
            columns["second_seen"] = self._words("second_seen", ", ".join(SECOND_SEEN))
        return columns

    def _errors(self, unit: str, depth_m: Floats) -> dict[str, Any]:
        """Standard errors that the table brings, or that come with the way a single reading was taken."""
        given = {
            own: np.abs(to_metres(self.columns[key], self.found[key].unit or other))
            for key, own, other in (("depth_error", "depth_sigma_m", unit), ("position_error", "position_sigma_m", "m"))
            if key in self.columns
        }
        if not self.is_single:
            return given
        way = ways_of(self.columns["how"])
        for own, usual in zip(("depth_sigma_m", "position_sigma_m"), default_errors_m(way, depth_m), strict=True):
            written = given.get(own, usual)
            given[own] = np.where(np.isfinite(written) & (written > 0), written, usual)
        return given

    def _from_the_water(self, depth_m: Floats, unit: str) -> Floats:
        """Depths of single readings below the water's surface [m] (n,): from the top of the ice less its freeboard."""
        way = ways_of(self._words("how", "line, pole, ice, ice top, cast"))
        thickness = np.full(len(way), np.nan)
        if "ice_thickness" in self.columns:
            thickness = to_metres(self.columns["ice_thickness"], self.found["ice_thickness"].unit or unit)
        self.said += said_of_singles(way, thickness, self.source.name)
        return depth_m - freeboard_m(way, thickness)

    @property
    def is_single(self) -> bool:
        """Whether most rows say how they were taken: single readings, no track."""
        how = self.columns.get("how")
        return how is not None and bool((how >= 0).sum() * 2 > len(how))

    def _unit(self, header: Header) -> str:
        unit = header.unit or self.settings.depth_unit
        if unit is None:
            raise InputError(
                f"{self.source.name}: column {header.text!r} does not say the unit of its depths; "
                "say it with --depth-unit m, ft or fathom, or write it into the header (depth_m)"
            )
        return unit

    def _length(self, key: str, unit: str) -> Floats:
        """Lengths [m], positive down; a column that is mostly negative counts downwards."""
        values = self.columns.pop(key)
        values = values if unit == "m" else to_metres(values, unit)
        negative = values < 0
        if not negative.any():
            return values
        what = f"{self.source.name}: column {self.found[key].text!r}"
        if negative.sum() > (values > 0).sum():
            self.said.append(f"{what} is mostly negative; taken as negative down, its sign is turned")
            return -values
        self.said.append(f"{what} is negative in {first_of(self.line[negative])}; left as it is")
        return values

    def _times(self, n: int) -> Times:
        headers, name = time_headers(self.found), self.source.name
        if not headers:
            self.said.append(f"{name}: no time column; rows keep their order")
            return Times.none(n)
        times = times_of(headers, self.columns, n, self.settings, name)
        self.said += times.said
        if not times.has_time:
            text = next(iter(headers.values())).text
            self.said.append(f"{name}: no time can be read from column {text!r}; write ISO 8601, such as "
                             "2024-05-01T12:00:00Z")
        elif not times.has_date:
            self.said.append(f"{name}: no date in it; times are taken as {times.form}")
        return times

    def _words(self, key: str, known: str) -> NDArray[np.int8]:
        codes = self.columns[key]
        strange = codes == STRANGE
        if strange.any():
            self.said.append(f"{self.source.name}: column {self.found[key].text!r} has {self.strange[key]!r} "
                             f"({first_of(self.line[strange])}), not one of {known}; not noted")
        return np.where(strange, EMPTY, codes).astype(np.int8)

    def _count_missing(self, missing: NDArray[np.bool_], what: str, header: Header) -> None:
        if missing.any():
            lines = first_of(self.line[missing])
            self.said.append(f"{self.source.name}: no {what} in column {header.text!r}, {lines}; kept without {what}")

    def _facts(self, header: Header, unit: str, times: Times) -> LogFacts:
        reference, origin = self._reference(header)
        origins = {"depth_reference": origin, "depth_unit": "header" if header.unit else "--depth-unit"}
        written = {key: _fact(self.facts.get(key, "")) for key in NUMBER_FACTS}
        known: dict[str, Any] = {key: value for key, value in written.items() if value is not None}
        if (law := self.facts.get("gain_law")) in GAIN_LAWS:
            known["gain_law"] = law
        single = self.is_single
        return LogFacts(
            name=self.source.name, sha256=self.source.sha256, reader=self.reader, rows_in=len(self.line),
            depth_reference=reference, depth_unit=unit, has_time=times.has_time, has_date=times.has_date,
            origins=origins | dict.fromkeys(known, "comment above the header"), single=single,
            acoustic=not single or bool((ways_of(self.columns["how"]) == CAST).any()),
            from_midnight=times.form != "running seconds", **known,
        )

    def _reference(self, header: Header) -> tuple[DepthReference, str]:
        if header.reference:
            return header.reference, "header"
        if self.is_single:
            return "surface", "single readings count from the water's surface"
        if self.settings.depth_from in ("transducer", "surface", "keel"):
            return self.settings.depth_from, "--depth-from"  # type: ignore[return-value]
        self.said.append(f"{self.source.name}: nothing says what its depths count from; taken as from the surface, "
                         "else say --depth-from transducer")
        return "surface", NOT_SAID


def _fact(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if np.isfinite(value) and value >= 0 else None
