"""Which depths a chart prints as figures.

The rule, after the practice of official charts (IHO S-4, section B-400, and the selection by reach of Oraas 1975,
International Hydrographic Review 52(2), and Zoraster & Bayer 1992, ibid. 69(1); all from memory): the least depths
over shoals first, then the greatest in basins, then, shoal first, as many as it takes to read the floor between them.
Figures stand as far apart as straight lines between them miss the floor by no more than a tolerance: far apart over
flats, close where the floor is irregular. What is printed is the least depth under the figure and a little around it,
rounded to the shallow side.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from lakemap.model.finished_map import FinishedMap
from lakemap.publish.chart.depth_lines import LocalGrid, local_grid
from lakemap.publish.chart.ink import text_size_mm
from lakemap.publish.chart.occupied import Occupied, box_around
from lakemap.publish.chart.paper import Box, View
from lakemap.publish.html_map.sureness import WORDS, how_sure
from lakemap.units import from_metres

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

POINTS, SMALL_POINTS = 6.6, 4.8
"""Sizes of figures and of the decimetre beside and below them; S-4 has them some 2 mm high."""
AROUND_MM = 0.6
"""Free space round each figure; half of it belongs to the water that the figure speaks for."""
CLOSEST_MM, FARTHEST_MM = 6.0, 16.0
"""Spacing over the roughest and the flattest floor (own choice, near what printed charts show)."""
TOLERANCE = (0.2, 0.03)
"""What straight lines between figures may miss the floor by: so many metres or that share of the depth (own choice)."""
SMOOTHED_MM = 4.0
"""Standard width of the smoothing that tells an irregular floor from an even slope."""
HALF_METRES_FROM, METRES_FROM = 21.0, 31.0
"""S-4 B-412 (from memory): decimetres up to 21 m, half metres up to 31 m, then whole metres."""


@dataclass(frozen=True)
class Figure:
    """A printed depth: where its middle lies [mm], the whole part, the decimetre behind it (empty where none), the
    depth printed [m], why (``shoal``, ``deep``, ``between``), and whether the map is guessing there."""

    x_mm: float
    y_mm: float
    whole: str
    tenth: str
    depth_m: float
    why: str
    guess: bool

    @property
    def place(self) -> Box:
        """The box it fills [mm]."""
        return box_around(self.x_mm, self.y_mm, *size_mm(self.whole, self.tenth))


def rounded_shoal(depth_m: float, unit: str) -> tuple[str, str, float]:
    """A depth rounded to the shallow side as printed: whole part, decimetre, and the depth that says [m]."""
    value = max(0.0, from_metres(depth_m, unit)) + 1e-6
    if unit != "m" or value >= METRES_FROM:
        whole = int(value)
        return str(whole), "", whole * (depth_m / from_metres(depth_m, unit) if depth_m else 1.0)
    step = 5 if value >= HALF_METRES_FROM else 1
    tenths = int(value * 10) // step * step
    return str(tenths // 10), str(tenths % 10) if tenths % 10 or step == 1 else "", tenths / 10


def size_mm(whole: str, tenth: str) -> tuple[float, float]:
    """Width and height of a figure."""
    width, height = text_size_mm("0" * len(whole), POINTS)
    if tenth:
        width += text_size_mm(tenth, SMALL_POINTS)[0]
    return width, height + (0.5 if tenth else 0.0)


@dataclass(frozen=True)
class Lattice:
    """Places one millimetre apart on the sheet: depth there, least depth under a figure, spacing wanted [mm], and
    whether the map guesses; NaN where no figure can stand."""

    x_mm: Floats
    y_mm: Floats
    depth_m: Floats
    least_m: Floats
    spacing_mm: Floats
    guess: Bools


def choose_figures(lake: FinishedMap, view: View, occupied: Occupied, unit: str) -> list[Figure]:
    """The figures of one sheet; ``occupied`` knows what lies there already and takes the figures' places.

    Shoals and deeps may lie on lines (which are then broken), the others may not.
    """
    lattice = _lattice(lake, view, unit)
    chosen: list[Figure] = []
    apart = np.full(lattice.depth_m.shape, np.inf)
    for why, rows, columns in _candidates(lattice):
        for row, column in zip(rows.tolist(), columns.tolist(), strict=True):
            if apart[row, column] < (CLOSEST_MM if why != "between" else lattice.spacing_mm[row, column]):
                continue
            figure = _figure(lattice, row, column, why, unit)
            if figure.depth_m <= 0.0:
                # a chart's nought is a bank at the water's edge; the shoreline says that already
                continue
            if occupied.is_free(figure.place.grown(AROUND_MM), of_lines=why == "between"):
                occupied.take(figure.place.grown(AROUND_MM / 2))
                chosen.append(figure)
                _mark(apart, row, column)
    return chosen or _only_one(lattice, occupied, unit)


def _only_one(lattice: Lattice, occupied: Occupied, unit: str) -> list[Figure]:
    """Where no figure fits: the least depth of all, so that no water is without one."""
    if not np.isfinite(lattice.depth_m).any():
        return []
    row, column = np.unravel_index(int(np.nanargmin(lattice.depth_m)), lattice.depth_m.shape)
    told = float(lattice.depth_m[row, column])
    figure = Figure(float(lattice.x_mm[column]), float(lattice.y_mm[row]), *rounded_shoal(told, unit), "shoal",
                    bool(lattice.guess[row, column]))
    if not occupied.is_free(figure.place):
        return []
    occupied.take(figure.place)
    return [figure]


def _figure(lattice: Lattice, row: int, column: int, why: str, unit: str) -> Figure:
    told = rounded_shoal(float(lattice.least_m[row, column]), unit)
    return Figure(float(lattice.x_mm[column]), float(lattice.y_mm[row]), *told, why, bool(lattice.guess[row, column]))


def _mark(apart: Floats, row: int, column: int) -> None:
    """Distances [mm] to the nearest figure after one more, as far as they matter."""
    reach = int(FARTHEST_MM) + 1
    rows = slice(max(0, row - reach), row + reach + 1)
    columns = slice(max(0, column - reach), column + reach + 1)
    near = apart[rows, columns]
    down, across = np.ogrid[rows.start:rows.start + near.shape[0], columns.start:columns.start + near.shape[1]]
    np.minimum(near, np.hypot(down - row, across - column), out=near)


def _lattice(lake: FinishedMap, view: View, unit: str) -> Lattice:
    grid = least_grid(lake, view)
    x_mm = np.arange(view.at.west + 1.5, view.at.east - 1.0, 1.0)
    y_mm = np.arange(view.at.south + 1.5, view.at.north - 1.0, 1.0)
    x_m, y_m = view.to_ground(x_mm, y_mm)
    column = np.floor((x_m - grid.x_m[0]) / grid.cell_m + 0.5).astype(np.int64) if len(grid.x_m) else np.zeros(0, int)
    row = np.floor((grid.y_m[0] - y_m) / grid.cell_m + 0.5).astype(np.int64) if len(grid.y_m) else np.zeros(0, int)
    inside = ((row >= 0) & (row < len(grid.y_m)))[:, None] & ((column >= 0) & (column < len(grid.x_m)))[None]
    at = np.ix_(np.clip(row, 0, len(grid.y_m) - 1), np.clip(column, 0, len(grid.x_m) - 1))

    def there(values: Floats) -> Floats:
        return np.where(inside, values[at], np.nan) if values.size else np.full(inside.shape, np.nan)

    guess = (how_sure(grid.depth_m, grid.sigma_m) == len(WORDS) - 1).astype(float)
    return Lattice(x_mm, y_mm, there(grid.depth_m), there(_least_under(grid, view, unit)), there(_spacing(grid, view)),
                   there(guess) > 0.5)


def least_grid(lake: FinishedMap, view: View) -> LocalGrid:
    """As local_grid, but with the least depth of each cell, never its mean."""
    mean = local_grid(lake, view)
    factor = round(mean.cell_m / lake.depth.frame.pixel_m)
    if factor == 1:
        return mean
    frame = lake.depth.frame
    row = round((frame.transform.f - mean.y_m[0]) / frame.pixel_m - factor / 2) if len(mean.y_m) else 0
    column = round((mean.x_m[0] - frame.transform.c) / frame.pixel_m - factor / 2) if len(mean.x_m) else 0
    rows, columns = mean.depth_m.shape
    part = lake.depth.values[row:row + rows * factor, column:column + columns * factor]
    spare = [(0, rows * factor - part.shape[0]), (0, columns * factor - part.shape[1])]
    padded = np.pad(part.astype(np.float64), spare, constant_values=np.nan)
    blocks = np.where(np.isfinite(padded), padded, np.inf).reshape(rows, factor, columns, factor)
    least = blocks.min(axis=(1, 3))
    return LocalGrid(np.where(np.isfinite(least), least, np.nan), mean.sigma_m, mean.x_m, mean.y_m, mean.cell_m)


def _least_under(grid: LocalGrid, view: View, unit: str) -> Floats:
    """Least depth under a figure with its middle there; NaN where part of it would lie on land or unknown water."""
    deepest = float(np.nanmax(grid.depth_m)) if np.isfinite(grid.depth_m).any() else 0.0
    width, height = size_mm(*rounded_shoal(deepest, unit)[:2])
    reach = [int(np.ceil((side + AROUND_MM) / 2 / view.mm_per_m / grid.cell_m + 0.5)) for side in (height, width)]
    window = (2 * reach[0] + 1, 2 * reach[1] + 1)
    seen = np.isfinite(grid.depth_m)
    least = ndimage.minimum_filter(np.where(seen, grid.depth_m, np.inf), window, mode="nearest")
    whole = ndimage.minimum_filter(seen.astype(np.uint8), window, mode="constant", cval=0)
    return np.where(whole > 0, least, np.nan)


def _spacing(grid: LocalGrid, view: View) -> Floats:
    """How far apart figures should stand [mm]: a floor that departs by r from its mean over a width s bends so that a
    straight line over a length L misses it by about r L^2 / (8 s^2)."""
    seen = np.isfinite(grid.depth_m)
    if not seen.any():
        return np.full(grid.depth_m.shape, np.nan)
    nearest = ndimage.distance_transform_edt(~seen, return_distances=False, return_indices=True)
    depth = grid.depth_m[tuple(nearest)]
    width = SMOOTHED_MM / view.mm_per_m / grid.cell_m
    smooth = ndimage.gaussian_filter(depth, width, mode="nearest", truncate=3.0)
    rough = np.sqrt(ndimage.gaussian_filter((depth - smooth) ** 2, width, mode="nearest", truncate=3.0))
    tolerance = np.maximum(TOLERANCE[0], TOLERANCE[1] * depth)
    wanted = SMOOTHED_MM * np.sqrt(8.0 * tolerance / np.maximum(rough, 1e-6))
    return np.where(seen, np.clip(wanted, CLOSEST_MM, FARTHEST_MM), np.nan)


def _candidates(lattice: Lattice) -> Iterator[tuple[str, NDArray[np.int64], NDArray[np.int64]]]:
    """Places in the order in which they may have a figure: shoals, most prominent first; deeps likewise; the rest from
    shallow to deep."""
    can = np.isfinite(lattice.least_m)
    for why, sign in (("shoal", 1.0), ("deep", -1.0)):
        rows, columns, prominence = _extremes(lattice, sign)
        order = np.lexsort((columns, rows, -np.round(prominence, 4)))
        yield why, rows[order], columns[order]
    rows, columns = np.nonzero(can)
    order = np.lexsort((columns, rows, np.round(lattice.least_m[rows, columns], 3)))
    yield "between", rows[order], columns[order]


def _extremes(lattice: Lattice, sign: float) -> tuple[NDArray[np.int64], NDArray[np.int64], Floats]:
    """Places shallower (deeper with sign -1) than all within 3 mm and than most of the ring around by more than the
    tolerance: row, column, and by how much [m]."""
    seen = np.isfinite(lattice.depth_m)
    depth = np.where(seen, sign * lattice.depth_m, np.inf)
    disc = np.hypot(*np.ogrid[-3:4, -3:4]) <= 3.2
    ring = np.hypot(*np.ogrid[-7:8, -7:8])
    ring = (ring <= 7.2) & (ring >= 5.0)
    top = seen & np.isfinite(lattice.least_m) & (depth <= ndimage.minimum_filter(depth, footprint=disc))
    rows, columns = np.nonzero(top)
    if not len(rows):
        return rows, columns, np.empty(0)
    padded = np.pad(np.where(seen, sign * lattice.depth_m, np.nan), 7, constant_values=np.nan)
    places = zip(rows.tolist(), columns.tolist(), strict=True)
    around = np.array([padded[row:row + 15, column:column + 15][ring] for row, column in places])
    known = np.isfinite(around).sum(axis=1) > 0.6 * ring.sum()
    prominence = np.full(len(rows), -np.inf)
    prominence[known] = np.nanquantile(around[known], 0.15, axis=1) - depth[rows[known], columns[known]]
    wanted = np.maximum(TOLERANCE[0], TOLERANCE[1] * np.abs(depth[rows, columns]))
    kept = prominence >= wanted
    return rows[kept], columns[kept], prominence[kept]
