"""Temperatures that logs carry, as readings of one date or one season, for a surface of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lakemap.model.flags import Flag
from lakemap.model.observations import Observations
from lakemap.model.soundings import NO_PASS, PassBias, Soundings
from lakemap.model.surface import Surface
from lakemap.model.water import WaterTemperature

Index = NDArray[np.int64]

NAME = "water_temperature_c"
ELSEWHERE = Flag.no_position | Flag.bad_checksum_fix | Flag.position_jump | Flag.frozen_fix | Flag.duplicate \
    | Flag.off_water | Flag.by_owner
"""Faults of a row that make its temperature useless; a lost bottom does not."""
COLDEST_C, WARMEST_C = -2.0, 45.0
"""No open lake is colder or warmer at its surface; beyond is a sensor's fault."""
SIGMA_C, SHARED_C = 0.2, 0.1
"""Error of a reading, and the part that readings seconds apart share: a display's step and the sensor's slowness."""
PASS_C = 0.3
"""What a pass differs by from the lake's usual temperature of that day: hours, wind, sun (own choice)."""
SENSOR_C = 0.5
"""What all temperatures may be off by together: a sensor in the hull is seldom better (common practice)."""
SQUARE_M = 25.0
"""Squares of this side are counted to see how much of the lake a date has read."""
ENOUGH = 0.5
"""A date that has read this share of what its season has read stands for itself (own choice)."""
SEASONS = ("winter", "spring", "summer", "autumn")
DAY_S, DEG_S = 86400.0, 240.0
NO_DAY = np.iinfo(np.int64).min


@dataclass(frozen=True)
class Temperatures:
    """``readings`` of one ``period``, the constant errors to expect of their passes, and what is to be said."""

    readings: Observations
    passes: PassBias
    period: str
    messages: tuple[str, ...]

    def with_surface(self, surface: Surface) -> WaterTemperature:
        """The finished layer."""
        return WaterTemperature(surface, self.period, SENSOR_C, self.messages)


def temperatures_of(soundings: Soundings) -> Temperatures | None:
    """The temperatures of the date that read most of the lake, or of the season where no date read half as much as it;
    of no known date where none is known. None without a temperature at a place.

    Water warms and cools by degrees in days, so dates are not mixed without need. A date is the lake's own (solar
    time); seasons are of three months, December to February the first.
    """
    bad = (soundings.flags & np.uint32(ELSEWHERE.value)) != 0
    there = np.isfinite(soundings.water_c) & np.isfinite(soundings.x_m) & ~bad
    likely = there & (soundings.water_c >= COLDEST_C) & (soundings.water_c <= WARMEST_C)
    rows = np.flatnonzero(likely)
    if not len(rows):
        return None
    kept, period = _of_one_period(soundings, rows)
    told = [f"water temperature: a surface of {period}, from {len(kept)} of {len(rows)} readings; "
            f"the sensor may shift all of it by {SENSOR_C:g} degC or so"]
    odd = int(np.count_nonzero(there & ~likely))
    if odd:
        told.append(f"water temperature: {odd} readings outside {COLDEST_C:g} to {WARMEST_C:g} degC are left out")
    readings = _readings(soundings, kept)
    passes = np.unique(readings.pass_id[readings.pass_id != NO_PASS])
    return Temperatures(
        readings, PassBias(passes, np.zeros(len(passes)), np.full(len(passes), PASS_C)), period, tuple(told))


def _readings(soundings: Soundings, rows: Index) -> Observations:
    unknown = np.full(len(rows), np.nan)
    return Observations(
        NAME, np.column_stack([soundings.x_m[rows], soundings.y_m[rows]]), soundings.water_c[rows].astype(np.float64),
        np.full(len(rows), SIGMA_C), soundings.pass_id[rows], np.zeros(len(rows), dtype=bool), unknown, unknown.copy(),
        any(facts.has_time for facts in soundings.logs), np.full(len(rows), SHARED_C),
    )


def _of_one_period(soundings: Soundings, rows: Index) -> tuple[Index, str]:
    """Rows of the period that is mapped, and its name."""
    day = _days(soundings, rows)
    dated = day != NO_DAY
    if not dated.any():
        return rows, "no known date"
    rows, day = rows[dated], day[dated]
    season = _seasons(day)
    square = np.floor(np.column_stack([soundings.x_m[rows], soundings.y_m[rows]]) / SQUARE_M).astype(np.int64)
    one_day, day_squares = _widest(day, square)
    one_season, season_squares = _widest(season, square)
    if day_squares >= ENOUGH * season_squares:
        return rows[day == one_day], str(np.datetime64(one_day, "D"))
    mine = season == one_season
    return rows[mine], _season_name(one_season, float(np.median(soundings.lat_deg[rows])))


def _days(soundings: Soundings, rows: Index) -> Index:
    """Days since 1970 of each row by the sun's time there (n,); NO_DAY without a date."""
    when = soundings.time_utc[rows]
    known = ~np.isnat(when)
    seconds = when.astype("datetime64[ms]").astype(np.int64) / 1000.0 + DEG_S * soundings.lon_deg[rows]
    return np.where(known, np.floor(np.where(known, seconds, 0.0) / DAY_S).astype(np.int64), NO_DAY)


def _seasons(day: Index) -> Index:
    """Quarters since December 1969 (n,)."""
    month = day.astype("datetime64[D]").astype("datetime64[M]").astype(np.int64)
    return (month + 1) // 3


def _season_name(season: int, lat_deg: float) -> str:
    year, quarter = divmod(season, 4)
    name = SEASONS[(quarter + (2 if lat_deg < 0 else 0)) % 4]
    return f"{name} {1969 + year}/{1970 + year}" if quarter == 0 else f"{name} {1970 + year}"


def _widest(period: Index, square: Index) -> tuple[int, int]:
    """The period with readings in most squares, the latest of equals, and how many those are."""
    pair = np.unique(np.column_stack([period, square]), axis=0)
    number, count = np.unique(pair[:, 0], return_counts=True)
    best = len(count) - 1 - int(np.argmax(count[::-1]))
    return int(number[best]), int(count[best])
