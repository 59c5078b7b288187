"""The comparison of dates as a story: squares, weed, moved floor, and what it means for single readings."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lakemap.changes.cells import CellDepths, depths_by_date
from lakemap.changes.dates import Dates, dates_of
from lakemap.changes.medians import group_medians
from lakemap.changes.moved import Moved, level_between_dates, moved_floor
from lakemap.changes.settings import ChangesSettings
from lakemap.changes.weed import weed_height, weed_rows
from lakemap.model.changes import ChangedSquares, Kind
from lakemap.model.flags import Flag
from lakemap.model.soundings import PassBias, Soundings
from lakemap.units import length_slot

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

DAYS_A_YEAR = 365.25
TOLD_LEVEL_M = 0.1
"""Differences of a whole date smaller than this are not worth a line."""

Found = tuple[Soundings, tuple[ChangedSquares, ...]]


def find_changes(soundings: Soundings, bias: PassBias, settings: ChangesSettings) -> Found:
    """Note rows that read weed (``weed_top``) or a floor that has moved since (``changed``), and say where.

    ``soundings`` are cleaned; ``bias`` is what crossovers say of each pass, taken out for the comparison only. Rows
    without a date take no part. Older rows get a larger error, since the floor may have moved unseen.
    """
    dates = dates_of(soundings, settings)
    if len(dates) < 2:
        return soundings, ()
    level = soundings.less_bias(bias)
    cells = depths_by_date(level, dates.of_row, len(dates), settings.cell_m)
    bias_m = group_medians(cells.date, (soundings.depth_m - level.depth_m)[cells.rows], len(dates))
    cells, told = _on_one_level(cells, dates, bias_m)
    height = weed_height(cells, dates, settings)
    moved = moved_floor(cells, np.nan_to_num(height) == 0, settings)
    on_weed, on_old = weed_rows(cells, height, settings), moved.outdated[cells.cell, cells.date]
    aged = _aged(soundings, settings)
    noted = aged.with_flag(Flag.weed_top, _mask(aged, cells.rows[on_weed])).with_flag(
        Flag.changed, _mask(aged, cells.rows[on_old & ~on_weed]))
    squares = (_weed_squares(cells, dates, height), _moved_squares(cells, dates, moved))
    return noted.with_messages(*told, *_said(squares)), squares


def _mask(soundings: Soundings, rows: Ints) -> NDArray[np.bool_]:
    mask = np.zeros(len(soundings), dtype=bool)
    mask[rows] = True
    return mask


def _on_one_level(cells: CellDepths, dates: Dates, bias_m: Floats) -> tuple[CellDepths, list[str]]:
    """The same squares with each date's common difference taken out, and a line for each large one.

    ``bias_m`` (k,): what the biases of its passes took out of each date before.
    """
    level = level_between_dates(cells.depth_m)
    whole = level + cells.date_offset_m + np.nan_to_num(bias_m)
    whole = whole - whole[0]
    told = [
        f"depths of {dates.first[date]} to {dates.last[date]} are all {length_slot(abs(float(shift)))} "
        f"{'deeper' if shift > 0 else 'shallower'} than those of {dates.first[0]}: taken for the water's level; a "
        "gauge file would settle it"
        for date, shift in enumerate(whole) if abs(shift) > TOLD_LEVEL_M
    ]
    levelled = dataclasses.replace(cells, depth_m=cells.depth_m - level, level_m=cells.level_m - level[cells.date])
    return levelled, told


def _aged(soundings: Soundings, settings: ChangesSettings) -> Soundings:
    """Depth errors grown by what the floor may have moved from each reading to the latest one."""
    when = soundings.time_utc.astype("datetime64[s]")
    known = ~np.isnat(when)
    age = np.zeros(len(soundings))
    age[known] = (when[known].max() - when[known]).astype(np.float64) / (86400 * DAYS_A_YEAR)
    return soundings.with_columns(depth_sigma_m=np.hypot(soundings.depth_sigma_m, settings.ageing_m * age))


def _weed_squares(cells: CellDepths, dates: Dates, height: Floats) -> ChangedSquares:
    """One square for each date that read weed in it."""
    cell, date = np.nonzero(np.nan_to_num(height) > 0)
    seen = int(np.count_nonzero(np.isfinite(height).any(axis=1)))
    return _squares("weed", cells, cell, height[cell, date], (dates.first[date], dates.last[date]), seen)


def _moved_squares(cells: CellDepths, dates: Dates, moved: Moved) -> ChangedSquares:
    cell = np.flatnonzero(np.nan_to_num(moved.difference_m) != 0)
    days = dates.last[moved.before[cell]], dates.first[moved.after[cell]]
    seen = int(np.count_nonzero(np.isfinite(moved.difference_m)))
    return _squares("changed", cells, cell, moved.difference_m[cell], days, seen)


def _squares(
    kind: Kind, cells: CellDepths, cell: Ints, value: Floats,
    days: tuple[NDArray[np.datetime64], NDArray[np.datetime64]], seen: int,
) -> ChangedSquares:
    x_m, y_m = cells.middle[cell].T
    return ChangedSquares(kind, cells.cell_m, x_m, y_m, value, *days, seen)


def _said(squares: Sequence[ChangedSquares]) -> list[str]:
    told = []
    for one in squares:
        if len(one):
            what = "weed stands above the bare floor" if one.kind == "weed" else "the floor has moved between dates"
            where = len(np.unique(np.column_stack([one.x_m, one.y_m]), axis=0))
            told.append(f"{what} in {where} of {one.seen} squares of {length_slot(one.cell_m)} seen on several dates")
    return told
