"""Where to drive next: the lines that take the most error out of the map for the time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Generic

import numpy as np

from lakemap.trips.lines import Line
from lakemap.trips.route import F, Outing, Route, across

ROUNDS = 3
"""How often every line is given up and chosen anew."""
CROSS_LINES, CROSS_COST = 3, 0.03
"""Cross lines tried at most, and the share of the plan's worth that they may cost (own choice)."""
MOST_CROSSINGS_TRIED = 6
PROMISING = 60
"""Candidates looked at closely in each step: gains only fall as lines are added, so old gains bound new ones."""


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
    search = _Search(field, candidates, outing)
    best = search.filled(Route((), field, outing)) if candidates else Route((), field, outing)
    for _ in range(ROUNDS):
        better = search.one_exchanged(best)
        if better is None:
            break
        best = better
    if outing.crossed:
        best = search.crossed(best)
    after = field
    for line in best.lines:
        after = after.after(line.nodes)
    return SurveyPlan(best.lines, field, after, best.lasts_s)


def loose(route: Sequence[Line]) -> list[Line]:
    """Lines that neither cross another one of the route nor meet what was driven before: nothing tells a wrong level
    or draft on them."""
    return [line for line in route if not line.tied and not any(line.crosses(other) for other in route)]


@dataclass(frozen=True)
class _Search(Generic[F]):
    """Routes over some of the ``candidates`` that take much of what ``before`` holds."""

    before: F
    candidates: list[Line]
    outing: Outing

    def value(self, route: Route[F]) -> float:
        """What a route takes away, more where it runs across the slope."""
        return (self.before.total - route.field.total) * route.worth

    def filled(self, route: Route[F], barred: Line | None = None) -> Route[F]:
        """With the line that takes the most for its extra time, and so on until none fits."""
        options = self.candidates
        slope = np.array([across(line, self.outing) for line in options])
        bound = route.field.gains([line.nodes for line in options]) * slope
        used = np.array([line is barred for line in options], dtype=bool)
        while True:
            extra, place, turned = route.cheapest(options)
            fits = (extra <= self.outing.time_s - route.lasts_s) & ~used
            rate = np.where(fits, bound / np.maximum(extra, 1.0), -np.inf)
            pick, best = -1, 0.0
            for looked, i in enumerate(np.argsort(-rate, kind="stable").tolist()):
                if rate[i] <= best or looked >= PROMISING:
                    break
                bound[i] = route.field.gain(options[i].nodes) * slope[i]
                if bound[i] / max(extra[i], 1.0) > best:
                    pick, best = i, bound[i] / max(extra[i], 1.0)
            if pick < 0:
                return route
            line = options[pick].turned() if turned[pick] else options[pick]
            route, used[pick] = route.with_line(line, int(place[pick])), True

    def one_exchanged(self, route: Route[F]) -> Route[F] | None:
        """With one line given up for better ones, the weakest tried first; None where no such exchange pays."""
        least = self.value(route) * (1 + 1e-9)
        for at in route.weakest():
            tried = self.filled(route.without(at), barred=route.lines[at])
            if self.value(tried) > least:
                return tried
        return None

    def crossed(self, route: Route[F]) -> Route[F]:
        """With lines across those that are loose, as long as that costs next to nothing of its worth."""
        least = (1.0 - CROSS_COST) * self.value(route)
        for _ in range(CROSS_LINES):
            lost = loose(route.lines)
            if not lost:
                break
            options = [line for line in self.candidates if any(line.crosses(other) for other in lost)]
            options.sort(key=lambda line: (-sum(line.crosses(other) for other in lost) / line.length_m, *line.start))
            tried = [self.with_cross_line(route, line) for line in options[:MOST_CROSSINGS_TRIED]]
            good = [one for one in tried if len(loose(one.lines)) < len(lost) and self.value(one) >= least]
            if not good:
                break
            route = min(good, key=lambda one: (len(loose(one.lines)), -self.value(one)))
        return route

    def with_cross_line(self, route: Route[F], line: Line) -> Route[F]:
        """A line put in; where time runs out the lines that the rest can best do without make room."""
        while True:
            _, place, turned = route.cheapest([line])
            put_in = route.with_line(line.turned() if turned[0] else line, int(place[0]))
            if put_in.lasts_s <= self.outing.time_s:
                return self.filled(put_in)
            if not route.lines:
                return route
            route = route.without(route.weakest()[0])
