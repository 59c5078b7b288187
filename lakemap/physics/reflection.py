"""What the bottom gives back: reflection of sediments, levels of the first and second echo, and hardness.

A flat bottom, much wider than the beam, acts as a mirror (image sources): the first echo travels 2 d and meets the
bottom once; the second travels 4 d and meets the bottom twice and the surface once. Depths here are below the
transducer. Gas in mud, weed and boulders break this model.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lakemap.errors import InputError
from lakemap.model.log_facts import GainLaw

Floats = NDArray[np.float64]

DOUBLING_DB = 20.0 * np.log10(2.0)
"""Spreading loss of the doubled path, 6.0206 dB."""

HARD_AT_LOSS_DB = 10.5
"""Bottom loss at or below which a bottom is called hard: a reflection of 0.3 or more, between medium and fine sand."""
SOFT_AT_LOSS_DB = 20.0
"""Bottom loss above which a bottom is called soft: a reflection below 0.1, coarse silt and finer."""
LOSS_OF_SOFTEST_DB = 25.0
LOSS_OF_HARDEST_DB = 3.0
"""Hardness 0 and 1: clay has 24.8 dB and rock 2.8 dB in SEDIMENTS."""

BOTTOM_CLASSES: tuple[str, ...] = ("soft", "medium", "hard")
NO_CLASS = -1
"""Class of a hardness that is not there."""

_GAIN_LAWS: dict[GainLaw, tuple[int, int]] = {
    "none": (0, 0), "20logR": (1, 0), "40logR": (2, 0), "20logR+absorption": (1, 1), "40logR+absorption": (2, 1),
}
"""How many times 20 log10 r a receiver adds at range r, and how many times 2 alpha r."""


@dataclass(frozen=True)
class Sediment:
    """Mean grain size [phi], density and sound speed over those of the water just above."""

    mean_phi: float
    density_ratio: float
    speed_ratio: float

    @property
    def reflection(self) -> float:
        """Reflection coefficient at normal incidence, without loss in the sediment."""
        return float(reflection_coefficient(self.density_ratio, self.speed_ratio))

    @property
    def bottom_loss_db(self) -> float:
        """Bottom loss at normal incidence [dB]."""
        return float(bottom_loss_db(self.reflection))


SEDIMENTS: dict[str, Sediment] = {
    "rock": Sediment(-7.0, 2.500, 2.5000),
    "cobble, gravel, pebble": Sediment(-3.0, 2.500, 1.8000),
    "sandy gravel": Sediment(-1.0, 2.492, 1.3370),
    "very coarse sand": Sediment(-0.5, 2.400, 1.3067),
    "muddy sandy gravel": Sediment(0.0, 2.314, 1.2778),
    "coarse sand": Sediment(0.5, 2.231, 1.2503),
    "gravelly muddy sand": Sediment(1.0, 2.151, 1.2241),
    "medium sand": Sediment(1.5, 1.845, 1.1782),
    "muddy gravel": Sediment(2.0, 1.615, 1.1396),
    "fine sand": Sediment(2.5, 1.451, 1.1073),
    "muddy sand": Sediment(3.0, 1.339, 1.0800),
    "very fine sand": Sediment(3.5, 1.268, 1.0568),
    "clayey sand": Sediment(4.0, 1.224, 1.0364),
    "coarse silt": Sediment(4.5, 1.195, 1.0179),
    "sandy silt": Sediment(5.0, 1.169, 0.9999),
    "medium silt": Sediment(5.5, 1.149, 0.9885),
    "silt": Sediment(6.0, 1.149, 0.9873),
    "fine silt": Sediment(6.5, 1.148, 0.9861),
    "sandy clay": Sediment(7.0, 1.147, 0.9849),
    "very fine silt": Sediment(7.5, 1.147, 0.9837),
    "silty clay": Sediment(8.0, 1.146, 0.9824),
    "clay": Sediment(9.0, 1.145, 0.9800),
}
"""Hardest first. Applied Physics Laboratory, University of Washington, High-Frequency Ocean Environmental Acoustic
Models Handbook, TR 9407 (1994), section IV, table 2. Made at sea and for the uppermost sediment at high frequency:
the order carries over to lakes, the level by itself names no bottom (tables differ by over 10 dB for mud)."""


def reflection_coefficient(density_ratio: ArrayLike, speed_ratio: ArrayLike) -> Floats:
    """Pressure reflection at normal incidence, -1..1; ratios sediment over water; arguments broadcast (Rayleigh)."""
    impedance = np.asarray(density_ratio, dtype=np.float64) * np.asarray(speed_ratio, dtype=np.float64)
    return np.asarray((impedance - 1.0) / (impedance + 1.0), dtype=np.float64)


def bottom_loss_db(reflection: ArrayLike) -> Floats:
    """Bottom loss [dB], positive: -20 log10 |R|; infinite where nothing is reflected."""
    size = np.abs(np.asarray(reflection, dtype=np.float64))
    with np.errstate(divide="ignore"):
        return np.asarray(-20.0 * np.log10(size), dtype=np.float64)


def reflection_from_loss(bl_db: ArrayLike) -> Floats:
    """Size of the reflection coefficient from bottom loss [dB]."""
    return np.asarray(10.0 ** (-np.asarray(bl_db, dtype=np.float64) / 20.0), dtype=np.float64)


def gain_db(range_m: ArrayLike, alpha_db_per_m: ArrayLike, gain_law: GainLaw) -> Floats:
    """What a receiver with this gain law adds at a range [m], in dB; arguments broadcast.

    Raises InputError for a law without a formula.
    """
    if gain_law not in _GAIN_LAWS:
        raise InputError(f"gain law {gain_law!r}: must be one of {', '.join(_GAIN_LAWS)}; say none if not known")
    order, absorbed = _GAIN_LAWS[gain_law]
    r = np.asarray(range_m, dtype=np.float64)
    return np.asarray(order * 20.0 * np.log10(r) + absorbed * 2.0 * np.asarray(alpha_db_per_m) * r, dtype=np.float64)


def two_echo_levels_db(
    depth_m: ArrayLike, reflection: ArrayLike, alpha_db_per_m: ArrayLike, surface_loss_db: ArrayLike = 0.0,
    gain_law: GainLaw = "none",
) -> tuple[Floats, Floats]:
    """Levels of the first and second echo less the source level [dB]; depth below the transducer [m]; broadcast.

    A gain law adds at each echo's own range (d and 2 d). A calm surface loses nothing (Lurton 2010; Urick 1983).
    Raises InputError for an unknown gain law.
    """
    d, alpha = np.asarray(depth_m, dtype=np.float64), np.asarray(alpha_db_per_m, dtype=np.float64)
    loss = bottom_loss_db(reflection)
    first = -20.0 * np.log10(2.0 * d) - 2.0 * alpha * d - loss + gain_db(d, alpha, gain_law)
    second = -20.0 * np.log10(4.0 * d) - 4.0 * alpha * d - 2.0 * loss + gain_db(2.0 * d, alpha, gain_law)
    return np.asarray(first, np.float64), np.asarray(second - np.asarray(surface_loss_db, np.float64), np.float64)


def bottom_loss_from_echoes(
    first_db: ArrayLike, second_db: ArrayLike, depth_m: ArrayLike, alpha_db_per_m: ArrayLike,
    gain_law: GainLaw = "none", surface_loss_db: ArrayLike = 0.0,
) -> Floats:
    """Bottom loss [dB] from both levels [dB]; depth below the transducer [m]; arguments broadcast.

    Undoes two_echo_levels_db: source level and fixed gain cancel in the difference. Raises InputError for an unknown
    gain law.
    """
    first, second = np.asarray(first_db, dtype=np.float64), np.asarray(second_db, dtype=np.float64)
    d, alpha = np.asarray(depth_m, dtype=np.float64), np.asarray(alpha_db_per_m, dtype=np.float64)
    gained = gain_db(2.0 * d, alpha, gain_law) - gain_db(d, alpha, gain_law)
    lost = DOUBLING_DB + 2.0 * alpha * d + np.asarray(surface_loss_db)
    return np.asarray(first - second + gained - lost, dtype=np.float64)


def geometric_second_bottom_m(depth_m: ArrayLike, draft_m: ArrayLike) -> Floats:
    """Where the second echo shows below the transducer [m]: 2 d + draft, with d below the transducer.

    The ping turns at the surface, ``draft_m`` above the transducer. In depths that count from the surface it is 2 d.
    """
    return np.asarray(2.0 * np.asarray(depth_m, np.float64) + np.asarray(draft_m, np.float64), dtype=np.float64)


def hardness_index(bl_db: ArrayLike) -> Floats:
    """Hardness 0..1 from bottom loss [dB]: linear from LOSS_OF_SOFTEST_DB to LOSS_OF_HARDEST_DB, clipped."""
    return np.asarray(np.clip(unclipped_hardness(bl_db), 0.0, 1.0), dtype=np.float64)


def unclipped_hardness(bl_db: ArrayLike) -> Floats:
    """As hardness_index, not clipped: readings with an error may lie beyond both ends until they are joined."""
    span = LOSS_OF_SOFTEST_DB - LOSS_OF_HARDEST_DB
    return np.asarray((LOSS_OF_SOFTEST_DB - np.asarray(bl_db, dtype=np.float64)) / span, dtype=np.float64)


def loss_from_hardness(hardness: ArrayLike) -> Floats:
    """Bottom loss [dB] that gives this hardness; the inverse of hardness_index between its ends."""
    span = LOSS_OF_SOFTEST_DB - LOSS_OF_HARDEST_DB
    return np.asarray(LOSS_OF_SOFTEST_DB - span * np.asarray(hardness, dtype=np.float64), dtype=np.float64)


def bottom_class(
    hardness: ArrayLike, hard_at_db: float = HARD_AT_LOSS_DB, soft_at_db: float = SOFT_AT_LOSS_DB
) -> NDArray[np.int8]:
    """Index into BOTTOM_CLASSES, NO_CLASS where hardness is NaN; hard at or below, soft above a bottom loss [dB]."""
    h = np.asarray(hardness, dtype=np.float64)
    hard, soft = h >= hardness_index(hard_at_db), h < hardness_index(soft_at_db)
    return np.where(np.isnan(h), NO_CLASS, np.where(hard, 2, np.where(soft, 0, 1))).astype(np.int8)
