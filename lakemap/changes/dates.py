"""Dates of a lake's readings: trips of one season that lie close together count as one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lakemap.changes.settings import ChangesSettings
from lakemap.model.soundings import Soundings

UNDATED = -1


@dataclass(frozen=True)
class Dates:
    """``of_row`` (n,) is the date's number, UNDATED without one; the rest (k,) by date, oldest first.

    ``first``, ``last``: its days; ``weedy``: it lies in the months of standing weed.
    """

    of_row: NDArray[np.int64]
    first: NDArray[np.datetime64]
    last: NDArray[np.datetime64]
    weedy: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.first)


def dates_of(soundings: Soundings, settings: ChangesSettings) -> Dates:
    """The dates of all rows whose log knows its date."""
    day = soundings.time_utc.astype("datetime64[D]")
    known = ~np.isnat(day)
    days, day_number = np.unique(day[known], return_inverse=True)
    south = bool(np.nanmedian(soundings.lat_deg[known]) < 0) if np.isfinite(soundings.lat_deg[known]).any() else False
    weedy = _weedy(days, settings, south)
    new = np.ones(len(days), dtype=bool)
    new[1:] = (np.diff(days) > np.timedelta64(round(settings.gap_days), "D")) | (weedy[1:] != weedy[:-1])
    number = np.cumsum(new) - 1
    of_row = np.full(len(soundings), UNDATED, dtype=np.int64)
    of_row[known] = number[day_number]
    first = np.flatnonzero(new)
    last = np.append(first[1:], len(days)) - 1 if len(days) else first
    return Dates(of_row, days[first], days[last], weedy[first])


def _weedy(days: NDArray[np.datetime64], settings: ChangesSettings, south: bool) -> NDArray[np.bool_]:
    month = (days.astype("datetime64[M]").astype(np.int64) + (6 if south else 0)) % 12 + 1
    low, high = settings.weed_from_month, settings.weed_to_month
    inside = (month >= low) & (month <= high) if low <= high else (month >= low) | (month <= high)
    return np.asarray(inside)
