"""Settings of the comparison of dates."""

from __future__ import annotations

from dataclasses import dataclass

from lakemap.limits import Settings, above, at_least, between


@dataclass(frozen=True)
class ChangesSettings(Settings):
    """What counts as another date, as weed and as change. Limits are our own choice, tried on an invented lake."""

    cell_m: float = above(0.0, default=10.0, why="side of the squares in which dates are compared")
    gap_days: float = above(0.0, default=30.0, why="trips closer together than this count as one date")
    weed_from_month: int = between(
        1, 12, default=6, why="first month of standing weed on the northern half; the southern half is six months off")
    weed_to_month: int = between(
        1, 12, default=10, why="last month of standing weed on the northern half")
    weed_m: float = above(0.0, default=0.3, why="lower weed cannot be told from the floor's own roughness")
    change_m: float = above(0.0, default=0.25, why="smaller differences between dates are left alone")
    sigmas: float = above(0.0, default=3.8, why="differences within this many standard errors are no change")
    weed_sigmas: float = above(
        0.0, default=2.4, why="the same for weed, which is to be expected in its months and only upward")
    ageing_m: float = at_least(
        0.0, default=0.01, why="what a floor may move in a year (standard deviation): older readings say less of today")
