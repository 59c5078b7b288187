"""One choice of spots to be made: what they are worth, how long the ways take, and what a tour may take at most."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

HOME = 0
"""Number of the start in the matrix of legs; spot i is i + 1."""


@dataclass(frozen=True)
class Task:
    """``worth`` (k,) and ``stay_s`` (k,) of the spots; ``leg_s`` and ``leg_m`` (k + 1, k + 1) between start (first row)
    and spots, infinite where there is no way; ``time_s`` and ``reach_m`` are what a tour may take at most."""

    worth: Floats
    stay_s: Floats
    leg_s: Floats
    leg_m: Floats
    time_s: float
    reach_m: float = np.inf

    def duration_s(self, order: list[int]) -> float:
        """Time of a tour through these spots and home again."""
        way = [HOME, *(i + 1 for i in order), HOME]
        return float(self.leg_s[way[:-1], way[1:]].sum() + self.stay_s[order].sum()) if order else 0.0

    def length_m(self, order: list[int]) -> float:
        """Distance of the same."""
        way = [HOME, *(i + 1 for i in order), HOME]
        return float(self.leg_m[way[:-1], way[1:]].sum()) if order else 0.0

    def fits(self, order: list[int]) -> bool:
        """Whether it can be done."""
        return self.duration_s(order) <= self.time_s and self.length_m(order) <= self.reach_m
