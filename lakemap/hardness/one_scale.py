"""Puts readings off the screen on the scale of the echo levels, where both kinds lie near each other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from lakemap.hardness.groups import medians, squares
from lakemap.hardness.reading import Floats, Reading
from lakemap.hardness.settings import HardnessSettings

MAD_TO_SIGMA = 1.4826
"""Median absolute deviation to standard deviation, normal errors."""
MEDIAN_LOSS = 1.2533
"""How much wider the error of a median is than that of a mean, sqrt(pi/2), normal errors."""


@dataclass(frozen=True)
class Offset:
    """To be added to screen readings; its standard error; how many places it comes from (0: not known)."""

    offset: float
    sigma: float
    places: int


def find_offset(levels: Reading, screen: Reading, xy: Floats, settings: HardnessSettings) -> Offset:
    """Median over places of (level - screen) between neighbours; xy (n, 2) [m].

    Readings along a pass are alike, so all pairs within a square of join_m count as one place. Bounds are left out.
    """
    placed = np.isfinite(xy).all(axis=1)
    level = np.flatnonzero(levels.observed & ~levels.censored & placed)
    seen = np.flatnonzero(screen.observed & placed)
    if len(level) == 0 or len(seen) == 0:
        return Offset(0.0, settings.unscaled_sigma, 0)
    away, nearest = cKDTree(xy[level]).query(xy[seen], distance_upper_bound=settings.join_m)
    near = np.isfinite(away)
    difference = levels.value[level[nearest[near]]] - screen.value[seen[near]]
    medians = _median_of_places(difference, xy[seen[near]], settings.join_m)
    if len(medians) < settings.join_places:
        return Offset(0.0, settings.unscaled_sigma, 0)
    middle = float(np.median(medians))
    spread = MAD_TO_SIGMA * float(np.median(np.abs(medians - middle)))
    # steps of the screen's scale can hide all spread, so no offset is known better than one step allows
    spread = max(spread, settings.screen_sigma)
    return Offset(middle, MEDIAN_LOSS * spread / float(np.sqrt(len(medians))), len(medians))


def _median_of_places(difference: Floats, xy: Floats, side_m: float) -> Floats:
    _, place = np.unique(squares(xy, side_m), return_inverse=True)
    return medians(difference, place, int(place.max()) + 1 if len(place) else 0)
