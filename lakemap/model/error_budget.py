"""The error budget: what makes up the error of a depth, log by log, and what all depths of the map share."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

PARTS: Mapping[str, str] = {
    "resolution": "how finely depths were written",
    "waves": "waves, roll and small relief: the scatter along the track",
    "position": "error of the fix, its dilution of precision and latency, times the slope of the floor",
    "draft": "load, trim and squat",
    "level": "lake level at the reading's time",
    "beam": "the beam's width on a slope",
    "own": "error that came with the reading",
}
"""Parts of what varies within the map, each with a sentence."""
SHARED = ("position", "draft", "level", "beam")
"""Parts that readings a few seconds apart share whole, so that they do not average away within a block."""
WAVES_SHARED = 0.25
"""Share of the waves' variance that such neighbours share: a roll lasts for some pings. An assumption of our own."""


@dataclass(frozen=True)
class LogBudget:
    """One log: usual size of each part [m] (median of its readings in use), of all together, and of what neighbours
    share."""

    log: str
    parts: Mapping[str, float]
    total_m: float
    shared_m: float


@dataclass(frozen=True)
class CommonPart:
    """One error that the whole map shares: standard error [m], share of depth, and where it comes from."""

    name: str
    offset_m: float
    scale: float
    origin: str


@dataclass(frozen=True)
class ErrorBudget:
    """What varies, by log; and apart what all share, which adds up to Soundings' common error."""

    logs: tuple[LogBudget, ...] = ()
    common: tuple[CommonPart, ...] = ()
