"""From logged depths to depths below the water surface: draft and sound speed, each said in the list of corrections."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lakemap.clean.error_budget import UNKNOWN_OFFSET_M, UNKNOWN_SCALE, common_error
from lakemap.clean.settings import CleanSettings
from lakemap.model.log_facts import LogFacts
from lakemap.model.soundings import Soundings
from lakemap.physics.sound_speed import sound_speed_mps, true_depth_m
from lakemap.units import length_slot

Floats = NDArray[np.float64]

NOTHING_SAID = "nothing said it"
"""Origin that reading gives to a depth reference which neither file nor owner told."""


@dataclass(frozen=True)
class DepthFacts:
    """What is used for one log: draft [m] (None: not known, 0 used), nominal and true sound speed [m/s] (None: not
    known, no correction), and whether the depth's reference is known.
    """

    draft_m: float | None
    nominal_mps: float | None
    true_mps: float | None
    reference_known: bool

    @property
    def speed_known(self) -> bool:
        """Whether depths can be scaled."""
        return self.nominal_mps is not None and self.true_mps is not None


def depth_facts(soundings: Soundings, settings: CleanSettings) -> tuple[DepthFacts, ...]:
    """For each log, the owner's settings first, then what the log knows of itself."""
    return tuple(_facts_of_log(soundings, code, facts, settings) for code, facts in enumerate(soundings.logs))


def _facts_of_log(soundings: Soundings, code: int, facts: LogFacts, settings: CleanSettings) -> DepthFacts:
    water_c = _water_c(soundings, code, settings)
    return DepthFacts(
        draft_m=_first(settings.draft_m, facts.draft_m, _waterline(facts)),
        nominal_mps=_first(settings.nominal_sound_speed_mps, facts.nominal_sound_speed_mps),
        true_mps=None if water_c is None else float(sound_speed_mps(water_c, settings.water)),  # type: ignore[arg-type]
        reference_known=facts.origins.get("depth_reference", NOTHING_SAID) != NOTHING_SAID,
    )


def _first(*values: float | None) -> float | None:
    return next((value for value in values if value is not None), None)


def _waterline(facts: LogFacts) -> float | None:
    """Transducer to waterline, where the log says it (positive by the sentence's definition)."""
    return facts.datum_offset_m if facts.datum_offset_m is not None and facts.datum_offset_m > 0 else None


def _water_c(soundings: Soundings, code: int, settings: CleanSettings) -> float | None:
    """Set by the owner, or the median logged by this log, or by all logs; None where nobody knows."""
    if settings.water_c is not None:
        return settings.water_c
    logged = np.isfinite(soundings.water_c)
    for rows in (logged & (soundings.log == code), logged):
        if rows.any():
            return float(np.median(soundings.water_c[rows]))
    return None


def correct_depths(soundings: Soundings, settings: CleanSettings) -> Soundings:
    """Fill ``depth_m`` (positive down from the water surface, n rows) and the common error.

    Below the transducer the shown depth is time times the nominal speed; only that part is scaled, and draft comes on
    top (physics/sound_speed.py). Depths that came below the surface contain the draft that the sounder knows of.
    """
    facts = depth_facts(soundings, settings)
    below = soundings.logged_depth_m - _per_row(soundings, _within_logged(soundings.logs, facts))
    draft = _per_row(soundings, [_draft(fact) for fact in facts])
    nominal = _per_row(soundings, [fact.nominal_mps if fact.speed_known else 1.0 for fact in facts])
    true = _per_row(soundings, [fact.true_mps if fact.speed_known else 1.0 for fact in facts])
    scaled = true_depth_m(below, nominal, true)
    used = soundings.usable() & np.isfinite(scaled)
    done = soundings.with_columns(depth_m=draft + scaled)
    for name, change in (("draft", draft + below - soundings.logged_depth_m), ("sound speed", scaled - below)):
        if np.any(change[used] != 0.0):
            done = done.with_correction(name, 0.0, float(np.mean(change[used])))
    zero_known = [_offset_known(log, fact) for log, fact in zip(soundings.logs, facts, strict=True)]
    offset_known = _mostly(soundings, used, zero_known)
    speed_known = _mostly(soundings, used, [fact.speed_known for fact in facts])
    offset_m, scale = common_error(offset_known, speed_known)
    done = replace(done, common_offset_m=offset_m, common_scale=scale)
    return done.with_messages(*_said(offset_known, speed_known)) if used.any() else done


def _per_row(soundings: Soundings, values: Sequence[float | None]) -> Floats:
    """One number a log as one a row, shape (n,)."""
    table = np.array([np.nan if value is None else value for value in values] or [0.0])
    return np.asarray(table[soundings.log], dtype=np.float64)


def _draft(fact: DepthFacts) -> float:
    """Draft to add to what lies below the transducer; unknown counts as 0."""
    return fact.draft_m if fact.draft_m is not None else 0.0


def _within_logged(logs: Sequence[LogFacts], facts: Sequence[DepthFacts]) -> list[float]:
    """What of a logged depth lies above the transducer: the sounder's own draft; less than 0 where keel hangs below."""
    found = []
    for log, fact in zip(logs, facts, strict=True):
        if log.depth_reference == "surface":
            found.append(log.draft_m if log.draft_m is not None else _draft(fact))
        elif log.depth_reference == "keel" and log.datum_offset_m is not None:
            found.append(min(log.datum_offset_m, 0.0))
        else:
            found.append(0.0)
    return found


def _mostly(soundings: Soundings, used: NDArray[np.bool_], known: list[bool]) -> bool:
    """Whether most used rows come from logs that know; the others are tied to them by the passes' bias."""
    return bool(np.mean(np.array(known or [False])[soundings.log[used]]) >= 0.5) if used.any() else False


def _offset_known(log: LogFacts, fact: DepthFacts) -> bool:
    """Whether depths of this log stand on a known zero."""
    if log.depth_reference == "surface":
        return fact.reference_known
    return fact.draft_m is not None and (log.depth_reference != "keel" or log.datum_offset_m is not None)


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
