"""Times as written in tables and tracks: ISO 8601, seconds since 1970, times of day, running seconds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Self

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from lakemap.read.nmea_clock import running_clock
from lakemap.read.table_text import NUMBER_PATTERN

Floats = NDArray[np.float64]

_EPOCH_UNITS = ((1e17, 1e9), (1e14, 1e6), (1e11, 1e3), (1e8, 1.0))
"""Sizes from which a number is nanoseconds, microseconds, milliseconds or seconds since 1970: each unit's
numbers from 1973 on do not meet those of the next. What is smaller is running time."""
_TIME_OF_DAY = r"(\d{1,2}):(\d{2})(?::(\d{2}(?:\.\d*)?))?"


@dataclass(frozen=True)
class Times:
    """``time_s`` (n,) for Soundings, without gaps; ``time_utc`` NaT where the row says nothing; ``form`` in words."""

    time_s: Floats
    time_utc: NDArray[np.datetime64]
    has_time: bool
    has_date: bool
    form: str

    @classmethod
    def none(cls, n: int) -> Self:
        """No time at all: rows are numbered."""
        return cls(np.arange(n, dtype=np.float64), np.full(n, "NaT", "datetime64[ms]"), False, False, "none")


def read_times(cells: pd.Series[str]) -> Times:
    """The times of n cells; rows without one are put between their neighbours in row order, their UTC stays NaT.

    The form is that of most cells that say anything; cells in another form count as empty.
    """
    filled = max(1, int((cells != "").sum()))
    numeric = cells.str.fullmatch(NUMBER_PATTERN).to_numpy(dtype=bool)
    if numeric.sum() * 2 > filled:
        return _from_numbers(pd.to_numeric(cells.where(numeric, "nan"), errors="coerce").to_numpy(np.float64))
    parts = cells.str.extract(f"^{_TIME_OF_DAY}$").apply(pd.to_numeric, errors="coerce").to_numpy(np.float64)
    if np.isfinite(parts[:, 0]).sum() * 2 > filled:
        return _from_times_of_day(parts)
    return iso_times(cells)


def iso_times(cells: pd.Series[str]) -> Times:
    """ISO 8601; UTC where no zone is written."""
    moments = pd.to_datetime(cells.where(cells != "", None), utc=True, format="ISO8601", errors="coerce")
    utc = moments.dt.tz_localize(None).to_numpy().astype("datetime64[us]")
    seconds = np.where(np.isnat(utc), np.nan, utc.astype(np.int64) / 1e6)
    return _made(seconds, utc, True, "ISO 8601")


def _from_numbers(values: Floats) -> Times:
    values = np.where(np.isfinite(values), values, np.nan)
    size = float(np.nanmedian(np.abs(values))) if np.isfinite(values).any() else 0.0
    for least, per_second in _EPOCH_UNITS:
        if size >= least:
            seconds = values / per_second
            seconds[np.abs(seconds) > 1e11] = np.nan
            millis = np.where(np.isfinite(seconds), np.round(seconds * 1000.0), 0.0).astype(np.int64)
            utc = np.where(np.isfinite(seconds), millis.astype("datetime64[ms]"), np.datetime64("NaT"))
            return _made(seconds, utc, True, "since 1970")
    return _made(values, None, False, "running seconds")


def _from_times_of_day(parts: Floats) -> Times:
    seconds = parts[:, 0] * 3600.0 + parts[:, 1] * 60.0 + np.nan_to_num(parts[:, 2])
    known = np.isfinite(seconds)
    clock = running_clock(np.arange(len(seconds), dtype=np.float64), seconds, np.full(len(seconds), np.nan))
    running = np.full(len(seconds), np.nan)
    running[known] = clock.time_s
    return _made(running, None, False, "times of day")


def _made(seconds: Floats, utc: Any, has_date: bool, form: str) -> Times:
    known = np.isfinite(seconds)
    if not known.any():
        return Times.none(len(seconds))
    rows = np.arange(len(seconds), dtype=np.float64)
    filled = np.where(known, seconds, np.interp(rows, rows[known], seconds[known]))
    utc = np.full(len(seconds), "NaT", "datetime64[ms]") if utc is None else utc.astype("datetime64[ms]")
    return Times(filled, utc, True, has_date, form)
