"""NMEA 0183, compiled: what a log holds on the whole, so that choices can be made before any row is placed."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from lakemap.compiled import kernel
from lakemap.read.kernels.nmea_layout import (
    BARE,
    DAY,
    DEPTH,
    EXTRA,
    HDG,
    IN_FEET,
    LAST_DEPTH,
    LAST_FIX,
    LON,
    OFFSET,
    SLOTS,
    TAG,
    TOD,
    ZDA,
    Records,
)

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

DAY_S, HALF_DAY_S = 86400.0, 43200.0
"""A time of day that drops by more than half a day has passed midnight; one that rises by more has gone back."""
SAME_BURST_S = 1.0
"""A dated sentence less than this behind undated ones tells their date too (RMC often closes what GGA opened)."""
ROLLOVER_DAYS = 7168
"""GPS counts weeks modulo 1024: receivers past a rollover write a date that many days too early."""
MOST_ROLLOVERS = 3
STEP_S, STEPS = 0.01, 12000
"""Steps between fixes are counted in bins of 10 ms up to two minutes."""
OFFSETS = 8

WITH, SECOND, VOID, TIMED, TAGGED, COLUMNS = 4, 5, 6, 7, 8, 9
"""Columns of ``counts`` behind the four states: with a value; with a second one (variation, HDOP, feet); without a fix;
with a time of day; with a TAG block's time."""

CLOCK = np.dtype([
    ("last_tod", "f8"), ("days_on", "f8"), ("base", "f8"), ("tag_base", "f8"), ("running_s", "f8"), ("burst_s", "f8"),
    ("burst", "i8"), ("events", "i8"), ("first_fault", "i8"), ("early", "i8"), ("seen", "i8"),
])
"""Carried along: last time of day, days since the first, day that running time counts from by the last date and by the
first TAG block, running time; undated sentences of one burst began at ``burst_s`` with record ``burst``; date events of
this chunk, line of the first sentence not used, dates that came whole rollovers too early, records seen."""
Clock = Any


class Survey(NamedTuple):
    """``counts`` (SLOTS, COLUMNS); ``steps`` (SLOTS, STEPS) of fix intervals; ``last_s`` (SLOTS,) time of the last fix;
    ``offset, offset_count`` (SLOTS, OFFSETS) of DPT; ``clock`` (1,) CLOCK."""

    counts: Ints
    steps: NDArray[np.int32]
    last_s: Floats
    offset: Floats
    offset_count: Ints
    clock: NDArray[np.void]

    @classmethod
    def blank(cls) -> Survey:
        """Before the first record."""
        clock = np.zeros(1, CLOCK)
        for name in ("last_tod", "base", "tag_base", "running_s", "burst_s"):
            clock[name] = np.nan
        return cls(
            np.zeros((SLOTS, COLUMNS), np.int64), np.zeros((SLOTS, STEPS), np.int32), np.full(SLOTS, np.nan),
            np.full((SLOTS, OFFSETS), np.nan), np.zeros((SLOTS, OFFSETS), np.int64), clock,
        )


@kernel("numpy")
def day_turn(before_s: float, tod_s: float) -> int:
    """1 where the time of day has gone past midnight since ``before_s``, -1 where it has gone back over it."""
    step = tod_s - before_s
    return 1 if step < -HALF_DAY_S else -1 if step > HALF_DAY_S else 0


@kernel("numpy")
def note_date(c: Clock, day: float, record: int, events: Floats) -> None:
    """An event where the day that running time counts from is another than before: which record it holds from, the day.

    A date too early by whole rollovers beside a right one is no event.
    """
    base = day - c.days_on
    early = c.base - base
    if early > 0 and early % ROLLOVER_DAYS == 0 and early <= MOST_ROLLOVERS * ROLLOVER_DAYS:
        c.early += 1
    elif base != c.base:
        same_burst = abs(c.running_s - c.burst_s) < SAME_BURST_S
        events[c.events, 0], events[c.events, 1] = c.burst if same_burst else record, base
        c.events += 1
        c.base = base
    c.burst_s = np.nan


@kernel("numpy")
def note_time(c: Clock, value: Floats, record: int, events: Floats) -> None:
    """Move the clock on to a sentence that tells a time of day."""
    tod = value[TOD]
    c.days_on += day_turn(c.last_tod, tod)
    c.last_tod = tod
    c.running_s = c.days_on * DAY_S + tod
    if not np.isnan(value[DAY]):
        note_date(c, value[DAY], record, events)
    elif not abs(c.running_s - c.burst_s) < SAME_BURST_S:
        c.burst_s, c.burst = c.running_s, record
    if np.isnan(c.tag_base) and not np.isnan(value[TAG]):
        c.tag_base = np.floor((value[TAG] - c.running_s) / DAY_S + 0.5)


@kernel("numpy")
def note_offset(book: Survey, slot: int, offset_m: float) -> None:
    """Count how often each offset was said; beyond OFFSETS different ones the rest is not told apart."""
    for k in range(OFFSETS):
        if np.isnan(book.offset[slot, k]):
            book.offset[slot, k] = offset_m
        if book.offset[slot, k] == offset_m:
            book.offset_count[slot, k] += 1
            return


@kernel("numpy")
def note_step(now: float, slot: int, last_s: Floats, steps: NDArray[np.int32]) -> None:
    """Count the interval to the fix before of the same kind and talker."""
    step = now - last_s[slot]
    last_s[slot] = now
    if STEP_S / 2 < step < STEP_S * (STEPS - 1):
        steps[slot, int(step / STEP_S + 0.5)] += 1


@kernel("numpy")
def survey(records: Records, kinds: Ints, book: Survey, events: Floats) -> int:
    """Add a chunk's records to ``book``; ``kinds`` (SLOTS,) of the slots. Returns how many ``events`` (m, 2) came."""
    c, counts, steps, last_s = book.clock[0], book.counts, book.steps, book.last_s
    c.events = 0
    for i in range(len(records.line)):
        slot, state, value = int(records.slot[i]), records.state[i], records.value[i]
        kind = kinds[slot]
        counts[slot, state] += 1
        if state > BARE:
            c.first_fault = records.line[i] if c.first_fault == 0 else c.first_fault
            continue
        is_fix = kind <= LAST_FIX
        timed, placed, tagged = is_fix and not np.isnan(value[TOD]), not np.isnan(value[LON]), not np.isnan(value[TAG])
        counts[slot, TAGGED] += tagged
        if timed:
            counts[slot, TIMED] += 1
            note_time(c, value, c.seen + i, events)
        if is_fix:
            counts[slot, WITH] += placed
            counts[slot, VOID] += not placed and kind != ZDA
            counts[slot, SECOND] += placed and not np.isnan(value[EXTRA])
            if placed and (timed or tagged):
                note_step(c.running_s if timed else value[TAG], slot, last_s, steps)
        else:
            counts[slot, WITH] += not np.isnan(value[DEPTH])
            if kind <= LAST_DEPTH:
                counts[slot, SECOND] += value[IN_FEET] > 0
                if not np.isnan(value[OFFSET]):
                    note_offset(book, slot, value[OFFSET])
            elif kind == HDG:
                counts[slot, SECOND] += not np.isnan(value[1])
    c.seen += len(records.line)
    return int(c.events)
