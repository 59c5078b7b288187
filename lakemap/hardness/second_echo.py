"""Where the second echo must show, whether the screen could show it, and what weakens it on its way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lakemap.geo.motion import motion
from lakemap.hardness.reading import Floats, Mask
from lakemap.hardness.settings import HardnessSettings
from lakemap.hardness.slope import slope_of_rows
from lakemap.model.flags import Flag
from lakemap.model.log_facts import LogFacts
from lakemap.model.soundings import Soundings
from lakemap.physics.absorption import absorption_db_per_m
from lakemap.physics.beam import pulse_length_m, slope_loss_db
from lakemap.physics.rough_surface import USUAL_WIND_MPS, surface_loss_db
from lakemap.physics.sound_speed import fresh_water_sound_speed

UNKNOWN_DRAFT_SIGMA_M = 0.3
"""What a draft may be where nobody said it; as in the common error of depths."""
SLOPE_SIGMA_DEG, SLOPE_TRUST = 1.0, 0.5
"""How far a slope may be steeper than it is seen, and what share of a slope's loss may be wrong: slopes are seen along
the pass or smoothed by a surface, and floors are no mirrors (own choice)."""
EDGE_DEG = 1.0
"""Walls are often seen so much too gentle (invented lakes of tests/bench that are not reported): with a slope so near
to the beam's edge a first echo is at least what the slope as seen makes of it."""
SPEED_HALF_S = 5.0
"""Half the time over which a boat's speed is taken."""
CALM_MPS = 3.0
"""Wind below which no bubbles are beaten in: no whitecaps (Beaufort 2); common knowledge of sailors."""


@dataclass(frozen=True)
class SecondEcho:
    """Geometry of n rows. ``shown_m``, ``place_m`` and ``tolerance_m`` are in each log's own depth reference, as on the
    screen: depth shown, where the bounced echo must show, and how near to it counts as there. ``below_m`` is the depth
    below the transducer; ``alpha`` the absorption [dB/m]; ``could_show`` where the display range takes it in;
    ``range_known`` where there is a display range. ``surface_db`` is lost at the surface, ``first_lost_db`` and
    ``second_lost_db`` by a slope, each with its standard error; ``first_in_beam, second_in_beam`` where the slope
    leaves them within the beam, ``near_edge`` where the first may be out of it; ``hidden`` over cover or weed,
    ``at_speed`` where bubbles may hide it."""

    shown_m: Floats
    place_m: Floats
    tolerance_m: Floats
    below_m: Floats
    alpha: Floats
    could_show: Mask
    range_known: Mask
    surface_db: Floats
    first_lost_db: Floats
    second_lost_db: Floats
    first_doubt_db: Floats
    second_doubt_db: Floats
    first_in_beam: Mask
    second_in_beam: Mask
    near_edge: Mask
    hidden: Mask
    at_speed: Mask


def second_echo(
    soundings: Soundings, settings: HardnessSettings, surface_slope_deg: Floats | None = None
) -> SecondEcho:
    """Geometry of the second echo, all rows: 2 d + draft below the transducer, 2 d where depth is from the surface.

    ``surface_slope_deg`` (n,): slope of a depth surface under each row, NaN where there is none.
    """
    water_c = np.where(np.isfinite(soundings.water_c), soundings.water_c, settings.water_c).astype(np.float64)
    frequency = soundings.per_log("frequency_khz", settings.frequency_khz)
    beam = soundings.per_log("beam_deg", settings.beam_deg)
    shown = _positive(soundings.logged_depth_m)
    below = _positive(soundings.depth_below_transducer_m())
    place = 2.0 * shown + _reference_depth_m(soundings)
    tolerance = _tolerance_m(soundings, settings, place, water_c)
    screen_end = soundings.display_range_m.astype(np.float64)
    slope = slope_of_rows(soundings, surface_slope_deg)
    lost, steeper = slope_loss_db(slope, beam), slope_loss_db(slope + SLOPE_SIGMA_DEG * (slope > 0), beam)
    doubt = [np.hypot(SLOPE_TRUST * a, b - a) for a, b in zip(lost, steeper, strict=True)]
    return SecondEcho(
        shown_m=shown, place_m=place, tolerance_m=tolerance, below_m=below,
        alpha=absorption_db_per_m(frequency, water_c, settings.salinity),
        could_show=screen_end >= place + tolerance, range_known=np.isfinite(screen_end),
        surface_db=settings.surface_loss_db + surface_loss_db(_wind_mps(settings), beam),
        first_lost_db=lost[0], second_lost_db=lost[1], first_doubt_db=doubt[0], second_doubt_db=doubt[1],
        first_in_beam=slope <= beam / 2.0, second_in_beam=slope <= beam / 4.0,
        near_edge=(slope > beam / 2.0 - EDGE_DEG) & (slope > beam / 4.0),
        hidden=soundings.has(Flag.rise) | soundings.has(Flag.weed_top), at_speed=_at_speed(soundings, settings),
    )


def _wind_mps(settings: HardnessSettings) -> float:
    return USUAL_WIND_MPS if settings.wind_mps is None else settings.wind_mps


def _at_speed(soundings: Soundings, settings: HardnessSettings) -> Mask:
    """Fast rows, unless the wind is known and makes no waves."""
    if settings.wind_mps is not None and settings.wind_mps < CALM_MPS:
        return np.zeros(len(soundings), dtype=bool)
    speed = motion(soundings, SPEED_HALF_S).speed_mps
    return np.asarray(np.nan_to_num(speed) >= settings.fast_mps)


def _positive(depth_m: Floats) -> Floats:
    return np.where(depth_m > 0, depth_m, np.nan)


def _reference_depth_m(soundings: Soundings) -> Floats:
    """How far below the surface each row's depth starts (n,); the bounced echo shows this much beyond twice the depth.

    The draft is the sounder's own at that time, added to depths or not: a screen does not know of corrections.
    """
    start = np.nan_to_num(soundings.told_draft_m()) + _of_logs(soundings, [_to_keel(log) for log in soundings.logs])
    return np.where(_from_surface(soundings), 0.0, start)


def _to_keel(facts: LogFacts) -> float:
    return -min(facts.datum_offset_m or 0.0, 0.0) if facts.depth_reference == "keel" else 0.0


def _from_surface(soundings: Soundings) -> Mask:
    return _of_logs(soundings, [float(facts.depth_reference == "surface") for facts in soundings.logs]) > 0


def _of_logs(soundings: Soundings, values: list[float]) -> Floats:
    return np.array(values or [0.0])[soundings.log]


def _tolerance_m(soundings: Soundings, settings: HardnessSettings, place_m: Floats, water_c: Floats) -> Floats:
    pulse = pulse_length_m(soundings.per_log("pulse_ms", settings.pulse_ms), fresh_water_sound_speed(water_c))
    unsure = ~_from_surface(soundings) & np.isnan(soundings.told_draft_m())
    return np.asarray(np.maximum(pulse, settings.geometric_share * place_m) + UNKNOWN_DRAFT_SIGMA_M * unsure)
