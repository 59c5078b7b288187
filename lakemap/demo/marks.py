"""What the invented owner marked on the water over the years: some of the cover, and what was there for an hour."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lakemap.demo.lake import DemoLake
from lakemap.demo.sounder import NO_COVER

MARKED = {"stump": 4, "rock": 3, "brush": 4}
"""How many things of each kind carry a mark."""
ERROR_M = 4.0
"""Standard deviation of a mark's place in each direction: pressed by hand, from a drifting boat."""
NOTES = {
    "stump": ("snagged here twice", "big stump, top 3 ft off the bottom", "", "old tree"),
    "rock": ("boulder", "rocks, lost a jig", ""),
    "brush": ("brush pile, planted by somebody", "good in spring", "thick brush", "fish on top of it"),
}
PASSING = (
    ("fish", 905.0, 560.0, "school at 20 ft"), ("fish", 480.0, 300.0, "two big arches"),
    ("bait", 980.0, 480.0, "bait ball, evening"), ("bait", 330.0, 430.0, ""),
    ("catch", 1098.0, 497.0, "4 lb, jig"),
)
"""Kind, metres east and north of the box's corner, note."""


@dataclass(frozen=True)
class Mark:
    """One mark: kind, place on the lake's CRS [m], name, note, time, and the cover it means (NO_COVER: none)."""

    kind: str
    x_m: float
    y_m: float
    name: str
    note: str
    time: str
    cover: int


def make_marks(lake: DemoLake, seed: int) -> list[Mark]:
    """The owner's marks, numbered in the order they were made."""
    rng = np.random.default_rng([seed, 55])
    meant = [(kind, number) for kind, count in MARKED.items() for number in _chosen(lake, kind, count, rng)]
    marks: list[Mark] = []
    for place, (kind, number) in enumerate(meant):
        x, y = np.array([lake.cover.x_m[number], lake.cover.y_m[number]]) + ERROR_M * rng.standard_normal(2)
        note = NOTES[kind][place % len(NOTES[kind])]
        marks.append(Mark(kind, float(x), float(y), f"{place + 1:03d}", note, _time(len(marks)), number))
    for kind, x, y, note in PASSING:
        east, north = lake.corner_m
        name = f"{len(marks) + 1:03d}"
        marks.append(Mark(kind, east + x, north + y, name, note, _time(len(marks)), NO_COVER))
    return marks


def _chosen(lake: DemoLake, kind: str, count: int, rng: np.random.Generator) -> list[int]:
    numbers = [number for number, one in enumerate(lake.cover.kind) if one == kind]
    return sorted(rng.choice(numbers, count, replace=False).tolist())


def _time(number: int) -> str:
    """One mark every nine days from May 2024 on."""
    return f"{np.datetime64('2024-05-04T18:12:00') + np.timedelta64(9 * 24 * 60 + 37, 'm') * number}Z"
