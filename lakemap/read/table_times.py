"""Which columns of a table make the time of a row, and the times that come out of them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from lakemap.errors import InputError, SettingError
from lakemap.geo.zones import UTC, Zone, zone_of
from lakemap.read.settings import ReadSettings
from lakemap.read.table_columns import LOCAL, Header
from lakemap.read.table_parse import Wanted
from lakemap.read.table_text import Table
from lakemap.read.times import (
    DAY_S,
    Times,
    Written,
    dated_times,
    form_of,
    numbered_times,
    written_as_times,
)

Columns = Mapping[str, NDArray[Any]]
DATE_PARTS, CLOCK_PARTS = ("year", "month", "day"), ("hour", "minute", "second")
TIME_COLUMNS = ("time", "date", *DATE_PARTS, *CLOCK_PARTS)
_ZONED = r"(?:[Zz]|[+-]\d{2}:?\d{2})$"


def time_headers(found: Mapping[str, Header]) -> dict[str, Header]:
    """Those headers that make the time, by our name: one column; a date (in one column or three) and a time of day."""
    if "time" not in found and "date" in found and not set(CLOCK_PARTS[:2]) & set(found):
        return {"time": found["date"]}
    whole = {name: found[name] for name in ("time", "date") if name in found}
    if "date" not in whole and set(DATE_PARTS) <= set(found):
        whole |= {name: found[name] for name in DATE_PARTS}
    if "time" not in whole and ("date" in whole or "year" in whole):
        whole |= {name: found[name] for name in CLOCK_PARTS if name in found}
    return whole if "time" in whole or "date" in whole or "year" in whole else {}


def wanted_times(headers: Mapping[str, Header], sample: Table) -> dict[str, Wanted]:
    """How to read them, by what their first cells look like; a date of its own is left out beside a whole time."""
    wanted: dict[str, Wanted] = {}
    for name, header in headers.items():
        cells = pa.array(sample.cells[header.index], pa.string())
        if name in (*DATE_PARTS, *CLOCK_PARTS):
            wanted[name] = Wanted(header.index, header.text)
        elif name == "date" or (form := form_of(cells)) == "text":
            wanted[name] = Wanted(header.index, header.text, "text")
        elif form == "number":
            wanted[name] = Wanted(header.index, header.text)
        else:
            zoned = pc.sum(pc.match_substring_regex(cells, _ZONED)).as_py() * 2 > len(cells)
            fine = pc.any(pc.match_substring_regex(cells, r"[.,]\d{7}")).as_py()
            wanted[name] = Wanted(header.index, header.text, "iso", zoned, bool(fine))
    if "time" in wanted and wanted["time"].kind == "iso":
        return {"time": wanted["time"]}
    return wanted


def times_of(headers: Mapping[str, Header], columns: Columns, n: int, settings: ReadSettings, name: str) -> Times:
    """The times of n rows. Raises InputError for a clock of no known zone, and for dates whose order nobody tells."""
    if not headers:
        return Times.none(n)
    main = next(iter(headers.values()))
    if "time" in columns and "time.zoned" not in columns:
        if "date" in headers or "year" in headers:
            raise InputError(f"{name}: column {main.text!r} has numbers beside a date of their own; write times of "
                             "day as 10:30:00, or leave the date out")
        return numbered_times(columns["time"])
    zone = zone_told(headers, settings, name)
    if "time" in columns:
        return _zone_said(dated_times(columns["time"], columns["time.zoned"], zone or UTC), zone,
                          columns["time.zoned"], name)
    written = _written(columns, n)
    times = written_as_times(written, zone or UTC, settings.date_order, name, headers.get("date", main).text)
    first_day = settings.first_day()
    if times.form == "times of day" and first_day is not None:
        seconds = np.where(np.isfinite(written.clock_s), times.time_s + first_day * DAY_S, np.nan)
        times = dated_times(seconds, written.zoned, zone or UTC, "times of day from --date on")
    return _zone_said(times, zone, written.zoned, name)


def _written(columns: Columns, n: int) -> Written:
    """Dates and times of day, from whichever columns hold them."""
    nan, no = np.full(n, np.nan), np.zeros(n, dtype=bool)
    day = columns.get("time.day", nan)
    day = np.where(np.isfinite(day), day, columns.get("date.day", nan))
    if "year" in columns:
        year = np.where(columns["year"] < 100, columns["year"] + 2000, columns["year"])
        day = np.where(np.isfinite(day), day, year * 1e8 + columns["month"] * 1e4 + columns["day"])
    clock = columns.get("time.clock", columns.get("date.clock", nan))
    if "hour" in columns:
        parts = (columns["hour"] * 3600.0, columns.get("minute", nan) * 60.0, columns.get("second", nan))
        clock = parts[0] + np.nan_to_num(parts[1]) + np.nan_to_num(parts[2])
    return Written(day, clock, columns.get("time.zoned", no))


def zone_told(headers: Mapping[str, Header], settings: ReadSettings, name: str) -> Zone | None:
    """The zone that a header names, else the setting; None where nothing says it."""
    told = next((header for header in headers.values() if header.zone), None)
    if told and told.zone != LOCAL:
        try:
            return zone_of(told.zone)
        except SettingError:
            told = None
    if settings.timezone is not None:
        return zone_of(settings.timezone)
    if told:
        raise InputError(f"{name}: column {told.text!r} is on a local clock and nothing says of which zone; say it "
                         "with --set read.timezone=+02:00 or --set read.timezone=Europe/Berlin")
    return None


def _zone_said(times: Times, zone: Zone | None, zoned: NDArray[np.bool_], name: str) -> Times:
    said = [f"{name}: {text}" for text in times.said]
    if zone is None and times.has_date and not zoned.all():
        said.append(f"{name}: times name no zone; taken as UTC, else say --set read.timezone=+02:00")
    elif zone is not None and times.has_date and (zone.offset_s or zone.name):
        said.append(f"{name}: times without a zone of their own are taken as {zone.text}")
    return Times(times.time_s, times.time_utc, times.has_time, times.has_date, times.form, tuple(said))
