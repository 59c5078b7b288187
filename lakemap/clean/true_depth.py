"""What a shown depth is in water whose sound speed is known: one speed by temperature, or a profile cast by cast."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lakemap.clean.settings import CleanSettings
from lakemap.errors import InputError
from lakemap.model.lake_facts import Cast, WaterProfile
from lakemap.model.soundings import Soundings
from lakemap.physics.sound_speed import reached_depth_m, sound_speed_mps

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

FAR_CAST_DAYS = 30.0
"""A cast farther in time than this no longer tells the water's temperature: a lake warms by some 5 degC a month."""


@dataclass(frozen=True)
class Scaled:
    """Depth below the transducer (n,) [m], as shown where ``known`` is false; what there is to say."""

    below_m: Floats
    known: Bools
    messages: tuple[str, ...] = ()


def scaled_depth(
    soundings: Soundings, shown_m: Floats, draft_m: Floats, nominal_mps: Floats, profile: WaterProfile | None,
    settings: CleanSettings,
) -> Scaled:
    """Shown depths below the transducer (n,) as true ones. ``nominal_mps`` is NaN where it is not known.

    With a profile, sound is followed down from the transducer through the cast nearest in time; else one speed by the
    temperature that was set, or the median that the log (or all logs) measured.
    """
    if profile is not None and settings.water_c is None:
        return _through_casts(soundings, shown_m, draft_m, nominal_mps, profile, settings)
    water_c = water_by_row(soundings, settings)
    speed = np.full(len(shown_m), np.nan)
    warm = np.isfinite(water_c)
    speed[warm] = sound_speed_mps(water_c[warm], settings.water)  # type: ignore[arg-type]
    known = np.isfinite(speed) & np.isfinite(nominal_mps)
    return Scaled(np.where(known, shown_m * speed / np.where(known, nominal_mps, 1.0), shown_m), known)


def water_by_row(soundings: Soundings, settings: CleanSettings) -> Floats:
    """Mean water temperature for each row [degC]: set by the owner, else the median of its log, or of all logs."""
    if settings.water_c is not None:
        return np.full(len(soundings), settings.water_c)
    logged = np.isfinite(soundings.water_c)
    every = float(np.median(soundings.water_c[logged])) if logged.any() else np.nan
    table = [every] * max(len(soundings.logs), 1)
    for code in range(len(soundings.logs)):
        rows = logged & (soundings.log == code)
        table[code] = float(np.median(soundings.water_c[rows])) if rows.any() else every
    return np.asarray(np.array(table)[soundings.log], dtype=np.float64)


def _through_casts(
    soundings: Soundings, shown_m: Floats, draft_m: Floats, nominal_mps: Floats, profile: WaterProfile,
    settings: CleanSettings,
) -> Scaled:
    cast_of, said = _nearest_cast(soundings, profile)
    below, known = shown_m.copy(), (cast_of >= 0) & np.isfinite(nominal_mps) & np.isfinite(shown_m)
    for number, cast in enumerate(profile.casts):
        rows = np.flatnonzero(known & (cast_of == number))
        depth_m, speed_mps = _speeds(cast, settings)
        time_s = shown_m[rows] / nominal_mps[rows]
        below[rows] = reached_depth_m(time_s, draft_m[rows], depth_m, speed_mps) - draft_m[rows]
    return Scaled(below, known, (*profile.messages, *said))


def _speeds(cast: Cast, settings: CleanSettings) -> tuple[Floats, Floats]:
    speed = sound_speed_mps(cast.temperature_c, settings.water)  # type: ignore[arg-type]
    if not np.isfinite(speed).all():
        raise InputError("the temperature profile gives no sound speed; check its temperatures")
    return cast.depth_m, speed


def _nearest_cast(soundings: Soundings, profile: WaterProfile) -> tuple[NDArray[np.int64], list[str]]:
    """For each row the number of its cast, -1 where it cannot be known (n,)."""
    n, casts = len(soundings), profile.casts
    if len(casts) == 1 and not np.isfinite(casts[0].time_s):
        return np.zeros(n, np.int64), []
    dated = np.array([log.has_date and log.has_time for log in soundings.logs] or [True])[soundings.log]
    when = np.array([cast.time_s for cast in casts])
    if not np.isfinite(when).all():
        raise InputError(f"{profile.source}: several casts, not all with a date; write one beside each row")
    middle = (when[1:] + when[:-1]) / 2
    nearest = np.searchsorted(middle, soundings.time_s)
    away_days = np.abs(soundings.time_s - when[nearest]) / 86_400.0
    near = dated & np.isfinite(away_days) & (away_days <= FAR_CAST_DAYS)
    if len(casts) == 1:
        near |= ~dated
    said = []
    if (~near & soundings.usable()).any():
        rows = int((~near & soundings.usable()).sum())
        said.append(f"{profile.source}: {rows} readings lie more than {FAR_CAST_DAYS:g} days from any cast, or have no "
                    "date; their sound speed is not corrected")
    return np.where(near, nearest, -1), said
