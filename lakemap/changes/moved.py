"""Floor that is not where it was: squares whose dates disagree beyond their errors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lakemap.changes.cells import CellDepths
from lakemap.changes.differ import deeper
from lakemap.changes.settings import ChangesSettings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

FEWEST_SHARED = 20
"""Squares that two dates must share before their common difference is taken for the water's level."""


@dataclass(frozen=True)
class Moved:
    """By square (c,): ``difference_m``, latest depth less the earlier one (above 0: deeper now), 0 where nothing moved,
    NaN where only one date saw it; ``before`` and ``after``: the dates between which it moved. ``outdated`` (c, k):
    dates whose floor no longer holds.
    """

    difference_m: Floats
    before: Ints
    after: Ints
    outdated: Bools


def level_between_dates(depth: Floats) -> Floats:
    """What each date's depths differ from the first's as a whole (k,) [m]: the water's level, no change of the floor.

    The median over shared squares, date by date, against all dates already joined; 0 for a date that shares too few.
    """
    level = np.zeros(depth.shape[1])
    joined = depth[:, :1].copy()
    for date in range(1, depth.shape[1]):
        difference = depth[:, date] - _row_median(joined)
        shared = np.isfinite(difference)
        if np.count_nonzero(shared) >= FEWEST_SHARED:
            level[date] = float(np.median(difference[shared]))
        joined = np.column_stack([joined, depth[:, date] - level[date]])
    return level


def _row_median(values: Floats) -> Floats:
    """Median of each row, NaN for a row without a value."""
    count = np.isfinite(values).sum(axis=1)
    ordered = np.sort(np.where(np.isfinite(values), values, np.inf), axis=1)
    row, last = np.arange(len(values)), values.shape[1] - 1
    low, high = np.clip((count - 1) // 2, 0, last), np.clip(count // 2, 0, last)
    middle = np.where(count > 0, ordered[row, low], 0.0) + np.where(count > 0, ordered[row, high], 0.0)
    return np.where(count > 0, middle / 2, np.nan)


def moved_floor(cells: CellDepths, floor: Bools, settings: ChangesSettings) -> Moved:
    """Compare each square's latest floor with its earlier ones; ``floor`` (c, k): dates that read floor there."""
    depth = np.where(floor, cells.depth_m, np.nan)
    seen = np.isfinite(depth)
    dates = depth.shape[1]
    row = np.arange(len(depth))
    latest = dates - 1 - seen[:, ::-1].argmax(axis=1)
    now, now_sigma = depth[row, latest], cells.sigma_m[row, latest]
    outdated = np.zeros(depth.shape, dtype=bool)
    difference = np.where(seen.sum(axis=1) > 1, 0.0, np.nan)
    before, after = np.zeros(len(depth), np.int64), latest.copy()
    for date in range(dates):
        gap = np.where(latest > date, now - depth[:, date], np.nan)
        sigma = np.hypot(now_sigma, cells.sigma_m[:, date])
        moved = deeper(cells, gap, sigma, settings.change_m, settings.sigmas) | deeper(
            cells, -gap, sigma, settings.change_m, settings.sigmas)
        outdated[:, date] = moved
        difference = np.where(moved, gap, difference)
        before = np.where(moved, date, before)
    for date in range(dates - 1, -1, -1):
        nearer = np.abs(now - depth[:, date]) <= np.abs(depth[:, date] - depth[row, before])
        agrees = nearer & ~outdated[:, date] & (date > before)
        after = np.where(agrees, date, after)
    return Moved(difference, before, after, outdated)
