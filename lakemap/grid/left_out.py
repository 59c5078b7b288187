"""Leave one pass out (one square without times): what the surface is worth where the boat has not been."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.special import erfinv

from lakemap.grid.interpolator import Interpolator
from lakemap.model.observations import Observations
from lakemap.model.surface import LeftOut

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]

NOMINAL_SHARES = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.99)
"""Shares that should lie within the two-sided interval of a normal law, for the curve of reliability."""

MOST_GROUPS, MOST_IN_GROUP = 40, 100
"""Passes or squares held back, and readings of each that are predicted: evenly picked, to keep the time small."""

SQUARE_PIXELS = 5
"""Least side of a square, in pixels."""

SQUARES_ACROSS = 4
"""Squares along the survey's longer side, for an interpolator that reaches everywhere."""

NORMAL_95 = 1.96
ENOUGH_TO_SCALE = 40
"""Fewer left-out readings than this leave sigma as the model says (own choice)."""

SCALE_LIMITS = (1.0, 3.0)
"""Left-out passes lie farther from data than most pixels: they may widen sigma, never narrow it (own choice)."""


@dataclass(frozen=True)
class Misses:
    """Readings held back: estimate minus reading (m,), standard error of the estimate, the reading's own error, and the
    number of the pass or square; ``by`` says which, ``row`` (m,) which reading it is."""

    by: str
    miss: Floats
    sigma: Floats
    own: Floats
    group: Rows
    row: Rows = field(default_factory=lambda: np.empty(0, np.int64))


def leave_out(fitted: Interpolator, obs: Observations, side_m: float) -> Misses:
    """Hold back each pass (each square of side ``side_m`` where passes or times are not known, or there is but one) and
    predict it from the others; parameters stay."""
    by, group, held, asked = held_back(obs, side_m)
    if not held:
        nothing = np.empty(0)
        return Misses(by, nothing, nothing, nothing, np.empty(0, np.int64), np.empty(0, np.int64))
    rows = np.concatenate(asked)
    estimate, sigma = fitted.predict_held(obs, held, asked)
    said = np.isfinite(estimate)
    rows, estimate, sigma = rows[said], estimate[said], sigma[said]
    return Misses(by, estimate - obs.value[rows], sigma, np.sqrt(fitted.own_variance(obs)[rows]), group[rows], rows)


def held_back(obs: Observations, side_m: float) -> tuple[str, Rows, list[Rows], list[Rows]]:
    """What a group is, the group of each reading (n,), the rows of each group held back, and those asked for."""
    by, group = _groups(obs, side_m)
    held = [np.flatnonzero(group == number) for number in _evenly(np.unique(group), MOST_GROUPS)]
    held = [rows for rows in held if len(rows) < len(obs)]
    return by, group, held, [_evenly(rows, MOST_IN_GROUP) for rows in held]


def sigma_scale(misses: Misses) -> float:
    """The factor on the estimates' standard errors with which 95 % of the misses lie within 1.96 of the estimate's and
    the reading's error together; 1 with too few of them; within SCALE_LIMITS."""
    if len(misses.miss) < ENOUGH_TO_SCALE:
        return 1.0
    needed = (misses.miss / NORMAL_95) ** 2 - misses.own**2
    factor = np.sqrt(np.maximum(needed, 0.0)) / np.maximum(misses.sigma, 1e-12)
    return float(np.clip(np.quantile(factor, 0.95), *SCALE_LIMITS))


def summarise(misses: Misses) -> LeftOut | None:
    """The figures for the report; coverage of each half of the groups is judged with the scale that the other half
    asks for. None without a left-out reading."""
    if len(misses.miss) == 0:
        return None
    odd = np.unique(misses.group, return_inverse=True)[1] % 2 == 1
    size = np.empty(len(misses.miss))
    for half in (odd, ~odd):
        total = np.hypot(sigma_scale(_some(misses, ~half)) * misses.sigma[half], misses.own[half])
        size[half] = np.abs(misses.miss[half]) / np.maximum(total, 1e-12)
    curve = tuple((share, float(np.mean(size <= np.sqrt(2) * erfinv(share)))) for share in NOMINAL_SHARES)
    return LeftOut(
        misses.by, float(np.sqrt(np.mean(misses.miss**2))), float(np.mean(misses.miss)),
        float(np.mean(size <= NORMAL_95)), len(misses.miss), curve,
    )


def _some(misses: Misses, rows: NDArray[np.bool_]) -> Misses:
    return Misses(
        misses.by, misses.miss[rows], misses.sigma[rows], misses.own[rows], misses.group[rows],
        misses.row[rows] if len(misses.row) else misses.row,
    )


def _groups(obs: Observations, side_m: float) -> tuple[str, NDArray[np.int64]]:
    if obs.has_time and len(np.unique(obs.pass_id)) >= 2:
        return "pass", obs.pass_id.astype(np.int64)
    if obs.has_time and not np.isfinite(side_m):
        return "third", _thirds(obs.xy)
    if not np.isfinite(side_m):
        side_m = max(float(np.ptp(obs.xy, axis=0).max()) / SQUARES_ACROSS, 1.0)
    cell = np.floor(obs.xy / side_m).astype(np.int64)
    return "square", np.unique(cell, axis=0, return_inverse=True)[1].reshape(-1).astype(np.int64)


def _thirds(xy: Floats) -> NDArray[np.int64]:
    """Three parts with as many readings each, along the longer side of their box."""
    along = xy[:, int(np.argmax(np.ptp(xy, axis=0)))]
    return np.searchsorted(np.quantile(along, [1 / 3, 2 / 3]), along).astype(np.int64)


def _evenly(items: NDArray[np.int64], most: int) -> NDArray[np.int64]:
    return items[np.unique(np.linspace(0, len(items) - 1, most).astype(np.int64))]
