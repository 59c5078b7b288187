"""From logged depths to depths below a datum: draft, sound speed, lake level; each applied once, listed.

Corrections keep the shift of every row until crossovers have shown what they did (proof.py).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lakemap.clean.error_budget import UNKNOWN_OFFSET_M, UNKNOWN_SCALE, common_parts, with_common
from lakemap.clean.lake_level import LevelAt
from lakemap.clean.settings import CleanSettings
from lakemap.clean.true_depth import scaled_depth
from lakemap.model.flags import Flag
from lakemap.model.lake_facts import LakeFacts
from lakemap.model.log_facts import LogFacts
from lakemap.model.soundings import Correction, Soundings
from lakemap.units import length_slot

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Drafts:
    """For each row (n,): ``true_m`` draft (0 where not known), ``within_m`` what of a logged depth lies above the
    transducer (the sounder's own draft; less than 0 where a keel hangs below), ``known`` whether its zero is known."""

    true_m: Floats
    within_m: Floats
    known: Bools


def row_drafts(soundings: Soundings, settings: CleanSettings) -> Drafts:
    """Drafts by row: the log's, or that of the span of time it was raised or lowered in."""
    draft_m = soundings.told_draft_m() if settings.applies("draft") else np.full(len(soundings), np.nan)
    true_m, told = np.nan_to_num(draft_m), np.isfinite(draft_m)
    within = [_within(log) for log in soundings.logs]
    own = np.array([0.0 if value is None else value for value in within] or [0.0])[soundings.log]
    same = np.array([value is None for value in within] or [False])[soundings.log]
    surface, keel_told = _by_log(soundings, _from_surface), _by_log(soundings, _keel_told)
    by_hand = _by_log(soundings, _by_hand)
    known = np.where(surface, _by_log(soundings, _reference_known), told & keel_told) | by_hand
    within_m = np.where(same, true_m, own)
    if not settings.applies("draft"):
        true_m = np.where(surface, within_m, true_m)
    return Drafts(true_m, within_m, np.asarray(known, dtype=bool))


def _within(log: LogFacts) -> float | None:
    """What of a logged depth lies above the transducer; None: as much as the true draft, whatever that is."""
    if log.depth_reference == "surface":
        return log.included_draft_m
    if log.depth_reference == "keel" and log.datum_offset_m is not None:
        return min(log.datum_offset_m, 0.0)
    return 0.0


def _by_log(soundings: Soundings, of: Callable[[LogFacts], bool]) -> Bools:
    return np.asarray(np.array([of(log) for log in soundings.logs] or [False])[soundings.log], dtype=bool)


def _from_surface(log: LogFacts) -> bool:
    return log.depth_reference == "surface"


def _keel_told(log: LogFacts) -> bool:
    return log.depth_reference != "keel" or log.datum_offset_m is not None


def _by_hand(log: LogFacts) -> bool:
    return not log.acoustic


def _reference_known(log: LogFacts) -> bool:
    return log.reference_known


def dry_readings(soundings: Soundings, level: LevelAt | None) -> Bools:
    """Rows (n,) measured on what was dry that day: a height above the water, in a log that counts from the surface.

    Without a level for the day they are faults like any depth below zero: nobody knows what they stand above.
    """
    if level is None:
        return np.zeros(len(soundings), dtype=bool)
    surface = _by_log(soundings, _from_surface)
    return np.asarray(surface & (soundings.logged_depth_m <= 0) & np.isfinite(level.above_datum_m))


def correct_depths(
    soundings: Soundings, settings: CleanSettings, facts: LakeFacts, level: LevelAt | None = None
) -> Soundings:
    """Fill ``depth_m`` (positive down from the datum, n rows), ``draft_m`` and the common error.

    Below the transducer the shown depth is time times the nominal speed; only that part is scaled, and draft comes on
    top (physics/sound_speed.py). The level of the day is taken off last.
    """
    drafts = row_drafts(soundings, settings)
    below = soundings.logged_depth_m - drafts.within_m
    by_hand = _by_log(soundings, _by_hand)
    wet = (soundings.logged_depth_m > 0) & ~by_hand
    nominal = soundings.per_log("nominal_sound_speed_mps")
    if not settings.applies("sound speed"):
        nominal = np.full(len(soundings), np.nan)
    scaled = scaled_depth(soundings, below, drafts.true_m, nominal, facts.profile, settings)
    true_below = np.where(wet, scaled.below_m, below)
    done = _listed(soundings, "draft", drafts.true_m - drafts.within_m)
    done = _listed(done, "sound speed", true_below - below)
    depth = drafts.true_m + true_below
    if level is not None:
        risen = np.nan_to_num(level.above_datum_m)
        done, depth = _listed(done, "lake level", -risen), depth - risen
        done = done.with_columns(level_m=level.above_datum_m)
        done = replace(done, datum=level.datum).with_messages(f"all depths are below {level.datum}")
    used = soundings.usable() & np.isfinite(depth)
    offset_known, speed_known = mostly(drafts.known, used), mostly(scaled.known | by_hand, used)
    done = done.with_columns(depth_m=depth, draft_m=drafts.true_m)
    done = with_common(done, common_parts(offset_known, speed_known, level is not None))
    said = _said(offset_known, speed_known) if used.any() else []
    said += _spans_said(soundings) if settings.applies("draft") else []
    return done.with_messages(*scaled.messages, *(level.messages if level else ()), *said)


def _listed(soundings: Soundings, name: str, shift_m: Floats) -> Soundings:
    """The correction in the list, where it moved any row in use."""
    used = soundings.usable() & np.isfinite(shift_m)
    if not np.any(shift_m[used] != 0.0):
        return soundings
    nan = float("nan")
    done = Correction(name, nan, nan, float(np.mean(shift_m[used])), by_row=np.nan_to_num(shift_m))
    return replace(soundings, corrections=(*soundings.corrections, done))


def mostly(known: Bools, used: Bools) -> bool:
    """Whether most used rows know; the others are tied to them by the passes' bias."""
    return bool(np.mean(known[used]) >= 0.5) if used.any() else False


def flag_land(soundings: Soundings, dry: Bools) -> Soundings:
    """Flag dry readings that stand above the datum too: land, whatever the day."""
    return soundings.with_flag(Flag.off_water, dry & (soundings.depth_m < 0))


def _said(offset_known: bool, speed_known: bool) -> list[str]:
    """What the reader of the report must know of gaps that all depths share."""
    said = []
    if not offset_known:
        said.append(
            f"draft or depth reference is not known: all depths together may be off by "
            f"{length_slot(UNKNOWN_OFFSET_M)}; give clean.draft_m, or say what depths refer to"
        )
    if not speed_known:
        said.append(
            f"the sounder's sound speed or the water's temperature is not known: all depths together may be off by "
            f"{100 * UNKNOWN_SCALE:g} %; give clean.nominal_sound_speed_mps and clean.water_c"
        )
    return said


def _spans_said(soundings: Soundings) -> list[str]:
    """Drafts by span of time that no row could take: of logs without dates, and of times in which nobody sailed."""
    said = [f"{log.name}: has no date, so drafts by span of time say nothing of it; its usual draft counts"
            for log in soundings.logs if log.drafts and not log.has_date]
    dated = np.array([log.has_date for log in soundings.logs] or [False])[soundings.log]
    spans = {span: log for log in soundings.logs if log.has_date for span in log.drafts}
    for span, log in spans.items():
        theirs = dated & np.array([span in one.drafts for one in soundings.logs])[soundings.log]
        if not np.any(theirs & (soundings.time_s >= span.from_s) & (soundings.time_s <= span.until_s)):
            day = np.datetime64(int(span.from_s), "s").astype("datetime64[D]")
            said.append(f"the draft of {length_slot(span.draft_m, 2)} from {day} on: no reading of {log.name} or "
                        "another log of that sounder lies in its span")
    return said
