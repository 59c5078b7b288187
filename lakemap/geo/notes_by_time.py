"""Notes without a position, joined by time to the readings of a log: to the row nearest in time, within a limit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lakemap.geo.zones import UTC, zone_of
from lakemap.model.marks import Marks
from lakemap.model.notes import Notes
from lakemap.model.soundings import NOT_NOTED, Soundings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

DAY_S = 86400.0
NOWHERE, AMBIGUOUS = -1, -2
"""Instead of a row: no reading near the note's time; readings of several days or logs near its time of day."""
_FILLED = ("second_bottom_m", "first_echo_end_m", "display_range_m")


def join_notes(soundings: Soundings, notes: Notes, limit_s: float) -> tuple[Soundings, Marks]:
    """The same rows with what was noted of the second bottom, and a mark where the boat was for each thing noted.

    Each note goes to the placed and usable row nearest in time, at most ``limit_s`` away; what the log itself says of
    that row stays. A time of day without a date is taken on the days of the logs; where rows of several
    days (or of several logs without a date) lie near it, the note is left out and said.
    """
    if not len(notes):
        return soundings, Marks.empty()
    row = rows_near(soundings, notes, limit_s)
    told = np.flatnonzero(row >= 0)
    joined = soundings
    for name in _FILLED:
        joined = _filled(joined, name, row[told], getattr(notes, name)[told])
    joined = _seen(joined, row[told], notes.second_seen[told])
    things = [int(i) for i in told if notes.kind[i]]
    at = row[things]
    marks = Marks(
        soundings.lon_deg[at], soundings.lat_deg[at], tuple(notes.kind[i] for i in things), ("",) * len(things),
        tuple(notes.note[i] for i in things), soundings.time_utc[at], tuple(notes.source[i] for i in things),
    )
    return joined.with_messages(*notes.messages, *_said(notes, row, limit_s)), marks


def rows_near(soundings: Soundings, notes: Notes, limit_s: float) -> Ints:
    """The row (n,) that each note speaks of, NOWHERE or AMBIGUOUS."""
    dated = _Clock.of_dated(soundings)
    out = dated.nearest(notes.time_s, limit_s)
    alone = np.flatnonzero(~np.isfinite(notes.time_s) & np.isfinite(notes.clock_s))
    undated = [_Clock.of_undated(soundings, code) for code, facts in enumerate(soundings.logs)
               if facts.has_time and not facts.has_date and facts.from_midnight]
    for zone in dict.fromkeys(notes.zone[i] for i in alone):
        some = np.array([i for i in alone if notes.zone[i] == zone], dtype=np.int64)
        out[some] = _by_clock(dated, undated, notes.clock_s[some], zone, limit_s)
    return out


@dataclass(frozen=True)
class _Clock:
    """Rows in the order of their times: ``time_s`` (k,) ascending, ``row`` (k,)."""

    time_s: Floats
    row: Ints

    @classmethod
    def of_dated(cls, soundings: Soundings) -> _Clock:
        """All rows in use whose date is known."""
        rows = np.flatnonzero(_in_use(soundings) & ~np.isnat(soundings.time_utc))
        return cls._sorted(soundings.time_utc[rows].astype("datetime64[ms]").astype(np.int64) / 1000.0, rows)

    @classmethod
    def of_undated(cls, soundings: Soundings, log: int) -> _Clock:
        """Rows in use of a log without a date, by time of day: running time over midnight comes round again."""
        rows = np.flatnonzero(_in_use(soundings) & (soundings.log == log) & np.isfinite(soundings.time_s))
        return cls._sorted(soundings.time_s[rows] % DAY_S, rows)

    @classmethod
    def _sorted(cls, time_s: Floats, rows: Ints) -> _Clock:
        order = np.lexsort((rows, time_s))
        return cls(time_s[order], rows[order])

    def nearest(self, time_s: Floats, limit_s: float) -> Ints:
        """The row nearest to each time (n,); NOWHERE where the nearest is farther than the limit."""
        if not len(self.row):
            return np.full(len(time_s), NOWHERE, dtype=np.int64)
        behind = np.clip(np.searchsorted(self.time_s, time_s), 1, max(1, len(self.row) - 1))
        behind = np.minimum(behind, len(self.row) - 1)
        before = np.maximum(behind - 1, 0)
        first = np.abs(time_s - self.time_s[before]) <= np.abs(self.time_s[behind] - time_s)
        at = np.where(first, before, behind)
        near = np.abs(self.time_s[at] - time_s) <= limit_s
        return np.where(near, self.row[at], NOWHERE)


def _in_use(soundings: Soundings) -> NDArray[np.bool_]:
    return soundings.usable() & np.isfinite(soundings.lon_deg) & np.isfinite(soundings.lat_deg)


def _by_clock(dated: _Clock, undated: Sequence[_Clock], clock_s: Floats, zone_text: str, limit_s: float) -> Ints:
    """Rows (n,) for times of day: tried on each day of the logs, and on each log that knows no day."""
    zone = zone_of(zone_text) if zone_text else UTC
    tried = [log.nearest((clock_s - zone.offset_s) % DAY_S, limit_s) for log in undated if not zone.name]
    days = np.unique(np.floor(dated.time_s / DAY_S))
    # the day before and after belong to it: a local clock may be on another date than UTC
    for day in np.unique(np.concatenate([days - 1, days, days + 1])) if len(days) else []:
        tried.append(dated.nearest(zone.utc_s(day * DAY_S + clock_s)[0], limit_s))
    if not tried:
        return np.full(len(clock_s), NOWHERE, dtype=np.int64)
    found = np.array(tried)
    hits = (found >= 0).sum(axis=0)
    return np.where(hits == 1, found.max(axis=0), np.where(hits > 1, AMBIGUOUS, NOWHERE))


def _filled(soundings: Soundings, name: str, rows: Ints, values: Floats) -> Soundings:
    """A column with values put where it has none; of two notes for one row the first counts."""
    column = np.array(getattr(soundings, name))
    for row, value in zip(rows.tolist(), values.tolist(), strict=True):
        if np.isnan(column[row]):
            column[row] = value
    return soundings.with_columns(**{name: column})


def _seen(soundings: Soundings, rows: Ints, codes: NDArray[np.int8]) -> Soundings:
    column = soundings.second_seen.copy()
    for row, code in zip(rows.tolist(), codes.tolist(), strict=True):
        if column[row] == NOT_NOTED:
            column[row] = code
    return soundings.with_columns(second_seen=column)


def _said(notes: Notes, row: Ints, limit_s: float) -> list[str]:
    said = []
    for name in dict.fromkeys(notes.source):
        mine = np.array([source == name for source in notes.source])
        said.append(f"{name}: {int((mine & (row >= 0)).sum())} of {int(mine.sum())} notes joined to readings by time")
        for code, why in (
            (NOWHERE, f"no reading within {limit_s:g} s of it, left out; is the clock's zone right? "
                      "(--set read.timezone=+02:00; a wider limit: --set read.note_limit_s=60)"),
            (AMBIGUOUS, "readings of several days lie near this time of day, left out; write the date beside it"),
        ):
            lines = notes.line[mine & (row == code)]
            if len(lines):
                more = f" + {len(lines) - 1} more" if len(lines) > 1 else ""
                said.append(f"{name}: line {lines[0]}{more}: {why}")
    return said
