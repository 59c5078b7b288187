"""Weed: a square that is shallower in the months of weed than the bare floor says, before and after."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lakemap.changes.cells import CellDepths
from lakemap.changes.dates import Dates
from lakemap.changes.differ import deeper
from lakemap.changes.settings import ChangesSettings

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

AGREE_SIGMAS = 2.0
"""Bare dates within so many standard errors of the shallowest one tell the same floor."""


def weed_height(cells: CellDepths, dates: Dates, settings: ChangesSettings) -> Floats:
    """How far above the bare floor each square reads on each date (c, k) [m]; 0 where it reads floor.

    The floor is what bare dates say; weed must stand above all of them that saw the square, so that a cove that has
    silted up since (the later bare date agrees with the summer) is no weed. NaN where no bare date saw the square.
    """
    height = np.full(cells.depth_m.shape, np.nan)
    bare = np.flatnonzero(~dates.weedy)
    if len(bare) == 0:
        return height
    floor, floor_sigma = _bare_floor(cells.depth_m[:, bare], cells.sigma_m[:, bare])
    for date in np.flatnonzero(dates.weedy).tolist():
        rise = floor - cells.depth_m[:, date]
        sigma = np.hypot(floor_sigma, cells.sigma_m[:, date])
        stands = deeper(cells, rise, sigma, settings.weed_m, settings.weed_sigmas)
        height[:, date] = np.where(np.isfinite(rise), np.where(stands, rise, 0.0), np.nan)
    return height


def _bare_floor(depth: Floats, sigma: Floats) -> tuple[Floats, Floats]:
    """Floor of each square and its error: mean of the dates given that agree with the shallowest of them.

    NaN where none saw it.
    """
    shallow = np.where(np.isfinite(depth), depth, np.inf)
    row, which = np.arange(len(depth)), shallow.argmin(axis=1)
    least, its_sigma = shallow[row, which][:, None], sigma[row, which][:, None]
    with np.errstate(invalid="ignore"):
        agrees = np.isfinite(depth) & (depth - least <= AGREE_SIGMAS * np.hypot(sigma, its_sigma))
    weight = np.where(agrees, 1.0 / np.nan_to_num(sigma, nan=1.0) ** 2, 0.0)
    total = weight.sum(axis=1)
    seen = total > 0
    safe = np.where(seen, total, 1.0)
    mean = (weight * np.nan_to_num(depth)).sum(axis=1) / safe
    return np.where(seen, mean, np.nan), np.where(seen, 1.0 / np.sqrt(safe), np.nan)


def weed_rows(cells: CellDepths, height: Floats, settings: ChangesSettings) -> Bools:
    """Which of the rows (m,) read the weed's top: those of a weedy square that stand clear of its floor."""
    floor = cells.depth_m + np.nan_to_num(height)
    above = floor[cells.cell, cells.date] - cells.level_m
    return (np.nan_to_num(height)[cells.cell, cells.date] > 0) & (above > settings.weed_m / 2)
