"""Where to drive next: the lines that take the most error out of the map for the time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Generic, Protocol, Self, TypeVar

import numpy as np
from numpy.typing import NDArray

from lakemap.trips.lines import Line

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

TURN_S = 20.0
"""Time that a turn onto a line costs (common practice of the trade)."""
ACROSS_WORTH = 0.1
"""How much more a line straight across the slope is worth than one along it, which would learn one depth only."""
ROUNDS = 3
"""How often every line is given up and chosen anew."""
CROSS_LINES, CROSS_COST = 3, 0.03
"""Cross lines tried at most, and the share of the plan's worth that they may cost (own choice)."""
MOST_CROSSINGS_TRIED = 6
PROMISING = 60
"""Candidates looked at closely in each step: gains only fall as lines are added, so old gains bound new ones."""


class Field(Protocol):
    """What lines are to take away: error of a map (ErrorField), doubt about spots (DoubtField)."""

    @property
    def total(self) -> float:
        """All that is left of it."""

    def gain(self, nodes: Ints) -> float:
        """How much of it a line over these nodes would take."""

    def after(self, nodes: Ints) -> Self:
        """What is left when these nodes have been driven over."""


F = TypeVar("F", bound=Field)


@dataclass(frozen=True)
class Outing:
    """``home`` (2,): where the boat starts and ends; ``time_s``; ``speed_mps`` on lines and between; ``slope_axis``:
    direction [rad] in which the floor falls on the whole, None where unknown; ``crossed``: no line is to be loose."""

    home: Floats
    time_s: float
    speed_mps: float
    slope_axis: float | None = None
    crossed: bool = True


@dataclass(frozen=True)
class SurveyPlan(Generic[F]):
    """Lines in the order and direction to drive them; the field of error or doubt before and after."""

    lines: tuple[Line, ...]
    before: F
    after: F
    lasts_s: float

    @property
    def gain(self) -> float:
        """Share of the error variance that the lines remove."""
        return 1.0 - self.after.total / self.before.total


def plan_lines(field: F, candidates: list[Line], outing: Outing) -> SurveyPlan[F]:
    """Lines for one outing: greedy by error removed for time, then each given up in turn for a better one.

    The error that a line removes depends on positions alone, not on what will be read (as in Kitanidis 1997, ch. 3), so
    the plan can be made before.
    """
    route = _filled(field, candidates, outing, [])
    best, value = route, _value(field, route, outing)
    for _ in range(ROUNDS):
        improved = False
        for at in range(len(best)):
            tried = _filled(field, candidates, outing, [*best[:at], *best[at + 1 :]], barred=best[at])
            worth = _value(field, tried, outing)
            if worth > value * (1 + 1e-9):
                best, value, improved = tried, worth, True
                break
        if not improved:
            break
    if outing.crossed:
        best = _crossed(field, candidates, outing, best)
    return SurveyPlan(tuple(best), field, _after(field, best), duration_s(best, outing))


def loose(route: Sequence[Line]) -> list[Line]:
    """Lines that neither cross another one of the route nor meet what was driven before: nothing tells a wrong level
    or draft on them."""
    return [line for line in route if not line.tied and not any(line.crosses(other) for other in route)]


def _crossed(field: Field, candidates: list[Line], outing: Outing, route: list[Line]) -> list[Line]:
    """The route with lines across those that are loose, as long as that costs next to nothing of its worth."""
    least = (1.0 - CROSS_COST) * _value(field, route, outing)
    for _ in range(CROSS_LINES):
        lost = loose(route)
        if not lost:
            break
        options = [line for line in candidates if any(line.crosses(other) for other in lost)]
        options.sort(key=lambda line: (-sum(line.crosses(other) for other in lost) / line.length_m, *line.start))
        tried = [_with_cross_line(field, candidates, outing, route, line) for line in options[:MOST_CROSSINGS_TRIED]]
        good = [one for one in tried if len(loose(one)) < len(lost) and _value(field, one, outing) >= least]
        if not good:
            break
        route = min(good, key=lambda one: (len(loose(one)), -_value(field, one, outing)))
    return route


def _with_cross_line(
    field: Field, candidates: list[Line], outing: Outing, route: list[Line], line: Line
) -> list[Line]:
    """A line put in; where time runs out the lines that the rest can best do without make room."""
    def put_in(rest: list[Line]) -> list[Line]:
        _, place, turned = _cheapest(rest, line, outing)
        return [*rest[:place], turned, *rest[place:]]

    rest = list(route)
    while rest and duration_s(put_in(rest), outing) > outing.time_s:
        without = [[*rest[:at], *rest[at + 1 :]] for at in range(len(rest))]
        rest = max(without, key=lambda one: _value(field, one, outing))
    return _filled(field, candidates, outing, put_in(rest))


def duration_s(route: list[Line], outing: Outing) -> float:
    """Time of an outing that drives these lines in this order and comes home."""
    at, total = outing.home, 0.0
    for line in route:
        total += float(np.hypot(*(line.start - at))) + line.length_m
        at = line.end
    total += float(np.hypot(*(outing.home - at)))
    return total / outing.speed_mps + TURN_S * len(route)


def _after(field: F, route: list[Line]) -> F:
    for line in route:
        field = field.after(line.nodes)
    return field


def _value(field: Field, route: list[Line], outing: Outing) -> float:
    total = 0.0
    for line in route:
        total += field.gain(line.nodes) * _across(line, outing)
        field = field.after(line.nodes)
    return total


def _across(line: Line, outing: Outing) -> float:
    if outing.slope_axis is None:
        return 1.0
    return 1.0 + ACROSS_WORTH * float(np.cos(line.heading - outing.slope_axis) ** 2)


def _filled(
    field: Field, candidates: list[Line], outing: Outing, route: list[Line], barred: Line | None = None
) -> list[Line]:
    """Add the line with the most error removed for its extra time until none fits."""
    now = _after(field, route)
    bound = np.array([now.gain(line.nodes) * _across(line, outing) for line in candidates])
    used = np.array([line is barred for line in candidates], dtype=bool)
    while True:
        places = [_cheapest(route, line, outing) for line in candidates]
        extra = np.array([cost for cost, _, _ in places])
        rest = outing.time_s - duration_s(route, outing)
        rate = np.where((extra <= rest) & ~used, bound / np.maximum(extra, 1.0), -np.inf)
        pick, best = -1, 0.0
        for looked, i in enumerate(np.argsort(-rate, kind="stable").tolist()):
            if rate[i] <= best or looked >= PROMISING:
                break
            bound[i] = now.gain(candidates[i].nodes) * _across(candidates[i], outing)
            if bound[i] / max(extra[i], 1.0) > best:
                pick, best = i, bound[i] / max(extra[i], 1.0)
        if pick < 0:
            return route
        _, place, line = places[pick]
        route = [*route[:place], line, *route[place:]]
        now, used[pick] = now.after(line.nodes), True


def _cheapest(route: list[Line], line: Line, outing: Outing) -> tuple[float, int, Line]:
    """Extra time of a line at its best place and direction in the route; that place; the line so turned."""
    ends = np.array([outing.home, *(one.end for one in route)])
    starts = np.array([*(one.start for one in route), outing.home])
    gap = np.hypot(*(starts - ends).T)
    best = (np.inf, 0, line)
    for turned in (line, line.turned()):
        extra = np.hypot(*(ends - turned.start).T) + np.hypot(*(starts - turned.end).T) - gap
        at = int(extra.argmin())
        cost = (float(extra[at]) + line.length_m) / outing.speed_mps + TURN_S
        if cost < best[0]:
            best = (cost, at, turned)
    return best
