"""Filters over spots that combine, and which of them emptied the list."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import STRtree, points
from shapely.geometry.base import BaseGeometry

from lakemap.errors import UsageError
from lakemap.model.spots import Spots
from lakemap.physics.reflection import HARD_AT_LOSS_DB, SOFT_AT_LOSS_DB, hardness_index
from lakemap.units import length_slot

Mask = NDArray[np.bool_]

BOTTOM_WORDS = ("soft", "medium", "hard")

SORTS = ("score", "probability", "depth", "last-seen", "name")
"""Orders a list may have; ``depth`` runs from shallow to deep, times and figures from the greatest down."""


@dataclass(frozen=True)
class Filter:
    """``said``: the filter in words (lengths as slots), ``passes``: which spots (k,) it lets through."""

    said: str
    passes: Callable[[Spots], Mask]


@dataclass(frozen=True)
class Found:
    """What is left; for each filter its words, how many it passes alone and how many were left after it."""

    spots: Spots
    steps: tuple[tuple[str, int, int], ...]

    @property
    def emptied_by(self) -> str | None:
        """Words of the first filter after which nothing was left; None where something is."""
        return next((said for said, _, left in self.steps if not left), None)


def search(spots: Spots, filters: Sequence[Filter]) -> Found:
    """Spots that pass every filter, in their order."""
    kept, steps = np.ones(len(spots), dtype=bool), []
    for one in filters:
        passes = one.passes(spots)
        kept &= passes
        steps.append((one.said, int(passes.sum()), int(kept.sum())))
    return Found(spots.take(kept), tuple(steps))


def depth_between(least_m: float, most_m: float) -> Filter:
    """Floor no shallower and no deeper than these [m]. Raises UsageError where they are the wrong way round."""
    if not least_m <= most_m:
        raise UsageError(f"depth from {least_m:g} m to {most_m:g} m: write the lesser one first")
    said = f"depth {length_slot(least_m)} to {length_slot(most_m)}"
    return Filter(said, lambda spots: np.asarray((spots.depth_m >= least_m) & (spots.depth_m <= most_m)))


def bottom_is(*words: str) -> Filter:
    """Bottom ``soft``, ``medium`` or ``hard``, any of the words, by the limits of the hardness index; spots without
    hardness fall away."""
    for word in words:
        if word not in BOTTOM_WORDS:
            raise UsageError(f"bottom {word!r}: write {', '.join(BOTTOM_WORDS)}")
    ends = np.array([float(hardness_index(SOFT_AT_LOSS_DB)), float(hardness_index(HARD_AT_LOSS_DB))])

    def passes(spots: Spots) -> Mask:
        place = np.searchsorted(ends, np.nan_to_num(spots.hardness), side="right")
        return np.asarray(np.isfinite(spots.hardness) & np.isin(place, [BOTTOM_WORDS.index(word) for word in words]))

    return Filter(f"{' or '.join(words)} bottom", passes)


def near(kind: str, shapes: Sequence[BaseGeometry], within_m: float) -> Filter:
    """No farther than ``within_m`` from any of ``shapes`` (on the spots' CRS), all of one kind of feature."""
    tree = STRtree(list(shapes))

    def passes(spots: Spots) -> Mask:
        out = np.zeros(len(spots), dtype=bool)
        if len(shapes) and len(spots):
            out[tree.query(points(spots.x_m, spots.y_m), predicate="dwithin", distance=within_m)[0]] = True
        return out

    return Filter(f"within {length_slot(within_m)} of {kind}", passes)


def of_kind(kinds: Sequence[str]) -> Filter:
    """Of one of these kinds."""
    return Filter(f"kind {' or '.join(kinds)}", lambda spots: np.isin(np.array(spots.kind, dtype=np.str_), list(kinds)))


def above(depth_m: float, said: str) -> Filter:
    """Floor shallower than ``depth_m``; ``said`` names that depth."""
    return Filter(f"above {said}", lambda spots: np.asarray(spots.depth_m <= depth_m))


def at_least(field: str, least: float) -> Filter:
    """``probability``, ``score``, ``seen`` or another column of numbers no less than this."""
    return Filter(f"{field.replace('_', ' ')} at least {least:g}",
                  lambda spots: np.asarray(np.nan_to_num(_column(spots, field), nan=-np.inf) >= least))


def seen_since(day: np.datetime64) -> Filter:
    """Last seen on this day or later, a shape of the floor last crossed; spots without a date fall away."""
    return Filter(f"last seen since {day}",
                  lambda spots: np.asarray(~np.isnat(spots.last_seen) & (spots.last_seen >= day)))


def in_order(spots: Spots, by: str) -> Spots:
    """Spots sorted by one of SORTS, equal ones by name. Raises UsageError for another word."""
    if by not in SORTS:
        raise UsageError(f"sort by {by!r}: write one of {', '.join(SORTS)}")
    names = np.array(spots.name, dtype=np.str_)
    keys: dict[str, Any] = {
        "score": -np.nan_to_num(spots.score), "probability": -spots.probability, "name": np.zeros(len(spots)),
        "depth": np.nan_to_num(spots.depth_m, nan=np.inf),
        "last-seen": -np.where(np.isnat(spots.last_seen), 0, spots.last_seen.astype(np.int64)),
    }
    return spots.take(np.lexsort([names, keys[by]]))


def _column(spots: Spots, field: str) -> NDArray[np.float64]:
    if field in spots.score_parts:
        return spots.score_parts[field]
    return np.asarray(getattr(spots, field), np.float64)
