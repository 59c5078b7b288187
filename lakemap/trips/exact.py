"""The best tour of few spots, by trying all sets of them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lakemap.trips.task import HOME, Task

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MOST_EXACT = 14
"""Spots up to which all sets are tried: 16384 sets take some hundredths of a second."""


def exact_tour(task: Task) -> list[int] | None:
    """Spots in the order of the tour that is worth the most, the quickest among equals; None beyond MOST_EXACT spots.

    Dynamic programme over subsets (Held & Karp 1962, J. SIAM 10:196). Where lengths are not in proportion to times, a
    set's quickest order may miss a reach that another of its orders keeps.
    """
    spots = np.array([i for i in range(len(task.worth)) if task.worth[i] > 0 and task.fits([i])], dtype=np.int64)
    if len(spots) > MOST_EXACT:
        return None
    legs_s = task.leg_s[np.ix_([HOME, *(spots + 1)], [HOME, *(spots + 1)])]
    arrives = _arrivals(legs_s, task.stay_s[spots])
    home_s = (arrives + legs_s[1:, HOME]).min(axis=1, initial=np.inf)
    inside = np.arange(len(arrives))[:, None] >> np.arange(len(spots)) & 1
    worth = inside @ task.worth[spots]
    for subset in np.lexsort((home_s, -worth)):
        if home_s[subset] <= task.time_s:
            order = [int(spots[i]) for i in _order(arrives, legs_s, int(subset))]
            if task.fits(order):
                return order
    return []


def _arrivals(legs_s: Floats, stay_s: Floats) -> Floats:
    """Earliest time (2**k, k) at which all spots of a set are done and the boat is at one of them; infinite at others.
    Bit i of a set's number says whether spot i is in it."""
    k = len(stay_s)
    arrives = np.full((1 << k, k), np.inf)
    arrives[1 << np.arange(k), np.arange(k)] = legs_s[HOME, 1:] + stay_s
    numbers = np.arange(1 << k)
    size = (numbers[:, None] >> np.arange(k) & 1).sum(axis=1)
    for count in range(1, k):
        subsets = numbers[size == count]
        for spot in range(k):
            before = subsets[subsets >> spot & 1 == 0]
            arrives[before | 1 << spot, spot] = (arrives[before] + legs_s[1:, spot + 1]).min(axis=1) + stay_s[spot]
    return arrives


def _order(arrives: Floats, legs_s: Floats, subset: int) -> list[int]:
    """The order that brings the boat home from a set first, told from the end."""
    order: list[int] = []
    following = HOME
    while subset:
        last = int((arrives[subset] + legs_s[1:, following]).argmin())
        order.insert(0, last)
        following, subset = last + 1, subset & ~(1 << last)
    return order
