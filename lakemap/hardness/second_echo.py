"""Where the second echo must show, and whether the screen could show it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lakemap.hardness.settings import HardnessSettings
from lakemap.model.log_facts import LogFacts
from lakemap.model.soundings import Soundings
from lakemap.physics.absorption import absorption_db_per_m
from lakemap.physics.beam import pulse_length_m
from lakemap.physics.sound_speed import fresh_water_sound_speed

Floats = NDArray[np.float64]

UNKNOWN_DRAFT_SIGMA_M = 0.3
"""What a draft may be where nobody said it; as in the common error of depths."""


@dataclass(frozen=True)
class SecondEcho:
    """Geometry of n rows. ``shown_m``, ``place_m`` and ``tolerance_m`` are in each log's own depth reference, as on the
    screen: depth shown, where the bounced echo must show, and how near to it counts as there. ``below_m`` is the depth
    below the transducer; ``alpha`` the absorption [dB/m]; ``could_show`` where the display range takes it in;
    ``range_known`` where there is a display range."""

    shown_m: Floats
    place_m: Floats
    tolerance_m: Floats
    below_m: Floats
    alpha: Floats
    could_show: NDArray[np.bool_]
    range_known: NDArray[np.bool_]


def second_echo(soundings: Soundings, settings: HardnessSettings) -> SecondEcho:
    """Geometry of the second echo, all rows: 2 d + draft below the transducer, 2 d where depth is from the surface."""
    water_c = np.where(np.isfinite(soundings.water_c), soundings.water_c, settings.water_c).astype(np.float64)
    frequency = soundings.per_log("frequency_khz", settings.frequency_khz)
    draft = soundings.per_log("draft_m", 0.0)
    shown = _positive(soundings.logged_depth_m)
    place = 2.0 * shown + _of_logs(soundings, [_reference_depth_m(facts) for facts in soundings.logs])
    tolerance = _tolerance_m(soundings, settings, place, water_c)
    screen_end = soundings.display_range_m.astype(np.float64)
    return SecondEcho(
        shown_m=shown, place_m=place, tolerance_m=tolerance, below_m=_positive(soundings.depth_m - draft),
        alpha=absorption_db_per_m(frequency, water_c),
        could_show=screen_end >= place + tolerance, range_known=np.isfinite(screen_end),
    )


def _positive(depth_m: Floats) -> Floats:
    return np.where(depth_m > 0, depth_m, np.nan)


def _reference_depth_m(facts: LogFacts) -> float:
    """How far below the surface a log's depths start; the bounced echo shows this much beyond twice the depth shown."""
    if facts.depth_reference == "surface":
        return 0.0
    to_keel = -min(facts.datum_offset_m or 0.0, 0.0) if facts.depth_reference == "keel" else 0.0
    return (facts.draft_m or 0.0) + to_keel


def _of_logs(soundings: Soundings, values: list[float]) -> Floats:
    return np.array(values or [0.0])[soundings.log]


def _tolerance_m(soundings: Soundings, settings: HardnessSettings, place_m: Floats, water_c: Floats) -> Floats:
    pulse = pulse_length_m(soundings.per_log("pulse_ms", settings.pulse_ms), fresh_water_sound_speed(water_c))
    unsure = [facts.depth_reference != "surface" and facts.draft_m is None for facts in soundings.logs]
    draft_m = _of_logs(soundings, [UNKNOWN_DRAFT_SIGMA_M * doubt for doubt in unsure])
    return np.maximum(pulse, settings.geometric_share * place_m) + draft_m
