"""The lake's level at each reading, from a gauge: depths of all days brought to one named datum. Still water only."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lakemap.clean.settings import CleanSettings
from lakemap.errors import InputError
from lakemap.geo.floor_along import MAD_TO_SIGMA
from lakemap.model.lake_facts import LakeLevels
from lakemap.model.soundings import Soundings
from lakemap.units import length_slot

Floats = NDArray[np.float64]

DAY_S = 86_400.0
HOLD_S = DAY_S
"""Beyond its first and last reading a gauge speaks for one more day, no further."""
GAP_S, GAP_STEPS = 1.5 * DAY_S, 3.0
"""A gauge has a gap where it was silent for longer than this and than so many of its usual steps."""
READ_SIGMA_M = 0.01
"""Standard error of one gauge reading, as it is written; common practice."""
TIDE_SPAN_S, TIDE_SWINGS, TIDE_SWING_M = 27 * 3600.0, 4, 0.1
"""A level that turns so often within a lunar day, by so much each time, is a tide: a reservoir fills
and empties once."""
UNEVEN, LEAST_READINGS = 0.25, 5
"""Half way between two readings the level lies between both, but where is open: a quarter of their difference is the
standard error (that of an even chance is 0.29); and so many readings show how it wanders."""
TILT_M = 0.05
"""Two gauges of still water that differ by more, at the same time, stand on a slope."""


@dataclass(frozen=True)
class LevelAt:
    """For each row (n,): lake level above the datum [m] and its sigma, NaN where not known; the datum's name, and what
    there is to say."""

    above_datum_m: Floats
    sigma_m: Floats
    datum: str
    messages: tuple[str, ...]


def level_at(soundings: Soundings, levels: Sequence[LakeLevels], settings: CleanSettings) -> LevelAt | None:
    """The level at each row's time, interpolated; None without a gauge.

    Raises InputError, one line each, for tides, for two gauges on a slope, for pool elevations without the full pool's,
    and for rows beyond the gauge's time.
    """
    if not levels:
        return None
    gauge, zero_m, datum = _one_gauge(levels, settings)
    time_s = np.where(_dated(soundings), soundings.time_s, np.nan)
    used = soundings.usable() & np.isfinite(time_s)
    _refuse_other_times(soundings, gauge, time_s, used)
    level = np.interp(time_s, gauge.time_s, gauge.level_m) - zero_m
    sigma = np.hypot(READ_SIGMA_M, _between_sigma_m(gauge, time_s))
    said = [*gauge.messages, *_gaps_said(soundings, gauge, time_s, used)]
    undated = [log.name for log in soundings.logs if not log.has_date]
    if undated:
        said.append(f"{', '.join(undated)}: no date, so no lake level can be told for it; its depths stay below the "
                    "surface of its day")
    return LevelAt(level, sigma, datum, tuple(said))


def level_at_times(gauge_levels: Sequence[LakeLevels], time_s: Floats, settings: CleanSettings) -> Floats:
    """Level above the datum [m] at other moments (k,), such as those of check depths; NaN beyond the gauge's time."""
    gauge, zero_m, _ = _one_gauge(gauge_levels, settings)
    inside = (time_s >= gauge.time_s[0] - HOLD_S) & (time_s <= gauge.time_s[-1] + HOLD_S)
    return np.where(inside, np.interp(time_s, gauge.time_s, gauge.level_m) - zero_m, np.nan)


def _dated(soundings: Soundings) -> NDArray[np.bool_]:
    told = np.array([log.has_date and log.has_time for log in soundings.logs] or [True])
    return np.asarray(told[soundings.log] & np.isfinite(soundings.time_s))


def _one_gauge(levels: Sequence[LakeLevels], settings: CleanSettings) -> tuple[LakeLevels, float, str]:
    """All gauges as one, the level that counts as zero, and the datum's name."""
    names = ", ".join(one.source for one in levels)
    if settings.water == "salt":
        raise InputError(f"{names}: levels of salt water are tides, which are not corrected; leave them out")
    if len({one.elevation for one in levels}) > 1:
        raise InputError(f"{names}: one has elevations, another relative levels; give all in one form")
    gauge = _joined(levels)
    _refuse_tide(gauge)
    if not gauge.elevation:
        return gauge, 0.0, settings.datum or gauge.datum or f"zero of the gauge in {gauge.source}"
    full_m = settings.full_pool_m if settings.full_pool_m is not None else gauge.full_pool_m
    if full_m is None:
        raise InputError(f"{gauge.source}: pool elevations need the full pool's: clean.full_pool_m, or a line "
                         "# full_pool_m: 215.0 above the header")
    return gauge, full_m, settings.datum or gauge.datum or f"full pool, elevation {full_m:.2f} m"


def _joined(levels: Sequence[LakeLevels]) -> LakeLevels:
    """Files that follow each other in time are one gauge. Raises InputError where two differ at the same time."""
    first = levels[0]
    for other in levels[1:]:
        shared = (other.time_s >= first.time_s[0]) & (other.time_s <= first.time_s[-1])
        apart = np.abs(np.interp(other.time_s, first.time_s, first.level_m) - other.level_m)[shared]
        if len(apart) and np.median(apart) > TILT_M:
            raise InputError(f"{first.source} and {other.source}: two gauges that differ by {np.median(apart):.2f} m "
                             "at one time; sloping water (a river) is not corrected, give one gauge of still water")
        time_s = np.concatenate([first.time_s, other.time_s[~shared]])
        order = np.argsort(time_s, kind="stable")
        first = LakeLevels(
            time_s[order], np.concatenate([first.level_m, other.level_m[~shared]])[order], first.elevation,
            f"{first.source}, {other.source}", _first_of(first.full_pool_m, other.full_pool_m),
            first.datum or other.datum, first.messages + other.messages,
        )
    return first


def _first_of(a: float | None, b: float | None) -> float | None:
    return b if a is None else a


def _refuse_tide(gauge: LakeLevels) -> None:
    turns = _turns(gauge.level_m)
    for first in range(len(turns) - TIDE_SWINGS):
        part = turns[first : first + TIDE_SWINGS + 1]
        swings = np.abs(np.diff(gauge.level_m[part]))
        if gauge.time_s[part[-1]] - gauge.time_s[part[0]] <= TIDE_SPAN_S and swings.min() >= TIDE_SWING_M:
            when = np.datetime64(int(gauge.time_s[part[0]]), "s")
            raise InputError(f"{gauge.source}: rises and falls {TIDE_SWINGS} times within {TIDE_SPAN_S / 3600:g} hours "
                             f"from {when}Z, by {swings.min():.2f} m or more: a tide, which is not corrected")


def _turns(level_m: Floats) -> NDArray[np.int64]:
    """Where the level turns from rising to falling or back; single centimetres do not count."""
    kept = [0]
    for i in range(1, len(level_m)):
        if len(kept) > 1 and (level_m[i] - level_m[kept[-1]]) * (level_m[kept[-1]] - level_m[kept[-2]]) >= 0:
            kept[-1] = i
        elif abs(level_m[i] - level_m[kept[-1]]) >= TIDE_SWING_M / 2:
            kept.append(i)
    return np.array(kept, dtype=np.int64)


def _refuse_other_times(soundings: Soundings, gauge: LakeLevels, time_s: Floats, used: NDArray[np.bool_]) -> None:
    """Raises InputError for the first log with rows beyond the gauge's time and one day more."""
    outside = used & ((time_s < gauge.time_s[0] - HOLD_S) | (time_s > gauge.time_s[-1] + HOLD_S))
    if outside.any():
        row = int(np.flatnonzero(outside)[0])
        log = soundings.logs[soundings.log[row]].name
        day = np.datetime64(int(time_s[row]), "s").astype("datetime64[D]")
        first, last = (np.datetime64(int(gauge.time_s[i]), "s").astype("datetime64[D]") for i in (0, -1))
        raise InputError(f"{gauge.source}: levels from {first} to {last}, but {log} has readings of {day}; give the "
                         "levels of those days, or leave the gauge or the log out")


def _between_sigma_m(gauge: LakeLevels, time_s: Floats) -> Floats:
    """Error of a level told between two readings (n,): how far the level wanders, as each reading shows when it is told
    from the two beside it, and that it need not have moved evenly from one to the next.
    """
    if len(gauge) < 2:
        return np.where(np.isfinite(time_s), 0.0, np.nan)
    after = np.clip(np.searchsorted(gauge.time_s, time_s), 1, len(gauge) - 1)
    since, until = time_s - gauge.time_s[after - 1], gauge.time_s[after] - time_s
    beyond = -np.minimum(np.minimum(since, until), 0.0)
    bridge = np.maximum(since * until, 0.0) / np.maximum(since + until, 1.0)
    moved = np.abs(np.diff(gauge.level_m))[after - 1]
    uneven = UNEVEN * moved * 4.0 * bridge / np.maximum(since + until, 1.0)
    return np.asarray(np.hypot(_wander(gauge) * np.sqrt(bridge + beyond), uneven), dtype=np.float64)


def _wander(gauge: LakeLevels) -> float:
    """How far a level strays from the straight line between two readings [m per square root of a second]: 0 where too
    few readings tell."""
    if len(gauge) < LEAST_READINGS:
        return 0.0
    time_s, level = gauge.time_s, gauge.level_m
    since, until = time_s[1:-1] - time_s[:-2], time_s[2:] - time_s[1:-1]
    told = (level[:-2] * until + level[2:] * since) / (since + until)
    strayed = np.abs(level[1:-1] - told) / np.sqrt(since * until / (since + until))
    return float(MAD_TO_SIGMA * np.median(strayed))


def _gaps_said(soundings: Soundings, gauge: LakeLevels, time_s: Floats, used: NDArray[np.bool_]) -> list[str]:
    """A warning for each silence of the gauge in which readings lie."""
    said = []
    step_s = np.diff(gauge.time_s)
    usual = float(np.median(step_s)) if len(step_s) else 0.0
    for i in np.flatnonzero(step_s > max(GAP_S, GAP_STEPS * usual)):
        rows = used & (time_s > gauge.time_s[i]) & (time_s < gauge.time_s[i + 1])
        if rows.any():
            first, last = (np.datetime64(int(gauge.time_s[k]), "s").astype("datetime64[m]") for k in (i, i + 1))
            moved = length_slot(gauge.level_m[i + 1] - gauge.level_m[i], 2)
            said.append(f"{gauge.source}: silent from {first}Z to {last}Z, while the level moved {moved}; "
                        f"{int(rows.sum())} readings lie in that gap, their level is told from its two ends")
    held = used & ((time_s < gauge.time_s[0]) | (time_s > gauge.time_s[-1]))
    if held.any():
        said.append(f"{gauge.source}: {int(held.sum())} readings lie within a day before its first or after its last "
                    "level, which is taken for them")
    return said
