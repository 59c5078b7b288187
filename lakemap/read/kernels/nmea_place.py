"""NMEA 0183, compiled: gives each depth its time and the fixes around it, in line order, in one stream of records."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from lakemap.compiled import kernel
from lakemap.read.kernels.nmea_layout import (
    BARE,
    BY_COUNT,
    BY_TAG,
    BY_TIME_OF_DAY,
    DEPTH,
    EXTRA,
    HDG,
    HDM,
    LAST_FIX,
    LAT,
    LON,
    RMC,
    TAG,
    TOD,
    Records,
)
from lakemap.read.kernels.nmea_survey import DAY_S, day_turn

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Rows = Any
"""(n,) of ROW."""
State = Any
"""One record of STATE."""

BACK_S = 2.0
"""A clock that goes back by more than this is a new start of the recorder, not a late sentence."""
HEADING_HOLDS_S, WATER_HOLDS_S, SIGMA_HOLDS_S = 5.0, 600.0, 60.0
"""How long a heading, a water temperature and a position error hold when nothing newer is said: a boat turns within
seconds, the satellites in view change within minutes, the water over a quarter of an hour."""
OTHERS = 4096
"""Fixes of other sentences kept in mind while the chief ones may still go on."""

class Plan(NamedTuple):
    """What was chosen for the whole log: ``kinds, talkers`` (SLOTS,) of the slots; ``event`` (e,) records from which
    ``base`` (e,) [days] is where running time counts from. Slots and limits stand in State."""

    kinds: Ints
    talkers: Ints
    event: Ints
    base: Floats


ROW = np.dtype([
    ("time_s", "f8"), ("line", "i8"), ("depth", "f8"), ("lon", "f8"), ("lat", "f8"),
    ("heading", "f4"), ("water", "f4"), ("sigma", "f4"), ("failed", "u4"),
    ("left_s", "f8"), ("right_s", "f8"), ("next_lon", "f8"), ("next_lat", "f8"),
])
"""One depth sentence: its time, line, reading and what held then; left fix in ``lon, lat, left_s``, right fix in
``next_lon, next_lat, right_s`` (NaN: the place is that of the left one); ``failed``: a fix between them was garbled."""

STATE = np.dtype([
    ("depth", "i8"), ("chief", "i8"), ("heading", "i8"), ("water", "i8"), ("sigma", "i8"),
    ("talker", "i8"), ("mode", "i8"), ("dated", "i8"), ("gap_s", "f8"), ("interval_s", "f8"), ("still_s", "f8"),
    ("record", "i8"), ("event", "i8"), ("rows", "i8"), ("untimed", "i8"), ("early", "i8"), ("epoch", "u8"),
    ("last_tod", "f8"), ("days_on", "f8"), ("anchor_s", "f8"), ("first_s", "f8"), ("step_s", "f8"), ("shift_s", "f8"),
    ("of_talker", "i8"), ("backwards", "i8"), ("back_line", "i8"), ("restarts", "i8"),
    ("fixes", "i8"), ("start", "i8"), ("since", "i8"), ("last", "i8"), ("resting", "i8"), ("failed", "i8"),
    ("since_s", "f8"), ("last_s", "f8"), ("lon", "f8"), ("lat", "f8"),
    ("before_s", "f8"), ("before_lon", "f8"), ("before_lat", "f8"), ("others", "i8"), ("chief_s", "f8"),
    ("turned", "f8"), ("turned_s", "f8"), ("warm", "f8"), ("warm_s", "f8"), ("spread", "f8"), ("spread_s", "f8"),
    ("variation", "f8"),
])
"""Chosen: slots, talker and mode of the clock, whether it has dates, longest gap, usual interval and longest stand.
Carried from record to record. Clock: ``untimed`` first row without a time, ``early`` rows before the first anchor,
``epoch`` slots that spoke at ``anchor_s``. Place: the run of fixes at ``lon, lat`` began before row ``since`` at
``since_s`` and was last told before row ``last`` at ``last_s``; ``before_*`` the fix before the run; ``start`` rows
before the first fix. Then heading, water temperature and position error last told, and when."""


def blank_state() -> NDArray[np.void]:
    """Before the first record (1,)."""
    state = np.zeros(1, STATE)
    for name in ("last_tod", "anchor_s", "first_s", "since_s", "last_s", "before_s", "chief_s", "variation",
                 "turned", "turned_s", "warm", "warm_s", "spread", "spread_s"):
        state[name] = np.nan
    state["step_s"] = 1.0
    return state


def blank_rows(n: int) -> NDArray[np.void]:
    """Space for n rows, nothing known."""
    rows = np.zeros(n, ROW)
    for name in ROW.names or ():
        if name not in ("line", "failed"):
            rows[name] = np.nan
    return rows


@kernel("numpy")
def spread(rows: Rows, a: int, b: int, from_s: float, step_s: float) -> None:
    """Rows a..b at a steady rhythm: the k-th of them half a step further than k steps."""
    for j in range(a, b):
        rows[j].time_s = from_s + step_s * (j - a + 0.5)


@kernel("numpy")
def anchor(s: State, rows: Rows, t: float, slot: int, own: bool, line: int) -> None:
    """A sentence with the time t [s]: rows since the anchor before it are spread evenly over what passed.

    A sentence that repeats its time says nothing new; another one of the same moment ends a burst, and a single
    depth within the burst is of that moment.
    """
    bit = np.uint64(1) << np.uint64(slot)
    count = s.rows - s.untimed
    if np.isnan(s.anchor_s):
        s.early, s.first_s = s.rows, t
    elif t == s.anchor_s:
        if s.epoch & bit or count > 1:
            s.epoch |= bit
            return
        spread(rows, s.untimed, s.rows, t, 0.0)
        s.epoch |= bit
        s.untimed = s.rows
        return
    elif t < s.anchor_s:
        if t >= s.anchor_s - BACK_S:
            return
        spread(rows, s.untimed, s.rows, s.anchor_s, s.step_s)
        if own and s.of_talker:
            s.backwards += 1
            s.back_line = line if s.back_line == 0 else s.back_line
    elif count > 0:
        s.step_s = (t - s.anchor_s) / count
        spread(rows, s.untimed, s.rows, s.anchor_s, s.step_s)
    s.anchor_s, s.epoch, s.untimed, s.of_talker = t, bit, s.rows, own


@kernel("numpy")
def between(s: State, rows: Rows, a: int, b: int, left_s: float, right: tuple[float, float, float]) -> None:
    """Rows a..b lie between the present run's place at ``left_s`` and ``right`` (time, lon, lat); time NaN: they are at
    the run's place."""
    for j in range(a, b):
        rows[j].lon, rows[j].lat, rows[j].left_s = s.lon, s.lat, left_s
        rows[j].right_s, rows[j].next_lon, rows[j].next_lat = right
        rows[j].failed = s.failed > 0


@kernel("numpy")
def stand(s: State, rows: Rows, t: float, at: int) -> None:
    """The same place told again at t: bridged later if the boat goes on soon, else the boat is at rest there."""
    here = (np.nan, s.lon, s.lat)
    if not s.resting and t - s.since_s > s.still_s:
        if s.fixes == 1:
            between(s, rows, 0, s.start, s.since_s, (s.since_s, s.lon, s.lat))
            s.fixes = 2
        between(s, rows, s.since, s.last, s.since_s, here)
        s.resting, s.since = 1, s.last
    if s.resting:
        right = here if t - s.last_s <= s.gap_s else (t, s.lon, s.lat)
        between(s, rows, s.last, at, s.last_s, right)
        s.since, s.failed = at, 0
    s.last, s.last_s = at, t


@kernel("numpy")
def leave(s: State, rows: Rows, t: float, at: int, place: tuple[float, float]) -> None:
    """Another place at t. Repeats of the old one are bridged where the stand was short, else they were a rest."""
    to = (t, place[0], place[1])
    if s.fixes == 1:
        between(s, rows, 0, s.start, s.since_s, to)
    if s.resting or t - s.since_s > s.still_s:
        between(s, rows, s.since, s.last, s.since_s, (np.nan, s.lon, s.lat))
        between(s, rows, s.last, at, s.last_s, to)
        s.before_s = s.last_s
    else:
        between(s, rows, s.since, at, s.since_s, to)
        s.before_s = s.since_s
    s.before_lon, s.before_lat = s.lon, s.lat


@kernel("numpy")
def use_fix(s: State, rows: Rows, t: float, at: int, place: tuple[float, float]) -> None:
    """Take a fix into the line of fixes; ``at`` is the first row behind it."""
    if s.fixes > 0 and s.last_s - BACK_S <= t <= s.last_s:
        return
    if s.fixes > 0 and t > s.last_s and place[0] == s.lon and place[1] == s.lat:
        stand(s, rows, t, at)
        return
    if s.fixes == 0:
        s.start = at
    elif t > s.last_s:
        leave(s, rows, t, at, place)
    else:
        end_line(s, rows, at)
        s.before_s = np.nan
    s.fixes += 1
    s.since_s, s.last_s, s.since, s.last, s.resting, s.failed = t, t, at, at, 0, 0
    s.lon, s.lat = place


@kernel("numpy")
def end_line(s: State, rows: Rows, at: int) -> None:
    """No fix follows (in time): rows up to ``at`` go on as the last two fixes did, or hold the last place."""
    if s.fixes == 0:
        return
    if s.fixes == 1:
        between(s, rows, 0, s.start, s.since_s, (s.since_s, s.lon, s.lat))
    if s.last > s.since or s.resting or not 0 < s.since_s - s.before_s <= s.gap_s:
        between(s, rows, s.since, s.last, s.since_s, (np.nan, s.lon, s.lat))
        between(s, rows, s.last, at, s.last_s, (s.last_s, s.lon, s.lat))
        return
    between(s, rows, s.since, at, s.since_s, (s.before_s, s.before_lon, s.before_lat))


@kernel("numpy")
def offer_fix(s: State, rows: Rows, t: float, chief: bool, place: tuple[float, float], others: Floats) -> None:
    """A fix of the chief sentence is used; one of another only where the chief ones leave a gap: until that shows it is
    kept in ``others`` (OTHERS, 4): time, lon, lat, row."""
    at = s.untimed if t <= s.anchor_s else s.rows
    quiet = t - s.chief_s > s.gap_s or np.isnan(s.chief_s)
    if not chief and not quiet:
        if s.others < OTHERS:
            k = s.others
            others[k, 0], others[k, 1], others[k, 2], others[k, 3] = t, place[0], place[1], at
            s.others += 1
        return
    if quiet:
        for k in range(s.others):
            use_fix(s, rows, others[k, 0], int(others[k, 3]), (others[k, 1], others[k, 2]))
    s.others = 0
    use_fix(s, rows, t, at, place)
    if chief:
        s.chief_s = t


@kernel("numpy")
def next_day(s: State, t: float) -> float:
    """A clock without dates that starts anew goes on to the next day: its time of day stays, time never runs back."""
    days = np.ceil((s.anchor_s - t) / DAY_S) * DAY_S
    s.shift_s += days
    s.restarts += 1
    return float(t + days)


@kernel("numpy")
def hear(s: State, kind: int, slot: int, value: Floats) -> None:
    """Keep the heading, water temperature or position error that a sentence says, with the time."""
    found = value[EXTRA] if kind <= LAST_FIX else value[0]
    if kind == RMC:
        if not np.isnan(found):
            s.variation = found
    elif np.isnan(found):
        return
    elif slot == s.sigma:
        s.spread, s.spread_s = found, s.anchor_s
    elif slot == s.water:
        s.warm, s.warm_s = found, s.anchor_s
    elif slot == s.heading:
        if kind in (HDM, HDG):
            found = (found + (value[1] if kind == HDG and not np.isnan(value[1]) else s.variation)) % 360.0
        s.turned, s.turned_s = found, s.anchor_s


@kernel("numpy")
def add_row(s: State, rows: Rows, line: int, depth: float, t: float) -> None:
    """One more depth sentence; its time is known at once only where its own TAG block says it."""
    if s.rows >= len(rows):
        return
    row = rows[s.rows]
    row.line, row.depth = line, depth
    if not s.anchor_s - s.turned_s > HEADING_HOLDS_S:
        row.heading = s.turned
    if not s.anchor_s - s.warm_s > WATER_HOLDS_S:
        row.water = s.warm
    if not s.anchor_s - s.spread_s > SIGMA_HOLDS_S:
        row.sigma = s.spread
    s.rows += 1
    if not np.isnan(t):
        row.time_s = t
        s.untimed = s.rows


@kernel("numpy")
def place(records: Records, plan: Plan, state: NDArray[np.void], rows: Rows, others: Floats) -> None:
    """Take one chunk's records in: rows of the chosen depth sentence with time and the fixes around them."""
    s = state[0]
    for i in range(len(records.line)):
        while s.event + 1 < len(plan.event) and plan.event[s.event + 1] <= s.record:
            s.event += 1
        s.record += 1
        slot, line, value = int(records.slot[i]), records.line[i], records.value[i]
        kind = plan.kinds[slot]
        is_fix, is_depth = kind <= LAST_FIX, slot == s.depth
        if records.state[i] > BARE:
            s.failed |= is_fix
            if is_depth:
                add_row(s, rows, line, np.nan, np.nan)
            continue
        t, own = value[TAG] if s.mode == BY_TAG else np.nan, True
        if is_fix and s.mode == BY_TIME_OF_DAY and not np.isnan(value[TOD]):
            own = plan.talkers[slot] == s.talker
            s.days_on += day_turn(s.last_tod, value[TOD])
            s.last_tod = value[TOD]
            t = (s.days_on + plan.base[s.event]) * DAY_S + s.last_tod + s.shift_s
            if own and s.of_talker and not s.dated and t < s.anchor_s - BACK_S:
                t = next_day(s, t)
                s.back_line = line if s.back_line == 0 else s.back_line
        elif s.mode == BY_COUNT and slot == s.chief and not np.isnan(value[LON]):
            s.shift_s += 1.0
            t = s.shift_s
        if not np.isnan(t) and (own or np.isnan(s.anchor_s) or t - s.anchor_s > s.gap_s):
            anchor(s, rows, t, slot, own, line)
        fix_s = s.anchor_s if np.isnan(t) else t
        if is_fix and not np.isnan(value[LON]) and not np.isnan(fix_s):
            offer_fix(s, rows, fix_s, slot == s.chief, (value[LON], value[LAT]), others)
        if is_depth:
            add_row(s, rows, line, value[DEPTH], t if s.mode == BY_TAG else np.nan)
        elif kind == RMC or slot == s.heading or slot == s.water or slot == s.sigma:
            hear(s, kind, slot, value)


@kernel("numpy")
def finish(state: NDArray[np.void], rows: Rows) -> None:
    """No more records: the last rows get what the last fixes tell."""
    s = state[0]
    end_line(s, rows, s.rows)


@kernel("numpy")
def settle(rows: Rows, longest_s: float, interval_s: float) -> None:
    """Longitude and latitude of each row, straight between its two fixes; NaN where these lie more than ``longest_s``
    apart, and beyond ``interval_s`` outside of them."""
    for j in range(len(rows)):
        t, left, right = rows[j].time_s, rows[j].left_s, rows[j].right_s
        if np.isnan(right):
            continue
        outside = max(min(left, right) - t, t - max(left, right))
        if outside > interval_s or (abs(right - left) > longest_s and t != left and t != right):
            rows[j].lon = rows[j].lat = np.nan
        elif t == right:
            rows[j].lon, rows[j].lat = rows[j].next_lon, rows[j].next_lat
        elif right != left:
            share = (t - left) / (right - left)
            east = rows[j].next_lon - rows[j].lon
            east -= 360.0 * np.floor(east / 360.0 + 0.5)
            lon = rows[j].lon + east * share
            rows[j].lon = lon - 360.0 * np.floor((lon + 180.0) / 360.0) if abs(lon) >= 180.0 else lon
            rows[j].lat += (rows[j].next_lat - rows[j].lat) * share
