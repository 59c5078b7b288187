"""The invented sounder: what answers first in its beam, and how loud the first and second echo come back.

It sees the lake by its own rays; the laws of levels, sound speed and pulse come from physics.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lakemap.demo.lake import DemoLake
from lakemap.physics.absorption import absorption_db_per_m
from lakemap.physics.beam import pulse_length_m
from lakemap.physics.reflection import two_echo_levels_db
from lakemap.physics.sound_speed import fresh_water_sound_speed

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NO_COVER = -1
RINGS = 4
"""Rings of rays within the beam; ring k holds 5 k rays."""
EDGE = 0.9
"""Share of the half beam within which a thing smaller than the beam is still heard."""
LEAST_BELOW_M = 0.05


@dataclass(frozen=True)
class Sounder:
    """What the boat carries, and the water it works in."""

    draft_m: float = 0.35
    beam_deg: float = 20.0
    frequency_khz: float = 200.0
    pulse_ms: float = 0.1
    nominal_mps: float = 1500.0
    water_c: float = 18.0
    source_db: float = 160.0
    noise_floor_db: float = 76.0
    """Level below which an echo is not told from noise; source and floor are on the sounder's own scale."""
    level_noise_db: float = 1.5
    depth_noise_m: float = 0.03
    depth_noise_share: float = 0.006

    @property
    def speed_mps(self) -> float:
        """Sound speed in the water [m/s]."""
        return float(fresh_water_sound_speed(self.water_c))


@dataclass(frozen=True)
class Returns:
    """First returns of n pings [m below the transducer]: as heard, from the bare floor alone, and the number of the
    thing that answered before the floor (NO_COVER else)."""

    first_m: Floats
    floor_m: Floats
    cover: Ints


def first_returns(lake: DemoLake, x_m: Floats, y_m: Floats, sounder: Sounder) -> Returns:
    """The nearest thing in the beam below each place (n,): floor or cover, one pulse length told apart."""
    floor = floor_return_m(lake, x_m, y_m, sounder)
    nearest, which = _cover_return_m(lake, x_m, y_m, sounder)
    ahead = floor - nearest > float(pulse_length_m(sounder.pulse_ms, sounder.speed_mps))
    return Returns(np.minimum(nearest, floor), floor, np.where(ahead, which, NO_COVER))


def floor_return_m(lake: DemoLake, x_m: Floats, y_m: Floats, sounder: Sounder) -> Floats:
    """Range to the nearest bare floor within the beam (n,) [m]: rays are followed to the floor in three steps."""
    nadir = np.maximum(lake.depth_m(x_m, y_m) - sounder.draft_m, LEAST_BELOW_M)
    nearest = nadir
    for angle, azimuth in _rays(sounder.beam_deg):
        below = nadir
        for _ in range(3):
            away = np.tan(angle) * below
            depth = lake.depth_m(x_m + away * np.cos(azimuth), y_m + away * np.sin(azimuth))
            below = np.maximum(depth - sounder.draft_m, LEAST_BELOW_M)
        nearest = np.minimum(nearest, below / np.cos(angle))
    return nearest


def _rays(beam_deg: float) -> list[tuple[float, float]]:
    half = np.radians(beam_deg) / 2.0
    return [
        (half * ring / RINGS, 2.0 * np.pi * (k + 0.5 * (ring % 2)) / (5 * ring))
        for ring in range(1, RINGS + 1) for k in range(5 * ring)
    ]


def _cover_return_m(lake: DemoLake, x_m: Floats, y_m: Floats, sounder: Sounder) -> tuple[Floats, Ints]:
    """Range to the nearest cover within the beam (n,), infinite without, and its number."""
    nearest, which = np.full(len(x_m), np.inf), np.full(len(x_m), NO_COVER)
    tree, half = cKDTree(np.column_stack([x_m, y_m])), np.radians(sounder.beam_deg) / 2.0 * EDGE
    cover = lake.cover
    for number in range(len(cover)):
        reach = cover.width_m[number] / 2.0 + np.tan(half) * cover.floor_m[number]
        pings = np.sort(tree.query_ball_point([cover.x_m[number], cover.y_m[number]], reach)).astype(np.int64)
        away = np.hypot(x_m[pings] - cover.x_m[number], y_m[pings] - cover.y_m[number])
        found = _range_to(lake, number, away, sounder.draft_m, half)
        closer = found < nearest[pings]
        nearest[pings[closer]], which[pings[closer]] = found[closer], number
    return nearest, which


def _range_to(lake: DemoLake, number: int, away_m: Floats, draft_m: float, half_rad: float) -> Floats:
    """Range from places ``away_m`` (k,) from a thing's middle to its nearest lit part, infinite where none is lit."""
    cover = lake.cover
    out = np.full(len(away_m), np.inf)
    for share in (0.0, 0.25, 0.5, 0.75, 0.95):
        below = cover.floor_m[number] - cover.height_m[number] * _outline(cover.kind[number], share) - draft_m
        across = np.maximum(away_m - share * cover.width_m[number] / 2.0, 0.0)
        lit = np.arctan2(across, below) <= half_rad
        out = np.where(lit, np.minimum(out, np.hypot(across, below)), out)
    return out


def _outline(kind: str, share: float) -> float:
    """Height at a share of the half width, as a share of the height: brush a mound, boulders round, stumps flat."""
    round_top = 1.0 - share**2
    return round_top if kind == "brush" else float(np.sqrt(round_top)) if kind == "rock" else 1.0


def shown_depth_m(first_m: Floats, bias_m: Floats, sounder: Sounder, rng: np.random.Generator) -> Floats:
    """Depth below the transducer as the sounder shows it (n,) [m]: its own sound speed, the pass's bias, noise."""
    noise = (sounder.depth_noise_m + sounder.depth_noise_share * first_m) * rng.standard_normal(len(first_m))
    return np.maximum(first_m * sounder.nominal_mps / sounder.speed_mps + bias_m + noise, LEAST_BELOW_M)


def echo_levels_db(
    returns: Returns, reflection: Floats, sounder: Sounder, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Levels of the first and second echo (n,) [dB on the sounder's scale]; NaN where lost in noise or over cover."""
    alpha = absorption_db_per_m(sounder.frequency_khz, sounder.water_c)
    echoes = two_echo_levels_db(returns.floor_m, reflection, alpha)
    first, second = (
        sounder.source_db + level + sounder.level_noise_db * rng.standard_normal(len(level)) for level in echoes
    )
    second = np.where((returns.cover == NO_COVER) & (second > sounder.noise_floor_db), second, np.nan)
    return np.where(first > sounder.noise_floor_db, first, np.nan), second
