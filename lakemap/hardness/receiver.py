"""What each log's receiver does to levels: its gain law, whether they are dB at all, where they saturate."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lakemap.hardness.reading import Floats, Mask
from lakemap.hardness.second_echo import SecondEcho
from lakemap.hardness.settings import HardnessSettings
from lakemap.model.log_facts import GainLaw, LogFacts
from lakemap.model.soundings import Soundings

TOLD_BY_ORDER: tuple[GainLaw, ...] = ("none", "20logR", "40logR")
FEWEST_TO_FIND_LAW = 100
"""Rows with both levels that a log needs before its gain law is read off them."""
LAW_SURE, LAW_NEAR = 4.0, 0.3
"""A law is found when its slope lies this near and every other at least so many standard errors away."""
DEPTH_BINS = 8
MAD_TO_SIGMA = 1.4826
SHARE_PILED, FEWEST_PILED = 0.01, 8
"""At least so many rows, and such a share, at the very highest level of a log: it could go no higher."""
TOO_EVEN = 3.0
"""Piled up means this many times more rows at the highest level than the busiest tenth of a dB below it holds."""
FEWEST_BELOW = 20
"""Different levels below the highest before a pile there means anything: a floor all alike piles up anywhere."""
COUNTS_END = 65535.0


@dataclass(frozen=True)
class Receiver:
    """One log's: ``law`` as used, ``origin`` told, found, set or assumed; ``clip_db`` inf where nothing saturates;
    ``counts`` where its levels are no dB."""

    law: GainLaw
    origin: str
    clip_db: float
    counts: bool


def receivers(soundings: Soundings, geometry: SecondEcho, settings: HardnessSettings) -> tuple[Receiver, ...]:
    """The receiver of each log."""
    first, second = soundings.first_echo_db.astype(np.float64), soundings.second_echo_db.astype(np.float64)
    out = []
    for code, facts in enumerate(soundings.logs):
        rows = np.flatnonzero((soundings.log == code) & (np.isfinite(first) | np.isfinite(second)))
        levels = np.concatenate([first[rows], second[rows]])
        clip = settings.saturation_db if settings.saturation_db is not None else _piled_up(levels)
        steep = ~geometry.second_in_beam[rows]
        usable = rows[~steep & (first[rows] < clip) & (second[rows] < clip)]
        told = _slope_of_law(first[usable], second[usable], geometry.below_m[usable])
        law, origin = _law(facts, settings, told)
        seem = _look_like_counts(levels) if settings.levels == "auto" else settings.levels == "counts"
        counts = law == "auto" or seem
        out.append(Receiver("none" if law == "auto" else law, origin, clip, counts))
    return tuple(out)


def _law(facts: LogFacts, settings: HardnessSettings, told: tuple[float, float]) -> tuple[GainLaw, str]:
    if facts.gain_law is not None:
        return facts.gain_law, "told"
    if settings.gain_law is not None:
        return settings.gain_law, "set"
    slope, error = told
    order = round(float(np.clip(np.nan_to_num(slope), 0, 2)))
    sure = abs(slope - order) <= LAW_NEAR and LAW_SURE * error <= 1.0 - abs(slope - order)
    return (TOLD_BY_ORDER[order], "found") if sure else ("none", "assumed")


def _slope_of_law(first: Floats, second: Floats, below_m: Floats) -> tuple[float, float]:
    """How many times 20 log10 r a receiver adds, told by its own levels, and the error of that; NaN where nothing.

    Twice the first level less the second is free of the bottom and of absorption: it is the source level less
    20 log10 d and, for a receiver that adds k times 20 log10 r, k times 20 log10 d more (image sources, as in
    two_echo_levels_db). Its slope over depth is k.
    """
    good = np.isfinite(first) & np.isfinite(second) & np.isfinite(below_m)
    if good.sum() < FEWEST_TO_FIND_LAW:
        return float("nan"), float("inf")
    at = 20.0 * np.log10(below_m[good])
    own = 2.0 * first[good] - second[good] + at
    edges = np.quantile(at, np.linspace(0, 1, DEPTH_BINS + 1))
    bins = np.clip(np.searchsorted(edges, at, "right") - 1, 0, DEPTH_BINS - 1)
    middles = np.array([[np.median(at[bins == k]), np.median(own[bins == k])] for k in np.unique(bins)])
    spread = float(np.ptp(middles[:, 0]))
    if len(middles) < 3 or spread <= 0:
        return float("nan"), float("inf")
    (slope, level), residual = np.polyfit(middles[:, 0], middles[:, 1], 1), 0.0
    residual = float(np.std(middles[:, 1] - slope * middles[:, 0] - level, ddof=2)) if len(middles) > 2 else 0.0
    noise = MAD_TO_SIGMA * float(np.median(np.abs(own - slope * at - level))) / np.sqrt(len(at) / len(middles))
    error = max(residual, noise) / (np.std(middles[:, 0]) * np.sqrt(len(middles)))
    return float(slope), float(error)


def _piled_up(levels: Floats) -> float:
    """The level [dB] at which a log saturates, inf where its highest levels thin out as they should."""
    known = levels[np.isfinite(levels)]
    if len(known) == 0:
        return float("inf")
    top = float(known.max())
    at_top = int(np.count_nonzero(known == top))
    if at_top < max(FEWEST_PILED, SHARE_PILED * len(known)):
        return float("inf")
    below, counts = np.unique(np.round(known[known < top], 1), return_counts=True)
    if len(below) < FEWEST_BELOW:
        return float("inf")
    return top if at_top >= TOO_EVEN * counts.max() else float("inf")


def _look_like_counts(levels: Floats) -> bool:
    """Whole numbers from 0 up, in many rows: steps of a display rather than decibels."""
    known = levels[np.isfinite(levels)]
    if len(known) < FEWEST_TO_FIND_LAW // 2 or known.min() < 0 or known.max() > COUNTS_END:
        return False
    return bool(np.all(known == np.round(known)))


def clipped(levels: Floats, clip_db: Floats) -> Mask:
    """Which levels (n,) are as high as their log's receiver goes."""
    return np.asarray(levels >= clip_db - 1e-6)
