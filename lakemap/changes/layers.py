"""Weed and moved floor as grids on the depth's frame, and as areas by date."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from lakemap.model.changes import ChangedAreas, ChangedSquares, Changes
from lakemap.model.frame import Grid, GridFrame

Floats = NDArray[np.float64]


def change_layers(squares: Sequence[ChangedSquares], frame: GridFrame) -> Changes | None:
    """Grids and areas of what ``find_changes`` found; None where there was nothing to compare."""
    if not squares:
        return None
    weed, moved = squares
    return Changes(
        _grid(weed, frame, "weed_height_m"), _grid(moved, frame, "changed_m"), _areas(weed), _areas(moved))


def _grid(squares: ChangedSquares, frame: GridFrame, name: str) -> Grid | None:
    """Each square's value on the water pixels whose middle it holds; of several dates the latest."""
    if len(squares) == 0:
        return None
    place = np.floor(frame.water_xy() / squares.cell_m).astype(np.int64)
    known = np.floor(np.column_stack([squares.x_m, squares.y_m]) / squares.cell_m).astype(np.int64)
    latest = np.lexsort((-squares.until.astype(np.int64), known[:, 1], known[:, 0]))
    known, number = np.unique(known[latest], axis=0, return_index=True)
    value = squares.value_m[latest][number]
    values = np.full(frame.shape, np.nan, dtype=np.float32)
    values[frame.water] = _looked_up(known, value, place)
    return Grid(frame, values, name, "m") if np.isfinite(values).any() else None


def _looked_up(known: NDArray[np.int64], value: Floats, place: NDArray[np.int64]) -> Floats:
    """Value of each place (p, 2), NaN where it is not known; ``known`` (q, 2) sorted by its first column."""
    low = np.minimum(known.min(axis=0), place.min(axis=0))
    width = int(max(known[:, 1].max(), place[:, 1].max()) - low[1]) + 1
    key, wanted = ((part[:, 0] - low[0]) * width + part[:, 1] - low[1] for part in (known, place))
    at = np.minimum(np.searchsorted(key, wanted), len(key) - 1)
    return np.where(key[at] == wanted, value[at], np.nan)


def _areas(squares: ChangedSquares) -> ChangedAreas:
    """Touching squares of one kind, sign and date joined to one area, in the order of dates and places."""
    half = squares.cell_m / 2
    sign = np.sign(squares.value_m)
    kinds = sorted(set(zip(squares.since.tolist(), squares.until.tolist(), sign.tolist(), strict=True)))
    found = []
    for since, until, side in kinds:
        of = np.flatnonzero((squares.since == np.datetime64(since)) & (squares.until == np.datetime64(until))
                            & (sign == side))
        x, y = squares.x_m[of], squares.y_m[of]
        whole = shapely.union_all(shapely.box(x - half, y - half, x + half, y + half))
        for part in shapely.get_parts(shapely.normalize(whole)):
            inside = shapely.contains_xy(part, x, y)
            found.append((part, float(np.median(squares.value_m[of][inside])), since, until))
    return ChangedAreas(
        [one[0] for one in found], np.array([one[1] for one in found], np.float64),
        np.array([one[2] for one in found], "datetime64[D]"), np.array([one[3] for one in found], "datetime64[D]"))
