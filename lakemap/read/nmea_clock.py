"""NMEA 0183: a running clock out of times of day and now and then a date, and a time for each line that has none."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

DAY_S = 86400.0
HALF_DAY_S = 43200.0
"""A time of day that drops by more than this has passed midnight; one that rises by more has gone back over it."""
SAME_BURST_S = 1.0
"""A dated sentence this close behind an undated one tells its date (RMC often closes a burst that GGA opened)."""
BACK_S = 2.0
"""Without a date, a clock that goes back by more than this is a new start of the recorder, not a late sentence."""
PAUSE_S = 3600.0
"""The pause put between two starts of the recorder when no date tells it: passes must not be joined across it."""


@dataclass(frozen=True)
class Clock:
    """Anchors in file order: ``at`` (a,), ``time_s`` (a,) since 1970 if ``has_date``, else since the first midnight;
    without ``has_time`` it counts fixes."""

    at: Floats
    time_s: Floats
    has_time: bool
    has_date: bool

    def times_of(self, at: Floats) -> Floats:
        """Time of lines that have none, ``at`` (n,) ascending: evenly spaced between the anchors around them.

        k lines between two anchors are put at (j + 1/2)/k of the way, the steady rhythm that sounders have.
        Before the first and behind the last anchor they keep the median step.
        """
        group = np.searchsorted(self.at, at)
        count = np.bincount(group, minlength=len(self.at) + 1)
        rank = np.arange(len(at)) - (np.cumsum(count) - count)[group]
        share = (rank + 0.5) / np.maximum(count[group], 1)
        left, right = np.clip(group - 1, 0, None), np.clip(group, None, len(self.at) - 1)
        time_s = self.time_s[left] + (self.time_s[right] - self.time_s[left]) * share
        step = _median_step(time_s[(group > 0) & (group < len(self.at))])
        early, late = group == 0, group == len(self.at)
        time_s[early] = self.time_s[0] - step * (count[0] - rank[early] - 0.5)
        time_s[late] = self.time_s[-1] + step * (rank[late] + 0.5)
        return time_s


def _median_step(time_s: Floats) -> float:
    steps = np.diff(time_s)
    steps = steps[steps > 0]
    return float(np.median(steps)) if len(steps) else 1.0


def running_clock(at: Floats, time_of_day_s: Floats, day: Floats) -> Clock:
    """Clock from sentences that carry a time of day (a,), with their day number (days since 1970) or NaN.

    Dates go on to sentences without one, a day later where the time of day drops by more than 12 h.
    """
    known = np.isfinite(time_of_day_s)
    at, tod, day = at[known], time_of_day_s[known], day[known]
    step = np.diff(tod, prepend=tod[:1])
    days_on = np.cumsum((step < -HALF_DAY_S).astype(int) - (step > HALF_DAY_S)).astype(np.float64)
    running = days_on * DAY_S + tod
    dated = np.isfinite(day)
    if dated.any():
        return Clock(at, running + _first_day(running, day - days_on, dated) * DAY_S, True, True)
    return Clock(at, _never_back(running), len(at) > 0, False)


def counting_clock(at: Floats) -> Clock:
    """Clock of a log without any time: the number of the fix."""
    return Clock(at, np.arange(len(at), dtype=np.float64), False, False)


def _first_day(running: Floats, first_day: Floats, dated: NDArray[np.bool_]) -> Floats:
    """Day number that ``running`` counts from, for each anchor: from the date before it, or behind it in its burst."""
    index = np.arange(len(running))
    before = np.maximum.accumulate(np.where(dated, index, -1))
    behind = np.minimum.accumulate(np.where(dated, index, len(index))[::-1])[::-1]
    has_behind = behind < len(index)
    gap = np.abs(running[np.minimum(behind, len(index) - 1)] - running)
    take_behind = (before < 0) | (has_behind & (gap <= SAME_BURST_S))
    return np.asarray(first_day[np.where(take_behind, behind, before)])


def _never_back(running: Floats) -> Floats:
    step = np.diff(running, prepend=running[:1])
    return np.asarray(running + np.cumsum(np.where(step < -BACK_S, PAUSE_S - step, 0.0)))
