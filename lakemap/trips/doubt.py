"""What is not known of unsure spots, as a field: how much of it is left when more lines are driven over them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from scipy.special import ndtr
from scipy.stats import binom

from lakemap.model.frame import GridFrame
from lakemap.trips.lines import Line

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]

STEERED_M = 2.0
"""How well a boat is steered over a place, and placed there (own choice)."""
OVER_SHARE = 0.5
"""A line within this share of the joint error counts as straight over: its chance is no more than an eighth less."""
LEAD_M = 15.0
"""A line begins so far before its first spot and ends so far behind its last."""
NEIGHBOURS = 6
"""Lines are tried over each spot and so many others near it."""
HEADINGS = 4
"""Headings of lines over one spot alone."""


@dataclass(frozen=True)
class DoubtField:
    """k spots at ``xy`` (k, 2) [m], placed to ``sigma_m``; ``probability`` that something is there; chances that one
    pass straight over shows it where it is (``shows``) and where it is not (``false``); ``looks`` passes so far."""

    xy: Floats
    sigma_m: Floats
    probability: Floats
    shows: Floats
    false: Floats
    looks: Ints

    @property
    def total(self) -> float:
        """Sum over the spots of the variance p (1 - p) that is to be expected after the looks."""
        return float(self._left(self.looks)[0].sum())

    @property
    def judged_wrong(self) -> float:
        """How many spots would be judged wrongly, each called by what is likelier after the looks."""
        return float(self._left(self.looks)[1].sum())

    def gain(self, nodes: Ints) -> float:
        """How much of ``total`` a pass over these spots is expected to take."""
        return float(self.gains([nodes])[0])

    def gains(self, lines: Sequence[Ints]) -> Floats:
        """``gain`` of each of many lines (k,)."""
        fall = self._left(self.looks)[0] - self._left(self.looks + 1)[0]
        return np.array([fall[nodes].sum() for nodes in lines])

    def loss(self, nodes: Ints) -> float:
        """How much of ``total`` would come back if these spots had been driven over once less."""
        return self.without(nodes).gain(nodes)

    def after(self, nodes: Ints) -> DoubtField:
        """The field when these spots have been driven over once more."""
        return self._moved(nodes, 1)

    def without(self, nodes: Ints) -> DoubtField:
        """The field had these spots been driven over once less."""
        return self._moved(nodes, -1)

    def _moved(self, nodes: Ints, looks: int) -> DoubtField:
        moved = self.looks.copy()
        moved[nodes] += looks
        return replace(self, looks=moved)

    def on_line(self, start: Floats, end: Floats) -> Ints:
        """Spots that a straight line passes over."""
        along = end - start
        at = np.clip((self.xy - start) @ along / max(float(along @ along), 1e-9), 0.0, 1.0)
        away = np.hypot(*(self.xy - start - at[:, None] * along).T)
        return np.flatnonzero(away <= OVER_SHARE * np.hypot(self.sigma_m, STEERED_M))

    def _left(self, looks: Ints) -> tuple[Floats, Floats]:
        """Expected p (1 - p) and chance of a wrong word (k,) over all that the looks may show, by Bayes."""
        variance, wrong = np.empty(len(looks)), np.empty(len(looks))
        for count in np.unique(looks):
            at = looks == count
            shown, p = np.arange(count + 1)[:, None], self.probability[at]
            there = p * binom.pmf(shown, count, self.shows[at])
            bare = (1 - p) * binom.pmf(shown, count, self.false[at])
            variance[at] = (there * bare / np.maximum(there + bare, 1e-300)).sum(axis=0)
            wrong[at] = np.minimum(there, bare).sum(axis=0)
        return variance, wrong


def doubt_field(
    xy: Floats, sigma_m: Floats, probability: Floats, radius_m: Floats, detection: float, false_alarm: float
) -> DoubtField:
    """The doubt about spots: ``radius_m`` (k,) of the beam on the floor; shares of passes right over a thing, and over
    none, that show one. A pass covers the place where boat and spot are no farther off than the radius."""
    covers = 2 * ndtr(radius_m / np.hypot(sigma_m, STEERED_M)) - 1
    return DoubtField(xy, sigma_m, probability, detection * covers, false_alarm * covers,
                      np.zeros(len(probability), np.int64))


def lines_over_spots(frame: GridFrame, drivable: Mask, field: DoubtField) -> list[Line]:
    """Straight lines in drivable water (rows, columns) over one spot, or over two near each other and what lies on."""
    count, found = len(field.xy), []
    for heading in np.arange(HEADINGS) * np.pi / HEADINGS:
        along = np.array([np.cos(heading), np.sin(heading)]) * LEAD_M
        found += [(xy - along, xy + along) for xy in field.xy]
    _, near = cKDTree(field.xy).query(field.xy, k=min(NEIGHBOURS + 1, count))
    pairs = {(min(i, int(j)), max(i, int(j))) for i, row in enumerate(np.reshape(near, (count, -1))) for j in row}
    for i, j in sorted(pairs):
        way = field.xy[j] - field.xy[i]
        length = float(np.hypot(*way))
        if length > 1.0:
            found.append((field.xy[i] - way / length * LEAD_M, field.xy[j] + way / length * LEAD_M))
    return [Line(a, b, field.on_line(a, b)) for a, b in found if _open(frame, drivable, a, b)]


def _open(frame: GridFrame, drivable: Mask, start: Floats, end: Floats) -> bool:
    steps = max(2, int(3 * np.hypot(*(end - start)) / frame.pixel_m))
    places = start + np.linspace(0.0, 1.0, steps)[:, None] * (end - start)
    row, column, inside = frame.pixel_of(places[:, 0], places[:, 1])
    return bool(inside.all() and drivable[row, column].all())
