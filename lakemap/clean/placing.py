"""Where each depth was taken: antenna to transducer, latency, and how sure the place is."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lakemap.clean.latency import GIVEN, Decision, decide, runs_one_way, said, shifted, soundings_latency
from lakemap.clean.latency_fit import Late, fit_latency
from lakemap.clean.lever_arm import correct_lever_arm
from lakemap.clean.position_error import shown_place_sigma_m, usual_place_sigma_m, with_place_sigma
from lakemap.clean.settings import CleanSettings
from lakemap.geo.crossovers import disagreement_m
from lakemap.geo.floor_along import Floor, SailedLine
from lakemap.geo.meetings import Meetings, Sailed, as_sailed, find_meetings
from lakemap.geo.motion import Motion, motion
from lakemap.model.flags import Flag
from lakemap.model.soundings import Soundings

Floats = NDArray[np.float64]

VELOCITY_HALF_S = 2.5
"""Velocity over this long before and after: longer than the jitter of fixes, shorter than a turn."""


def place_rows(soundings: Soundings, line: SailedLine, floor: Floor, settings: CleanSettings) -> Soundings:
    """Move ``x_m, y_m`` to where each depth was taken, and fill ``position_sigma_m``.

    ``line`` with its ``floor`` are the rows in use, ``depth_m`` is filled. Lever arm and latency are applied where the
    boat's file gives them, latency also where passes that meet tell it; what they leave open is said.
    """
    if not len(soundings.logs):
        return soundings
    usual = usual_place_sigma_m(soundings, settings)
    moved = motion(soundings, VELOCITY_HALF_S)
    placed = with_place_sigma(soundings, usual, usual)
    placed = armed = correct_lever_arm(placed, settings)
    if settings.applies("latency"):
        placed = shifted(placed, soundings_latency(placed), moved)
    sailed, met = _met(placed, line, floor, moved)
    late, shown = _late_and_sigma(placed, met, sailed, usual)
    decision = decide(placed, late, runs_one_way(placed, moved), settings)
    found = np.where([word == GIVEN for word in decision.what], 0.0, decision.applied_s)
    placed = _with_shown_sigma(shifted(placed, found, moved), shown / usual, decision, moved)
    if decision.applied_s.any():
        placed = placed.with_correction("latency", disagreement_m(armed), disagreement_m(placed))
    return placed.with_messages(*said(placed, late, decision, moved))


def _met(soundings: Soundings, line: SailedLine, floor: Floor, moved: Motion) -> tuple[Sailed, Meetings]:
    """Where passes meet, by rows in use that are no rise."""
    plain = (soundings.usable() & ~soundings.has(Flag.rise) & np.isfinite(soundings.depth_m))[line.rows]
    kept = Floor(floor.level_m[plain], floor.slope[plain], floor.scatter_m[plain])
    sailed = as_sailed(soundings, line.take(plain), kept, moved)
    return sailed, find_meetings(soundings, sailed)


def _late_and_sigma(soundings: Soundings, met: Meetings, sailed: Sailed, usual: Floats) -> tuple[Late, Floats]:
    """Latency of each log and the error of its fixes: each is found again in the light of the other."""
    late = fit_latency(soundings, met, sailed, usual)
    if len(met) == 0:
        return late, usual
    shown = shown_place_sigma_m(soundings, met, _miss(soundings, met, sailed, late.latency_s), usual)
    return fit_latency(soundings, met, sailed, shown), shown


def _miss(soundings: Soundings, met: Meetings, sailed: Sailed, latency_s: Floats) -> Floats:
    """Difference of the two depths at each meeting (k,) with latencies (logs,) put right."""
    late = np.nan_to_num(latency_s)
    return sailed.depth_at(met.at_a + late[soundings.log[met.row_a]]) - sailed.depth_at(
        met.at_b + late[soundings.log[met.row_b]]
    )


def _with_shown_sigma(soundings: Soundings, factor: Floats, decision: Decision, moved: Motion) -> Soundings:
    """``position_sigma_m`` scaled by each log's ``factor``, and what is not known of the latency on top."""
    behind = decision.sigma_s[soundings.log] * np.nan_to_num(moved.speed_mps) / np.sqrt(2.0)
    place = soundings.position_sigma_m.astype(np.float64) * factor[soundings.log]
    return soundings.with_columns(position_sigma_m=np.hypot(place, behind))
