"""Which spots to visit in the time there is, and in which order: the orienteering problem, way home included."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lakemap.trips.exact import exact_tour
from lakemap.trips.task import HOME, Task

Floats = NDArray[np.float64]

PATIENCE = 150
"""Shakes without a better tour before the search ends (own choice: more found nothing on 40 to 60 spots)."""

MOST_SEEDS = 40
"""Spots that a tour is grown from (own choice: twenty cases of 40 to 60 spots lose 0.1 % by it)."""


def best_tour(task: Task) -> list[int]:
    """Spots (numbers) in the order of the best tour: of few spots the exact answer, of more the best that the search
    finds; empty where none can be reached in time."""
    exact = exact_tour(task)
    return searched_tour(task) if exact is None else exact


def searched_tour(task: Task) -> list[int]:
    """Spots in the order of the best tour that a search finds, however many there are.

    Iterated local search after Vansteenwegen et al. 2009 (Computers & Operations Research 36:3281): cheapest insertion
    by worth squared against time, exchange, reversal, and the removal of a stretch that wanders round the tour. Where
    time is short all hangs on which part of the lake a tour is in, so it starts from the best of the tours that grow
    from one spot each. No chance is involved: the same task gives the same tour.
    """
    best = _improved(task, [])
    for spot in _seeds(task):
        grown = _improved(task, [spot])
        best = grown if _better(task, grown, best) else best
    current = best
    stretch, start, since = 1, 0, 0
    while since < PATIENCE and best:
        if stretch > max(1, len(current) // 2):
            stretch = 1
        current = _improved(task, _without(current, start, stretch))
        start, stretch = start + stretch, stretch + 1
        if _better(task, current, best):
            best, since = current, 0
        else:
            since += 1
        if since % 40 == 39:
            current = best
        if current:
            start %= len(current)
    return best


def _seeds(task: Task) -> list[int]:
    """Spots to grow a tour from, by worth squared against the time that each takes alone."""
    able = np.array([i for i in range(len(task.worth)) if task.worth[i] > 0 and task.fits([i])], dtype=np.int64)
    alone = np.array([task.duration_s([i]) for i in able.tolist()])
    return [int(i) for i in able[np.lexsort((able, -task.worth[able] ** 2 / np.maximum(alone, 1e-6)))][:MOST_SEEDS]]


def _better(task: Task, one: list[int], other: list[int]) -> bool:
    a, b = float(task.worth[one].sum()), float(task.worth[other].sum())
    return a > b + 1e-12 or (abs(a - b) <= 1e-12 and task.duration_s(one) < task.duration_s(other) - 1e-9)


def _without(order: list[int], start: int, stretch: int) -> list[int]:
    """The tour less ``stretch`` stops from ``start`` on, round its end."""
    gone = {(start + step) % max(len(order), 1) for step in range(stretch)}
    return [spot for at, spot in enumerate(order) if at not in gone]


def _improved(task: Task, order: list[int]) -> list[int]:
    """Insert, reverse and exchange until nothing helps."""
    while True:
        order = _filled(task, _reversed_stretches(task, order))
        exchanged = _exchanged(task, order)
        if exchanged is None:
            return order
        order = exchanged


def _filled(task: Task, order: list[int]) -> list[int]:
    """Insert spots, the best worth squared for the time first, until no more fits."""
    while True:
        left = np.setdiff1d(np.arange(len(task.worth)), order)
        if len(left) == 0:
            return order
        cost, place = _cheapest(task, order, left)
        fits = (task.duration_s(order) + cost <= task.time_s) & (task.worth[left] > 0)
        for pick in np.lexsort((left, -task.worth[left] ** 2 / np.maximum(cost, 1e-6))):
            if fits[pick]:
                longer = [*order[: place[pick]], int(left[pick]), *order[place[pick]:]]
                if task.length_m(longer) <= task.reach_m:
                    order = longer
                    break
        else:
            return order


def _cheapest(task: Task, order: list[int], left: NDArray[np.int64]) -> tuple[Floats, NDArray[np.int64]]:
    """Extra time of each spot in ``left`` at its best place in the tour, and that place."""
    way = np.array([HOME, *(i + 1 for i in order), HOME])
    before, after = way[:-1, None], way[1:, None]
    extra = task.leg_s[before, left + 1] + task.leg_s[left + 1, after] - task.leg_s[before, after]
    place = extra.argmin(axis=0)
    return extra[place, np.arange(len(left))] + task.stay_s[left], place


def _reversed_stretches(task: Task, order: list[int]) -> list[int]:
    """Two legs exchanged for shorter ones (Croes 1958) as long as that helps; legs cost the same both ways."""
    while len(order) > 1:
        way = np.array([HOME, *(i + 1 for i in order), HOME])
        legs = task.leg_s[way[:-1], way[1:]]
        saved = legs[:, None] + legs - task.leg_s[np.ix_(way[:-1], way[:-1])] - task.leg_s[np.ix_(way[1:], way[1:])]
        i, j = np.unravel_index(int(np.triu(saved, 1).argmax()), saved.shape)
        if saved[i, j] <= 1e-9 or j <= i:
            break
        order = [*order[:i], *order[i:j][::-1], *order[j:]]
    return order


def _exchanged(task: Task, order: list[int]) -> list[int] | None:
    """One stop given up for a worthier one that fits; None where no exchange helps."""
    left = np.setdiff1d(np.arange(len(task.worth)), order)
    best, gain = None, 1e-12
    for at in range(len(order)):
        shorter = [*order[:at], *order[at + 1 :]]
        cost, place = _cheapest(task, shorter, left)
        free = task.time_s - task.duration_s(shorter)
        won = np.where(cost <= free, task.worth[left] - task.worth[order[at]], -np.inf)
        pick = int(won.argmax()) if len(won) else -1
        if pick >= 0 and won[pick] > gain:
            swapped = [*shorter[: place[pick]], int(left[pick]), *shorter[place[pick]:]]
            if task.fits(swapped):
                best, gain = swapped, float(won[pick])
    return best
