"""Lines in the order to drive them, and what is left of the error or doubt behind them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Generic, Protocol, Self, TypeVar

import numpy as np
from numpy.typing import NDArray

from lakemap.trips.lines import Line

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]

TURN_S = 20.0
"""Time that a turn onto a line costs (common practice of the trade)."""
ACROSS_WORTH = 0.1
"""How much more a line straight across the slope is worth than one along it, which would learn one depth only."""


class Field(Protocol):
    """What lines are to take away: error of a map (ErrorField), doubt about spots (DoubtField)."""

    @property
    def total(self) -> float:
        """All that is left of it."""

    def gain(self, nodes: Ints) -> float:
        """How much of it a line over these nodes would take."""

    def gains(self, lines: Sequence[Ints]) -> Floats:
        """The same of each of many lines (k,)."""

    def loss(self, nodes: Ints) -> float:
        """How much would come back if a line over these nodes were given up."""

    def after(self, nodes: Ints) -> Self:
        """What is left when these nodes have been driven over."""

    def without(self, nodes: Ints) -> Self:
        """What is left when these nodes have been driven over once less."""


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
class Route(Generic[F]):
    """Lines as they are driven on an ``outing``; ``field`` is what they leave."""

    lines: tuple[Line, ...]
    field: F
    outing: Outing

    @property
    def lasts_s(self) -> float:
        """Time of the lines, the ways between them, and home."""
        return duration_s(self.lines, self.outing)

    @property
    def worth(self) -> float:
        """How much more these lines are worth for running across the slope: a factor, their mean by length."""
        length = sum(line.length_m for line in self.lines)
        return sum(line.length_m * across(line, self.outing) for line in self.lines) / length if self.lines else 1.0

    def with_line(self, line: Line, place: int) -> Route[F]:
        """With a line put in as it is, at a place in the order."""
        lines = (*self.lines[:place], line, *self.lines[place:])
        return Route(lines, self.field.after(line.nodes), self.outing)

    def without(self, at: int) -> Route[F]:
        """With a line given up."""
        return Route((*self.lines[:at], *self.lines[at + 1 :]), self.field.without(self.lines[at].nodes), self.outing)

    def weakest(self) -> list[int]:
        """Lines, the one first whose loss costs the least."""
        losses = [self.field.loss(line.nodes) * across(line, self.outing) for line in self.lines]
        return list(np.argsort(losses, kind="stable"))

    def cheapest(self, options: Sequence[Line]) -> tuple[Floats, Ints, Mask]:
        """Extra time of each option (k,) at its best place and direction; that place; whether it is turned there."""
        ends = np.array([self.outing.home, *(line.end for line in self.lines)])
        starts = np.array([*(line.start for line in self.lines), self.outing.home])
        gap = np.hypot(*(starts - ends).T)
        first, last = (np.array([getattr(line, side) for line in options]) for side in ("start", "end"))
        ahead = _away(first, ends) + _away(last, starts) - gap
        turned = _away(last, ends) + _away(first, starts) - gap
        extra = np.concatenate([ahead, turned], axis=1)
        best = extra.argmin(axis=1)
        length = np.array([line.length_m for line in options])
        cost = (extra[np.arange(len(options)), best] + length) / self.outing.speed_mps + TURN_S
        return cost, best % len(gap), best >= len(gap)


def duration_s(route: Sequence[Line], outing: Outing) -> float:
    """Time of an outing that drives these lines in this order and comes home."""
    at, total = outing.home, 0.0
    for line in route:
        total += float(np.hypot(*(line.start - at))) + line.length_m
        at = line.end
    total += float(np.hypot(*(outing.home - at)))
    return total / outing.speed_mps + TURN_S * len(route)


def across(line: Line, outing: Outing) -> float:
    """How much more a line is worth than one along the slope: a factor from 1 to 1 + ACROSS_WORTH."""
    if outing.slope_axis is None:
        return 1.0
    return 1.0 + ACROSS_WORTH * float(np.cos(line.heading - outing.slope_axis) ** 2)


def _away(places: Floats, others: Floats) -> Floats:
    return np.asarray(np.hypot(*(places[:, None] - others).transpose(2, 0, 1)))
