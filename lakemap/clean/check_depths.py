"""Depths by weighted line or pole settle what no crossover can show: a constant and a scale that all depths share.

The model: check = sounding + offset + scale * depth below the transducer. Offset stands for draft, a draft counted
twice, the gauge's zero; scale for sound speed. Both are held by what was known before (mean zero, the common error), so
that they move only as far as the checks tell. Differences that stand out weigh less (Huber 1964).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lakemap.model.soundings import Soundings
from lakemap.units import length_slot

Floats = NDArray[np.float64]

REACH_M = 15.0
"""Soundings this near a check tell the depth at it, through a plane."""
LEAST_ROWS, MOST_ROWS = 3, 400
SLOPE_PRIOR = 0.2
"""Standard deviation of either slope of the plane before soundings are seen: lake floors rarely fall more steeply."""
HUBER_SIGMAS, ROUNDS = 1.5, 12
PRIOR_FREEDOM = 4.0
"""Degrees of freedom of the prior's t law (Lange, Little & Taylor 1989, from memory): a draft that was measured is
rarely wrong by centimetres, but now and then by all of it, counted twice."""
LEAST_SIGMA_M, LEAST_SCALE = 0.01, 0.0005
"""No check settles more finely: a line stretches, a pole sinks in."""
TOLD = 0.8
"""A quantity is told by the checks where they bring its error below this share of what it was."""


@dataclass(frozen=True)
class Fit:
    """Offset [m] and scale with their standard errors; ``matched`` (k,) which checks had soundings near; the median of
    what check and sounding differed by, before and after."""

    offset_m: float
    scale: float
    offset_sigma_m: float
    scale_sigma: float
    matched: NDArray[np.bool_]
    before_m: float
    after_m: float
    messages: tuple[str, ...]

    def shift_m(self, below_m: Floats) -> Floats:
        """What to add to depths that lie ``below_m`` (n,) below the transducer."""
        return np.asarray(self.offset_m + self.scale * below_m, dtype=np.float64)


def fit_checks(
    soundings: Soundings, below_m: Floats, xy: Floats, check_m: Floats, sigma_m: Floats
) -> Fit | None:
    """Fit offset and scale; None where no check has soundings near it.

    ``soundings`` carry depth_m and its sigma on one datum, ``below_m`` (n,) is their depth below the transducer; checks
    are at ``xy`` (k, 2) on the working CRS, ``check_m`` (k,) on the same datum, NaN where that is not known.
    """
    rows = np.flatnonzero(soundings.usable() & np.isfinite(soundings.depth_m + soundings.x_m))
    tree = cKDTree(np.column_stack([soundings.x_m[rows], soundings.y_m[rows]]))
    usable = np.isfinite(xy).all(axis=1) & np.isfinite(check_m)
    near = [rows[_within(tree, place)] if good else rows[:0] for place, good in zip(xy, usable, strict=True)]
    matched = np.array([len(some) >= LEAST_ROWS for some in near], dtype=bool)
    if not matched.any():
        return None
    told = np.array([_depth_at(soundings, near[k], xy[k]) for k in np.flatnonzero(matched)])
    deep = np.array([float(np.median(below_m[near[k]])) for k in np.flatnonzero(matched)])
    difference = check_m[matched] - told[:, 0]
    sigma = np.maximum(np.hypot(sigma_m[matched], told[:, 1]), LEAST_SIGMA_M)
    return _fitted(difference, sigma, deep, soundings, matched)


def _within(tree: cKDTree, place: Floats) -> NDArray[np.int64]:
    return np.sort(np.asarray(tree.query_ball_point(place, REACH_M), dtype=np.int64))


def _depth_at(soundings: Soundings, rows: NDArray[np.int64], place: Floats) -> tuple[float, float]:
    """Depth at a place and its sigma, from a plane through the soundings near it."""
    away = np.hypot(soundings.x_m[rows] - place[0], soundings.y_m[rows] - place[1])
    rows = rows[np.lexsort((rows, away))[:MOST_ROWS]]
    u, v = soundings.x_m[rows] - place[0], soundings.y_m[rows] - place[1]
    sigma = np.maximum(soundings.depth_sigma_m[rows].astype(np.float64), LEAST_SIGMA_M)
    design = np.column_stack([np.ones(len(rows)), u, v])
    middle = float(np.median(soundings.depth_m[rows]))
    normal = (design / sigma[:, None] ** 2).T @ design + np.diag([0.0, SLOPE_PRIOR**-2, SLOPE_PRIOR**-2])
    right = design.T @ ((soundings.depth_m[rows] - middle) / sigma**2)
    level, east, north = np.linalg.solve(normal, right)
    left = soundings.depth_m[rows] - middle - design @ np.array([level, east, north])
    fit = float(np.sqrt(np.linalg.inv(normal)[0, 0] * max(1.0, float(np.mean((left / sigma) ** 2)))))
    place_m = float(np.median(soundings.position_sigma_m[rows]))
    slope = float(np.hypot(east, north))
    # readings of one pass share most of their error, so it does not average away
    shared = 0.5 * float(np.median(sigma))
    return middle + float(level), float(np.sqrt(fit**2 + shared**2 + (slope * np.nan_to_num(place_m)) ** 2))


def _fitted(
    difference: Floats, sigma: Floats, deep: Floats, soundings: Soundings, matched: NDArray[np.bool_]
) -> Fit:
    prior = np.array([max(soundings.common_offset_m, LEAST_SIGMA_M), max(soundings.common_scale, LEAST_SCALE)])
    design = np.column_stack([np.ones(len(deep)), deep])
    weight: Floats = np.ones(len(deep), dtype=np.float64)
    found = np.array([float(np.median(difference)), 0.0])
    for _ in range(ROUNDS):
        doubt = np.minimum(1.0, (PRIOR_FREEDOM + 1.0) / (PRIOR_FREEDOM + (found / prior) ** 2))
        normal = (design * (weight / sigma**2)[:, None]).T @ design + np.diag(doubt * prior**-2.0)
        found = np.asarray(np.linalg.solve(normal, design.T @ (weight * difference / sigma**2)), dtype=np.float64)
        left = np.abs(difference - design @ found) / sigma
        spread = max(1.0, 1.4826 * float(np.median(left)))
        weight = np.minimum(1.0, HUBER_SIGMAS / np.maximum(left / spread, 1e-12)) / spread**2
    error = np.sqrt(np.diag(np.linalg.inv(normal)))
    offset_sigma, scale_sigma = max(float(error[0]), LEAST_SIGMA_M), max(float(error[1]), LEAST_SCALE)
    return Fit(
        float(found[0]), float(found[1]), offset_sigma, scale_sigma, matched, float(np.median(np.abs(difference))),
        float(np.median(np.abs(difference - design @ found))),
        tuple(_said(found, np.array([offset_sigma, scale_sigma]), prior, soundings, int(matched.sum()))),
    )


def _said(found: Floats, error: Floats, prior: Floats, soundings: Soundings, count: int) -> list[str]:
    moved, sure = length_slot(found[0], 2), length_slot(error[0], 2)
    said = [f"{count} check depths: all depths moved by {moved} (sigma {sure}) and "
            f"{100 * found[1]:+.2f} % (sigma {100 * error[1]:.2f} %)"]
    names = ("a constant", "a scale")
    untold = [name for name, now, before in zip(names, error, prior, strict=True) if now > TOLD * before]
    if untold:
        said.append(f"check depths do not tell {' or '.join(untold)} apart from what was known before: measure some in "
                    "shallow and some in the deepest water")
    drafts = [log.draft_m for log in soundings.logs if log.draft_m]
    if drafts and abs(found[0]) > 3 * error[0] and abs(found[0] + drafts[0]) < 2 * error[0]:
        said.append(f"the constant is the draft of {length_slot(drafts[0], 2)} with its sign turned: the sounder seems "
                    "to have added its draft already, so it counted twice")
    return said
