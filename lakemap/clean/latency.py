"""Latency: depths that come out of the sounder later than the fixes they are logged with, found and put right."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lakemap.clean.latency_fit import Late
from lakemap.clean.settings import CleanSettings
from lakemap.geo.motion import Motion
from lakemap.model.soundings import Soundings
from lakemap.units import length_slot

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

SIGNIFICANT = 3.0
"""A latency is put right from so many standard errors on: one log in 370 would be without cause."""
UNTOLD_S = 0.5
"""With a larger standard error the data do not tell the latency: a usual one is some tenths of a second (common
practice of the trade)."""
LARGEST_S = 5.0
"""What looks like more is something else: a clock that is off, a log put together wrongly."""
DISAGREES = 4.0
"""A given latency is doubted from so many standard errors on."""
NAMED = 6
"""Logs named in one message; the others are counted."""


@dataclass(frozen=True)
class Decision:
    """For each log (logs,): what is applied [s], its standard error, and what becomes of it (GIVEN, FOUND ...)."""

    applied_s: Floats
    sigma_s: Floats
    what: tuple[str, ...]


GIVEN, FOUND, SMALL, UNTOLD, ONE_WAY, UNTIMED, OFF, ODD = (
    "given", "found", "small", "untold", "one way", "untimed", "off", "odd")


def decide(soundings: Soundings, late: Late, one_way: Bools, settings: CleanSettings) -> Decision:
    """What to apply to each log: the given latency, or the one found where it is significant, or nothing.

    ``one_way`` (logs,): all passes of the log run one way, so that neither latency nor lever arm can show.
    """
    what = [_verdict(soundings, code, late, bool(one_way[code]), settings) for code in range(len(soundings.logs))]
    given = soundings_latency(soundings)
    applied = np.where([word == GIVEN for word in what], given, 0.0)
    applied = np.where([word == FOUND for word in what], late.latency_s, applied)
    told = np.array([word in (FOUND, SMALL) for word in what])
    sigma = np.where(told, np.hypot(late.sigma_s, np.where([w == SMALL for w in what], late.latency_s, 0.0)), 0.0)
    return Decision(np.asarray(applied, np.float64), np.nan_to_num(sigma), tuple(what))


def soundings_latency(soundings: Soundings) -> Floats:
    """The latency that the boat's file gives each log (logs,) [s]; 0 where it gives none."""
    return np.array([facts.latency_s or 0.0 for facts in soundings.logs])


def _verdict(soundings: Soundings, code: int, late: Late, one_way: bool, settings: CleanSettings) -> str:
    facts = soundings.logs[code]
    if not settings.applies("latency"):
        return OFF
    if facts.latency_s is not None:
        return GIVEN
    if not facts.has_time or facts.single:
        return UNTIMED
    if not np.isfinite(late.sigma_s[code]) or late.sigma_s[code] > UNTOLD_S:
        return ONE_WAY if one_way else UNTOLD
    if abs(late.latency_s[code]) < SIGNIFICANT * late.sigma_s[code]:
        return SMALL
    return FOUND if abs(late.latency_s[code]) <= LARGEST_S else ODD


def runs_one_way(soundings: Soundings, moved: Motion) -> Bools:
    """Which logs (logs,) have all their passes on one course, within some 50 degrees of their mean."""
    course = np.radians(moved.course_deg)
    out = np.zeros(len(soundings.logs), dtype=bool)
    for code in range(len(soundings.logs)):
        known = course[(soundings.log == code) & np.isfinite(course)]
        if len(known):
            middle = np.arctan2(np.sin(known).mean(), np.cos(known).mean())
            out[code] = bool(np.mean(np.cos(known - middle) > 0.64) > 0.98)
    return out


def shifted(soundings: Soundings, latency_s: Floats, moved: Motion) -> Soundings:
    """Positions moved back along the way by latency times velocity: x(ping) = x(fix) - v L, rows of no known motion
    stay; ``latency_s`` (logs,). ``lon_deg, lat_deg`` stay as logged."""
    if not latency_s.any():
        return soundings
    behind = latency_s[soundings.log]
    return soundings.with_columns(
        x_m=soundings.x_m - behind * np.nan_to_num(moved.vx_mps),
        y_m=soundings.y_m - behind * np.nan_to_num(moved.vy_mps),
    )


def said(soundings: Soundings, late: Late, decision: Decision, moved: Motion) -> list[str]:
    """What the reader of the report must know of latency: a line for each thing that happened."""
    of = {word: [code for code, verdict in enumerate(decision.what) if verdict == word] for word in set(decision.what)}
    names = [facts.name for facts in soundings.logs]
    with np.errstate(invalid="ignore"):
        speed = float(np.nanmedian(moved.speed_mps)) if np.isfinite(moved.speed_mps).any() else 0.0

    def listed(word: str, figures: bool = True) -> str:
        shown = [
            f"{names[code]} ({late.latency_s[code]:.2f} s, give or take {late.sigma_s[code]:.2f} s)" if figures
            else names[code] for code in of.get(word, [])[:NAMED]
        ]
        more = len(of.get(word, [])) - len(shown)
        return ", ".join(shown) + (f" and {more} more" if more else "")

    texts = []
    if FOUND in of:
        arm = length_slot(speed * float(np.median(np.abs(late.latency_s[of[FOUND]]))))
        texts.append(
            f"depths come later than their fixes, positions are moved back accordingly: {listed(FOUND)}; an antenna "
            f"some {arm} ahead of the transducer would look the same, the boat's file can tell them apart")
    if SMALL in of:
        texts.append(f"latency is not significant and nothing is moved: {listed(SMALL)}")
    if UNTOLD in of:
        texts.append(
            f"the passes do not tell the latency of {listed(UNTOLD, figures=False)} (too few cross or run opposite "
            "over a slope): nothing is moved; a slope sailed up and down once would tell it")
    if ONE_WAY in of:
        texts.append(
            f"all passes of {listed(ONE_WAY, figures=False)} run one way: latency, an antenna ahead of the transducer "
            "and a shift of the whole map cannot be told apart, nothing is moved")
    if ODD in of:
        texts.append(f"what looks like a latency of over {LARGEST_S:g} s is something else, nothing is moved: "
                     f"{listed(ODD)}; check the clocks of the log")
    texts += _doubts(soundings, late, of.get(GIVEN, []))
    if UNTIMED in of:
        untimed = [code for code in of[UNTIMED] if not soundings.logs[code].single]
        if untimed:
            texts.append(f"without times latency can neither be found nor put right: "
                         f"{', '.join(names[code] for code in untimed[:NAMED])}")
    return texts


def _doubts(soundings: Soundings, late: Late, given: list[int]) -> list[str]:
    """Given latencies that the passes speak against; ``late`` is then what they leave."""
    return [
        f"{soundings.logs[code].name}: latency is given as {soundings.logs[code].latency_s:g} s, but the passes say "
        f"{(soundings.logs[code].latency_s or 0.0) + late.latency_s[code]:.2f} s, give or take "
        f"{late.sigma_s[code]:.2f} s; the given one is used"
        for code in given
        if np.isfinite(late.sigma_s[code]) and late.sigma_s[code] <= UNTOLD_S
        and abs(late.latency_s[code]) > max(DISAGREES * late.sigma_s[code], 0.2)
    ]
