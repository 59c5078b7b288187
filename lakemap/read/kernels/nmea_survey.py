"""NMEA 0183, compiled: what a log holds on the whole, so that choices can be made before any row is placed."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from lakemap.read.kernels.nmea_layout import (
    BARE,
    DAY,
    DEPTH,
    EXTRA,
    GNS,
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
SAME_BURST_S, BURST = 1.0, 16
"""A dated sentence this close behind undated ones tells their date too (RMC often closes a burst that GGA opened)."""
ROLLOVER_DAYS = 7168
"""GPS counts weeks modulo 1024: receivers past a rollover write a date that many days too early."""
MOST_ROLLOVERS = 3
STEP_S, STEPS = 0.01, 12000
"""Steps between fixes are counted in bins of 10 ms up to two minutes."""
OFFSETS = 8

WITH, SECOND, VOID, TIMED, TAGGED, COLUMNS = 4, 5, 6, 7, 8, 9
"""Columns of ``counts`` behind the four states: with a value; with a second one (variation, HDOP, feet); without a fix;
with a time of day; with a TAG block's time."""
LAST_TOD, DAYS_ON, BASE, TAG_BASE, RUNNING = range(5)
EVENTS, FIRST_FAULT, ROLLED, SEEN, PENDING = range(5)


class Survey(NamedTuple):
    """``counts`` (SLOTS, COLUMNS); ``steps`` (SLOTS, STEPS) of fix intervals; ``last_s`` (SLOTS,) time of the last fix;
    ``offset, offset_count`` (SLOTS, OFFSETS) of DPT; ``clock`` (5,), ``tally`` (5,) carried along;
    ``burst`` (BURST, 2) undated sentences since the last date: record, running time."""

    counts: Ints
    steps: NDArray[np.int32]
    last_s: Floats
    offset: Floats
    offset_count: Ints
    clock: Floats
    tally: Ints
    burst: Floats

    @classmethod
    def blank(cls) -> Survey:
        """Before the first record."""
        return cls(
            np.zeros((SLOTS, COLUMNS), np.int64), np.zeros((SLOTS, STEPS), np.int32), np.full(SLOTS, np.nan),
            np.full((SLOTS, OFFSETS), np.nan), np.zeros((SLOTS, OFFSETS), np.int64),
            np.array([np.nan, 0.0, np.nan, np.nan, np.nan]), np.zeros(5, np.int64), np.zeros((BURST, 2)),
        )


@njit(cache=True, error_model="numpy")
def day_turn(before_s: float, tod_s: float) -> int:
    """1 where the time of day has gone past midnight since ``before_s``, -1 where it has gone back over it."""
    step = tod_s - before_s
    return 1 if step < -HALF_DAY_S else -1 if step > HALF_DAY_S else 0


@njit(cache=True, error_model="numpy")
def note_date(book: Survey, day: float, record: int, events: Floats) -> None:
    """An event where the day that running time counts from is another than before: which record it holds from, the day.

    A date too early by whole rollovers beside a right one is no event.
    """
    clock, tally = book.clock, book.tally
    base = day - clock[DAYS_ON]
    early = clock[BASE] - base
    if early > 0 and early % ROLLOVER_DAYS == 0 and early <= MOST_ROLLOVERS * ROLLOVER_DAYS:
        tally[ROLLED] += 1
    elif base != clock[BASE]:
        at = float(record)
        for k in range(tally[PENDING] - 1, -1, -1):
            if abs(book.burst[k, 1] - clock[RUNNING]) > SAME_BURST_S:
                break
            at = book.burst[k, 0]
        events[tally[EVENTS], 0], events[tally[EVENTS], 1] = at, base
        tally[EVENTS] += 1
        clock[BASE] = base
    tally[PENDING] = 0


@njit(cache=True, error_model="numpy")
def note_undated(book: Survey, record: int) -> None:
    """Remember an undated sentence, the last BURST of them."""
    tally, burst = book.tally, book.burst
    if tally[PENDING] == BURST:
        for k in range(BURST - 1):
            burst[k, 0], burst[k, 1] = burst[k + 1, 0], burst[k + 1, 1]
        tally[PENDING] -= 1
    burst[tally[PENDING], 0], burst[tally[PENDING], 1] = record, book.clock[RUNNING]
    tally[PENDING] += 1


@njit(cache=True, error_model="numpy")
def note_offset(book: Survey, slot: int, offset_m: float) -> None:
    """Count how often each offset was said; beyond OFFSETS different ones the rest is not told apart."""
    for k in range(OFFSETS):
        if np.isnan(book.offset[slot, k]):
            book.offset[slot, k] = offset_m
        if book.offset[slot, k] == offset_m:
            book.offset_count[slot, k] += 1
            return


@njit(cache=True, error_model="numpy")
def note_fix(book: Survey, slot: int, kind: int, value: Floats, record: int, events: Floats) -> None:
    """Clock, dates and fix intervals of one sentence that tells time and place."""
    count, clock, tod = book.counts, book.clock, value[TOD]
    if not np.isnan(tod):
        count[slot, TIMED] += 1
        clock[DAYS_ON] += day_turn(clock[LAST_TOD], tod)
        clock[LAST_TOD] = tod
        clock[RUNNING] = clock[DAYS_ON] * DAY_S + tod
        if np.isnan(value[DAY]):
            note_undated(book, record)
        else:
            note_date(book, value[DAY], record, events)
        if np.isnan(clock[TAG_BASE]) and not np.isnan(value[TAG]):
            clock[TAG_BASE] = np.round((value[TAG] - clock[RUNNING]) / DAY_S)
    if np.isnan(value[LON]):
        count[slot, VOID] += kind != ZDA
        return
    count[slot, WITH] += 1
    now = clock[RUNNING] if not np.isnan(tod) else value[TAG]
    step = now - book.last_s[slot]
    if not np.isnan(now):
        book.last_s[slot] = now
    if STEP_S / 2 < step < STEP_S * (STEPS - 1):
        book.steps[slot, int(step / STEP_S + 0.5)] += 1
    if kind <= GNS and not np.isnan(value[EXTRA]):
        count[slot, SECOND] += 1


@njit(cache=True, error_model="numpy")
def survey(records: Records, kinds: Ints, book: Survey, events: Floats) -> int:
    """Add a chunk's records to ``book``; ``kinds`` (SLOTS,) of the slots. Returns how many ``events`` (m, 2) came."""
    count, tally = book.counts, book.tally
    tally[EVENTS] = 0
    for i in range(len(records.line)):
        slot, state = records.slot[i], records.state[i]
        kind = kinds[slot]
        count[slot, state] += 1
        if state > BARE:
            if tally[FIRST_FAULT] == 0:
                tally[FIRST_FAULT] = records.line[i]
            continue
        value = records.value[i]
        count[slot, TAGGED] += not np.isnan(value[TAG])
        if kind <= LAST_FIX:
            note_fix(book, slot, kind, value, tally[SEEN] + i, events)
            continue
        count[slot, WITH] += not np.isnan(value[DEPTH])
        if kind <= LAST_DEPTH:
            count[slot, SECOND] += value[IN_FEET] > 0
            if not np.isnan(value[OFFSET]):
                note_offset(book, slot, value[OFFSET])
        elif kind == HDG and not np.isnan(value[1]):
            count[slot, SECOND] += 1
    tally[SEEN] += len(records.line)
    return int(tally[EVENTS])
