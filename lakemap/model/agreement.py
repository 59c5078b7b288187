"""How well passes that meet agree, before and after their constant errors are taken off."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Disagreeing:
    """A pass that stands out: its number, log and time (UTC, empty where not known), by how much it is deeper than the
    passes that cross it [m] with its standard error, how often it is crossed, and the median of what is left then."""

    pass_id: int
    log: str
    time: str
    off_m: float
    sigma_m: float
    crossed: int
    left_m: float


@dataclass(frozen=True)
class Agreement:
    """Median absolute and root mean square difference [m] at ``n`` crossovers before and after the passes' constant
    errors are taken off (NaN without crossovers); for each order of S-44 the share of the differences after that keep
    within the square root of 2 times its allowance; the passes that stand out; how many passes nothing crosses."""

    n: int
    median_before_m: float
    rms_before_m: float
    median_after_m: float
    rms_after_m: float
    within_order: tuple[tuple[str, float], ...]
    disagreeing: tuple[Disagreeing, ...]
    passes: int
    uncrossed: int
