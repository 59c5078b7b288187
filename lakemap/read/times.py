"""Times as written in tables and tracks: ISO 8601, seconds since 1970, dates and times of day, running seconds."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Self

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from lakemap.errors import InputError
from lakemap.geo.zones import UTC, Zone
from lakemap.read.nmea_clock import running_clock

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_EPOCH_UNITS = ((1e17, 1e9), (1e14, 1e6), (1e11, 1e3), (1e8, 1.0))
"""Sizes from which a number is nanoseconds, microseconds, milliseconds or seconds since 1970: each unit's
numbers from 1973 on do not meet those of the next. What is smaller is running time."""
DAY_S = 86400.0
_ZONE = r"(?P<zone>[Zz]|UTC|GMT|[+-]\d{2}:?\d{2}|[+-]\d{2})?"
_WRITTEN = (
    r"^(?:(?P<a>\d{1,4})(?P<mark>[-/.])(?P<b>\d{1,2})[-/.](?P<c>\d{1,4})"
    r"|(?P<year>\d{4})(?P<month>\d{2})(?P<day>\d{2}))?"
    r"[T ,]*(?:(?P<hour>\d{1,2}):(?P<minute>\d{2})(?::(?P<second>\d{2}(?:[.,]\d*)?))?)?"
    r"\s*(?P<half>[AaPp]\.?[Mm]\.?)?\s*" + _ZONE + "$"
)
ISO_PATTERN = r"^\d{4}-\d{2}-\d{2}(?:[T ]\d{2}:?\d{2}.*)?$"
_ZONED = r"(?:[Zz]|[+-]\d{2}(?::?\d{2})?)$"
_LEAP = r"^(.*\d{2}:?\d{2}:?)60"
_MARK_OF_DOTS = 1e12


@dataclass(frozen=True)
class Times:
    """``time_s`` (n,) for Soundings, without gaps; ``time_utc`` NaT where the row says nothing; ``form`` in words;
    ``said`` what the reader of the report should know."""

    time_s: Floats
    time_utc: NDArray[np.datetime64]
    has_time: bool
    has_date: bool
    form: str
    said: tuple[str, ...] = ()

    @classmethod
    def none(cls, n: int) -> Self:
        """No time at all: rows are numbered."""
        return cls(np.arange(n, dtype=np.float64), np.full(n, "NaT", "datetime64[ms]"), False, False, "none")


@dataclass(frozen=True)
class Written:
    """Times as they stand in cells: ``day`` (n,) code of a date (see day_numbers), ``clock_s`` seconds of the day on
    the clock as written, less the offset where one is written: then ``zoned``."""

    day: Floats
    clock_s: Floats
    zoned: Bools = field(repr=False)


def iso_seconds(cells: pa.Array) -> tuple[Floats, Bools]:
    """ISO 8601 as seconds since 1970 (n,), and which cells name their zone; NaN where a cell is no such time.

    A leap second counts as the second that follows it.
    """
    leap = np.asarray(pc.match_substring_regex(cells, _LEAP).fill_null(False))
    if leap.any():
        cells = pc.replace_substring_regex(cells, _LEAP, r"\159")
    moments = pd.to_datetime(pd.Series(cells.to_pandas()), utc=True, format="ISO8601", errors="coerce")
    utc = moments.dt.tz_localize(None).to_numpy().astype("datetime64[us]")
    seconds = np.where(np.isnat(utc), np.nan, utc.astype(np.int64) / 1e6) + leap
    return seconds, np.asarray(pc.match_substring_regex(cells, _ZONED).fill_null(False)) & (~np.isnat(utc))


def written_times(cells: pa.Array) -> Written:
    """Dates and times of day in their usual forms, NaN where a cell holds none; cells (n,) as text."""
    parts = pc.extract_regex(cells, _WRITTEN)
    a, b, c, hour, minute = (_numbers_of(parts, name) for name in ("a", "b", "c", "hour", "minute"))
    packed = [_numbers_of(parts, name) for name in ("year", "month", "day")]
    a, b, c = (np.where(np.isfinite(x), x, y) for x, y in zip((a, b, c), packed, strict=True))
    dots = _texts_of(parts, "mark", ".")
    day = a * 1e8 + b * 1e4 + c + np.where(dots, _MARK_OF_DOTS, 0.0)
    second = np.nan_to_num(_numbers_of(parts, "second"))
    morning, evening = (_texts_of(parts, "half", letter) for letter in "ap")
    noon = np.where(hour == 12, np.where(morning, -12.0, 0.0), np.where(evening, 12.0, 0.0))
    clock = (hour + np.where(morning | evening, noon, 0.0)) * 3600.0 + minute * 60.0 + second
    clock[~((hour < 24) & (minute < 60) & (second < 61))] = np.nan
    zone = pc.fill_null(pc.struct_field(parts, "zone"), "")
    named = np.asarray(pc.not_equal(zone, ""))
    offset = _offset_s(zone) if named.any() else np.zeros(len(clock))
    return Written(day, clock - offset, named)


def _texts_of(parts: pa.Array, name: str, start: str) -> Bools:
    text = pc.utf8_lower(pc.fill_null(pc.struct_field(parts, name), ""))
    return np.asarray(pc.starts_with(text, start))


def _numbers_of(parts: pa.Array, name: str) -> Floats:
    text = pc.replace_substring(pc.struct_field(parts, name), ",", ".")
    empty = pc.equal(text, "")
    return np.array(pc.cast(pc.if_else(empty, None, text), pa.float64()).fill_null(np.nan), dtype=np.float64)


def _offset_s(zone: pa.Array) -> Floats:
    parts = pc.extract_regex(zone, r"^(?P<sign>[+-])(?P<hour>\d{2}):?(?P<minute>\d{2})?$")
    seconds = np.nan_to_num(_numbers_of(parts, "hour")) * 3600 + np.nan_to_num(_numbers_of(parts, "minute")) * 60
    return np.asarray(np.where(_texts_of(parts, "sign", "-"), -seconds, seconds))


def day_numbers(code: Floats, order: str | None, name: str, header: str) -> Floats:
    """Days since 1970 out of three numbers as written (n,), coded a * 1e8 + b * 1e4 + c, + 1e12 where dots part them.

    The year stands first where it has four digits, else last; a two-digit one is of this century. Which number is
    the month shows where one exceeds 12; dots mean day first. Raises InputError where nothing tells it.
    """
    dots = code >= _MARK_OF_DOTS
    rest = np.where(dots, code - _MARK_OF_DOTS, code)
    a, b, c = np.floor(rest / 1e8), np.floor(rest / 1e4) % 1e4, rest % 1e4
    first_is_year = a >= 32
    year = np.where(first_is_year, a, np.where(c < 100, 2000 + c, c))
    day, month = np.where(first_is_year, c, a), b
    last = np.isfinite(code) & ~first_is_year
    if last.any() and _month_first(a[last], b[last], bool(dots[last].all()), order, name, header):
        day, month = np.where(first_is_year, c, b), np.where(first_is_year, b, a)
    return calendar_days(year, month, day)


def _month_first(a: Floats, b: Floats, dots: bool, order: str | None, name: str, header: str) -> bool:
    if order is not None:
        return order == "mdy"
    if (a > 12).any() or (b > 12).any() or dots:
        return bool((b > 12).sum() > (a > 12).sum())
    raise InputError(
        f"{name}: column {header!r}: {a[0]:02.0f}/{b[0]:02.0f} may be day and month or month and day; say which with "
        "--set read.date_order=dmy or mdy, or write 2025-06-01"
    )


def calendar_days(year: Floats, month: Floats, day: Floats) -> Floats:
    """Days since 1970 of calendar dates (n,), NaN where there is no such day."""
    good = (year >= 1) & (year <= 9999) & (month >= 1) & (month <= 12) & (day >= 1) & (day <= 31)
    y, m, d = (np.where(good, part, 1.0).astype(np.int64) for part in (year, month, day))
    months = (y - 1970) * 12 + (m - 1)
    date = months.astype("datetime64[M]").astype("datetime64[D]") + (d - 1)
    good &= date.astype("datetime64[M]").astype(np.int64) == months
    return np.where(good, date.astype(np.int64).astype(np.float64), np.nan)


def dated_times(seconds: Floats, zoned: Bools, zone: Zone, form: str = "ISO 8601") -> Times:
    """Times from seconds since 1970 as written (n,); those without a zone of their own are local times of ``zone``."""
    twice = np.zeros(len(seconds), dtype=bool)
    if zone.offset_s or zone.name:
        shifted, twice = zone.utc_s(np.where(zoned, np.nan, seconds))
        seconds = np.where(zoned, seconds, shifted)
    said = (f"{int(twice.sum())} times lie in the hour that {zone.text} has twice; taken as the first of the two until "
            "the clock goes back",) if twice.any() else ()
    return _made(seconds, True, form, said)


def numbered_times(values: Floats) -> Times:
    """Times from numbers (n,): since 1970 in the unit that their size tells, else running seconds."""
    values = np.where(np.isfinite(values), values, np.nan)
    size = float(np.nanmedian(np.abs(values))) if np.isfinite(values).any() else 0.0
    for least, per_second in _EPOCH_UNITS:
        if size >= least:
            seconds = values / per_second
            seconds[np.abs(seconds) > 1e11] = np.nan
            return _made(seconds, True, "since 1970")
    return _made(values, False, "running seconds")


def clock_times(clock_s: Floats) -> Times:
    """Times of day [s] (n,) without a date: a running clock that goes on over midnight."""
    known = np.isfinite(clock_s)
    clock = running_clock(np.arange(len(clock_s), dtype=np.float64), clock_s, np.full(len(clock_s), np.nan))
    running = np.full(len(clock_s), np.nan)
    running[known] = clock.time_s
    return _made(running, False, "times of day")


def iso_times(cells: pd.Series[str]) -> Times:
    """ISO 8601; UTC where no zone is written."""
    return dated_times(*iso_seconds(pa.array(cells, pa.string())), UTC)


def read_times(cells: pd.Series[str], zone: Zone = UTC, order: str | None = None, name: str = "") -> Times:
    """The times of n cells; rows without one are put between their neighbours in row order, their UTC stays NaT.

    The form is that of most cells that say anything; cells in another form count as empty.
    """
    text = pa.array(cells, pa.string())
    form = form_of(text)
    if form == "number":
        return numbered_times(pd.to_numeric(cells, errors="coerce").to_numpy(np.float64))
    if form == "iso":
        return dated_times(*iso_seconds(text), zone)
    return written_as_times(written_times(text), zone, order, name, str(cells.name))


def written_as_times(written: Written, zone: Zone, order: str | None, name: str, header: str) -> Times:
    """Times out of dates and times of day; where most rows have no date, out of times of day alone."""
    dated = np.isfinite(written.day)
    if dated.sum() * 2 <= np.isfinite(written.clock_s).sum():
        return clock_times(written.clock_s)
    days = day_numbers(written.day, order, name, header)
    alone = not np.isfinite(written.clock_s).any()
    return dated_times(days * DAY_S + (0.0 if alone else written.clock_s), written.zoned, zone, "date and time")


def form_of(cells: pa.Array) -> str:
    """How most cells that say anything are written: ``number``, ``iso`` or ``text``, any other dates and times."""
    filled = max(1, int(pc.sum(pc.not_equal(cells, "")).as_py() or 0))
    numeric = pc.sum(pc.match_substring_regex(cells, r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$")).as_py() or 0
    iso = pc.sum(pc.match_substring_regex(cells, ISO_PATTERN)).as_py() or 0
    return "number" if numeric * 2 > filled else "iso" if iso * 2 > filled else "text"


def _made(seconds: Floats, has_date: bool, form: str, said: tuple[str, ...] = ()) -> Times:
    known = np.isfinite(seconds)
    if not known.any():
        return Times.none(len(seconds))
    filled = seconds
    if not known.all():
        rows = np.arange(len(seconds), dtype=np.float64)
        filled = np.where(known, seconds, np.interp(rows, rows[known], seconds[known]))
    utc: Any = np.full(len(seconds), "NaT", "datetime64[ms]")
    if has_date:
        utc = np.round(filled * 1000.0).astype(np.int64).view("datetime64[ms]")
        utc[~known] = np.datetime64("NaT")
    return Times(filled, utc, True, has_date, form, said)
