"""Looked, nothing there: marks that speak against what lies within the reach of the look."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from scipy.special import chndtr

from lakemap.model.hits import Hits
from lakemap.model.marks import NOTHING

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MISSED = 0.2
"""Chance to find nothing although something is there, when the owner looked for it (own choice): a rod and a screen do
not see all, but more than one pass does."""

HALF = 0.5
"""A look that more likely than not had the place within its reach is told of."""


@dataclass(frozen=True)
class Looked:
    """For each place (k,): what looks that found nothing add to the log odds (0 or less), and how many there were."""

    log_odds: Floats
    count: Ints


def looked_at(xy: Floats, sigma_m: Floats, hits: Hits, false_alarm: float) -> Looked:
    """Looks of kind ``nothing`` among ``hits`` at places (k, 2) [m] with their position error (k,).

    A look covers a disc of its ``reach_m``; the place lies in it with chance w, both placed with normal errors (the
    noncentral chi square with two degrees of freedom). Bayes as for a pass: log((1 - d w) / (1 - false_alarm w)) with
    d = 1 - MISSED.
    """
    looks = hits.take((hits.kind == NOTHING) & np.isfinite(hits.x_m) & np.isfinite(hits.y_m))
    odds, count = np.zeros(len(xy)), np.zeros(len(xy), np.int64)
    if not len(looks) or not len(xy):
        return Looked(odds, count)
    reach = float(looks.reach_m.max() + 4.0 * np.hypot(looks.position_sigma_m.max(), sigma_m.max()))
    near = cKDTree(np.column_stack([looks.x_m, looks.y_m])).query_ball_point(xy, reach, return_sorted=True)
    place = np.repeat(np.arange(len(xy)), [len(rows) for rows in near])
    look = np.array([row for rows in near for row in rows], dtype=np.int64)
    var = np.maximum(sigma_m[place] ** 2 + looks.position_sigma_m[look] ** 2, 0.01)
    away2 = (xy[place, 0] - looks.x_m[look]) ** 2 + (xy[place, 1] - looks.y_m[look]) ** 2
    covered = chndtr(looks.reach_m[look] ** 2 / var, 2.0, away2 / var)
    weight = np.log1p(-(1.0 - MISSED) * covered) - np.log1p(-false_alarm * covered)
    return Looked(np.asarray(np.bincount(place, weight, minlength=len(xy)), np.float64),
                  np.bincount(place[covered >= HALF], minlength=len(xy)).astype(np.int64))
