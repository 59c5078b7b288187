"""NMEA 0183: what to take from a log that holds several of everything, chosen once for the whole log."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from lakemap.errors import InputError
from lakemap.read.kernels import nmea_layout as kind
from lakemap.read.kernels.nmea_layout import KINDS, SLOTS, Book
from lakemap.read.settings import ReadSettings

if TYPE_CHECKING:
    from lakemap.read.kernels.nmea_place import Plan
    from lakemap.read.kernels.nmea_survey import Survey

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

GAP_S = 10.0
"""Nothing is interpolated across a longer gap: a boat at 2 m/s has gone 20 m and may have turned."""
GAP_IN_FIX_INTERVALS, LONGEST_GAP_S = 3.0, 60.0
"""Recorders that keep few fixes may leave this many intervals between two, but never more than this."""
TALKERS = 26 * 36
WHOLE_HEADINGS = (kind.HDT, kind.THS, kind.VHW)
DAY_1980, DAY_2000 = 3652, 10957


@dataclass(frozen=True)
class Dates:
    """Where running time counts from: ``base`` (e,) [days since 1970], each from record ``event`` (e,) on.

    ``source`` in words, empty where the log has no date; ``early`` dates lay whole week rollovers too early, by up to
    ``early_weeks``.
    """

    event: Ints
    base: Floats
    source: str = ""
    early: int = 0
    early_weeks: int = 0


@dataclass(frozen=True)
class Chosen:
    """The slots taken, -1 for none; ``counts`` (SLOTS, ...) and ``names`` as in Survey and Book."""

    depth: int
    chief: int
    heading: int
    water: int
    sigma: int
    talker: int
    mode: int
    dates: Dates
    limit: Floats
    counts: Ints
    names: list[str]

    def plan(self) -> tuple[Plan, NDArray[np.void]]:
        """The same for the compiled loop, and the state in which it starts."""
        from lakemap.read.kernels.nmea_place import Plan, blank_state

        state = blank_state()
        for name in ("depth", "chief", "heading", "water", "sigma", "talker", "mode"):
            state[name] = getattr(self, name)
        state["dated"] = self.dates.source == IN_SENTENCES
        state["gap_s"], state["interval_s"], state["still_s"] = self.limit
        return Plan(*slot_codes(self.names), self.dates.event, self.dates.base), state

    @property
    def rows(self) -> int:
        """Sentences of the chosen depth, whatever their state."""
        return int(self.counts[self.depth, :4].sum())


IN_SENTENCES, IN_TAGS, GIVEN = "RMC or ZDA", "TAG blocks", "--date"


def slot_codes(names: list[str]) -> tuple[Ints, Ints]:
    """Kind and talker of each slot (SLOTS,); -1 behind the last."""
    kinds, talkers = np.full(SLOTS, -1, np.int64), np.full(SLOTS, -1, np.int64)
    for slot, name in enumerate(names):
        kinds[slot] = kind.kind_of(name)
        second = ord(name[1])
        talkers[slot] = (ord(name[0]) - 65) * 36 + (second - 65 if second >= 65 else second - 22)
    return kinds, talkers


def choose(survey: Survey, book: Book, events: Floats, settings: ReadSettings, name: str) -> Chosen:
    """The choices for one log. Raises InputError where it has no depth sentence, or not the one asked for."""
    from lakemap.read.kernels import nmea_survey as column

    names, count = book.names(), survey.counts
    kinds, talkers = slot_codes(names)
    pick = _Pick(names, kinds, talkers, count[:, column.WITH])
    depth = pick.depth(settings, name)
    chief = pick.best(range(kind.LAST_FIX + 1))
    timed = count[:, column.TIMED]
    mode = kind.BY_TIME_OF_DAY if timed.any() else kind.BY_TAG if count[:, column.TAGGED].any() else kind.BY_COUNT
    talker = int(talkers[chief])
    if mode == kind.BY_TIME_OF_DAY and not timed[talkers == talker].any():
        talker = int(talkers[timed.argmax()])
    has_variation = bool(count[kinds == kind.RMC, column.SECOND].any())
    usable = count[:, column.WITH].copy()
    usable[(kinds == kind.HDG) & (count[:, column.SECOND] == 0) & (not has_variation)] = 0
    usable[(kinds == kind.HDM) & (not has_variation)] = 0
    sigma = np.where(kinds == kind.GSA, count[:, column.WITH], count[:, column.SECOND]) * (talkers == talker)
    return Chosen(
        depth=depth, chief=chief, talker=talker, mode=mode, counts=count, names=names,
        heading=_Pick(names, kinds, talkers, usable).by_kind((kind.HDT, kind.THS, kind.HDG, kind.HDM, kind.VHW)),
        water=pick.by_kind((kind.MTW,)),
        sigma=_Pick(names, kinds, talkers, sigma).by_kind((kind.GGA, kind.GNS, kind.GSA)),
        dates=_dates(survey, events, settings, mode == kind.BY_TIME_OF_DAY, mode == kind.BY_TAG),
        limit=_limits(survey.steps[chief] if chief >= 0 else None, counted=mode == kind.BY_COUNT),
    )


@dataclass(frozen=True)
class _Pick:
    names: list[str]
    kinds: Ints
    talkers: Ints
    worth: Ints

    def depth(self, settings: ReadSettings, name: str) -> int:
        """The talker and kind that carry most depths, or those wished for."""
        every = [slot for slot, at in enumerate(self.names) if kind.LAST_FIX < self.kinds[slot] <= kind.LAST_DEPTH]
        wish = (settings.talker or "") + (settings.sentence or "")
        fits = [
            slot for slot in every
            if self.names[slot].startswith(settings.talker or "") and self.names[slot].endswith(settings.sentence or "")
        ]
        if not every:
            raise InputError(f"{name}: no depth sentence in it (DPT, DBT, DBS, DBK); switch the sounder's output on")
        if not fits:
            there = ", ".join(sorted(f"{self.names[slot]} ({self.worth[slot]})" for slot in every))
            raise InputError(f"{name}: no depth sentence {wish} in it; there are {there}: name one of these")
        return min(fits, key=self._rank)

    def best(self, kinds: range) -> int:
        """The slot of these kinds that says most; -1 where none says anything."""
        slots = [slot for slot in range(len(self.names)) if self.kinds[slot] in kinds and self.worth[slot] > 0]
        return min(slots, key=self._rank, default=-1)

    def by_kind(self, kinds: tuple[int, ...]) -> int:
        """The best slot of the first of these kinds that says anything; -1 where none does."""
        return next((slot for slot in (self.best(range(k, k + 1)) for k in kinds) if slot >= 0), -1)

    def _rank(self, slot: int) -> Any:
        return -int(self.worth[slot]), int(self.kinds[slot]), self.names[slot]


def _limits(steps: Any, *, counted: bool) -> Floats:
    """Longest gap, usual interval, longest stand of one place that is bridged, all in the clock's unit."""
    from lakemap.read.kernels.nmea_survey import STEP_S

    interval = 1.0
    if not counted and steps is not None and steps.any():
        total = np.cumsum(steps, dtype=np.int64)
        interval = float(np.searchsorted(total, (total[-1] + 1) // 2)) * STEP_S
    longest = max(GAP_S, min(GAP_IN_FIX_INTERVALS * interval, LONGEST_GAP_S))
    return np.array([np.inf if counted else longest, min(interval, longest), longest])


def _dates(survey: Survey, events: Floats, settings: ReadSettings, timed: bool, tagged: bool) -> Dates:
    start, given = np.zeros(1, np.int64), settings.first_day()
    if tagged or not timed:
        return Dates(start, np.zeros(1), IN_TAGS if tagged else "")
    if len(events) == 0:
        by_tag = float(survey.clock[0]["tag_base"])
        if np.isfinite(by_tag):
            return Dates(start, np.array([by_tag]), IN_TAGS)
        return Dates(start, np.array([float(given or 0)]), GIVEN if given is not None else "")
    base, days_early = _less_rollovers(events[:, 1], given)
    early = int(np.count_nonzero(base != events[:, 1])) + int(survey.clock[0]["early"])
    at = events[:, 0].astype(np.int64)
    at[0] = 0
    return Dates(at, base, IN_SENTENCES, early, days_early // 7)


def _less_rollovers(base: Floats, given: int | None) -> tuple[Floats, int]:
    """Days that lie whole rollovers (1024 weeks) before others of the log moved on to them, and all of them to the day
    given; and the largest move [days]. A receiver past a rollover errs to the early side only."""
    from lakemap.read.kernels.nmea_survey import MOST_ROLLOVERS, ROLLOVER_DAYS

    most = MOST_ROLLOVERS * ROLLOVER_DAYS
    latest: dict[float, float] = {}
    for day in base.tolist():
        latest[day % ROLLOVER_DAYS] = max(day, latest.get(day % ROLLOVER_DAYS, day))
    right = np.array([latest[day % ROLLOVER_DAYS] for day in base.tolist()])
    right = np.where(right - base <= most, right, base)
    if given is not None:
        turns = round((given - right[0]) / ROLLOVER_DAYS)
        if 1 <= turns <= MOST_ROLLOVERS and abs(given - right[0] - turns * ROLLOVER_DAYS) <= 1:
            right = right + turns * ROLLOVER_DAYS
    return right, int((right - base).max())


def depth_names(chosen: Chosen) -> list[str]:
    """Other depth sentences of the log, with how many depths each carries."""
    from lakemap.read.kernels.nmea_survey import WITH

    return sorted(
        f"{name} ({chosen.counts[slot, WITH]})" for slot, name in enumerate(chosen.names)
        if slot != chosen.depth and KINDS.index("DPT") <= kind.kind_of(name) <= kind.LAST_DEPTH
    )
