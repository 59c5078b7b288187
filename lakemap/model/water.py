"""What a profile of temperature and oxygen says of the water: layers, and the band that suits what is sought."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from lakemap.model.frame import Grid
from lakemap.model.surface import Surface

NO_DAY = np.datetime64("NaT", "D")


@dataclass(frozen=True)
class Water:
    """``day`` of the profile and ``until``, the last day it counts (NaT without a date). Depths [m] are that day's.

    ``thermocline_m``, ``top_m``, ``bottom_m`` of the metalimnion are None in mixed water. ``bands``: depths that suit
    (top, bottom), empty where none does, None where nothing was asked for. ``share``: part of the mapped bottom that
    lies in them, ``bottom``: 1 on its pixels, ``outline``: its polygons. ``newest``: day of the newest log (NaT: not
    known); once it lies beyond ``until`` the profile speaks of its own day alone, and nothing is told of the bottom.
    """

    day: np.datetime64
    until: np.datetime64
    deepest_m: float
    thermocline_m: float | None = None
    top_m: float | None = None
    bottom_m: float | None = None
    bands: tuple[tuple[float, float], ...] | None = None
    share: float | None = None
    bottom: Grid | None = None
    outline: Sequence[Any] = ()
    messages: tuple[str, ...] = ()
    newest: np.datetime64 = NO_DAY

    @property
    def counts(self) -> bool:
        """Whether the profile still counted on the day of the newest log; it does where a date is not known."""
        return not self.newest > self.until

    def suits(self, depth_m: float) -> bool | None:
        """Whether water at this depth suits; None where nothing was asked for, the profile does not reach there or no
        longer counts."""
        if self.bands is None or not self.counts or not depth_m <= self.deepest_m:
            return None
        return any(top <= depth_m <= bottom for top, bottom in self.bands)


@dataclass(frozen=True)
class WaterTemperature:
    """Temperature near the water's surface [degC] in one ``period``, a date or a season in words; all of it may be off
    together by ``common_c`` (standard error)."""

    surface: Surface
    period: str
    common_c: float
    messages: tuple[str, ...] = ()
