"""Contours, tints between them, and where the map is guessing, for one sheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import rasterio.features
import shapely
from affine import Affine
from contourpy import FillType, LineType, contour_generator
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry import LineString, Polygon, shape
from shapely.geometry.base import BaseGeometry

from lakemap.model.finished_map import FinishedMap
from lakemap.publish.chart.ink import TINTS
from lakemap.publish.chart.paper import Box, View
from lakemap.publish.html_map.packing import coarser
from lakemap.publish.html_map.sureness import WORDS, how_sure
from lakemap.units import from_metres, to_metres

Floats = NDArray[np.float64]

FINEST_CELL_MM = 0.4
"""Cells of the grid that lines are traced on, at least: less than a pen shows."""
LEAST_APART_MM = 2.5
"""Contours of the chosen step lie at least so far apart over most of the floor (own choice)."""
STEEP_QUANTILE = 0.85
STEPS = {"m": (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0), "ft": (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)}
"""Steps that are taken where none is given."""
SHORTEST_LOOP_MM, SHORTEST_PIECE_MM = 5.0, 3.0
HATCH_MM = 1.7
LEAST_GUESS_MM2 = 12.0


@dataclass(frozen=True)
class LocalGrid:
    """Depth and sigma about one sheet [m], as means of square cells; ``x_m``, ``y_m`` of their middles; north first."""

    depth_m: Floats
    sigma_m: Floats
    x_m: Floats
    y_m: Floats
    cell_m: float


@dataclass(frozen=True)
class ContourLine:
    """One line of equal depth [m] on the sheet [mm]."""

    depth_m: float
    line: LineString


def local_grid(lake: FinishedMap, view: View) -> LocalGrid:
    """The map about a sheet, not finer than a pen draws."""
    frame = lake.depth.frame
    factor = max(1, int(FINEST_CELL_MM / view.mm_per_m / frame.pixel_m))
    rows, columns = _window(lake, view.ground.grown(4 * factor * frame.pixel_m))
    depth, sigma = (coarser(grid.values[rows, columns], factor) for grid in (lake.depth, lake.sigma))
    cell_m = factor * frame.pixel_m
    x_m = frame.transform.c + columns.start * frame.pixel_m + (np.arange(depth.shape[1]) + 0.5) * cell_m
    y_m = frame.transform.f - rows.start * frame.pixel_m - (np.arange(depth.shape[0]) + 0.5) * cell_m
    return LocalGrid(depth, sigma, x_m, y_m, cell_m)


def _window(lake: FinishedMap, ground: Box) -> tuple[slice, slice]:
    frame = lake.depth.frame
    west, _, _, north = frame.bounds
    columns = np.clip([(ground.west - west) // frame.pixel_m, -((west - ground.east) // frame.pixel_m)], 0,
                      frame.shape[1]).astype(int)
    rows = np.clip([(north - ground.north) // frame.pixel_m, -((ground.south - north) // frame.pixel_m)], 0,
                   frame.shape[0]).astype(int)
    return slice(int(rows[0]), int(rows[1])), slice(int(columns[0]), int(columns[1]))


def chosen_step_m(grid: LocalGrid, mm_per_m: float, unit: str) -> float:
    """The finest step of STEPS [m] whose lines lie LEAST_APART_MM apart on most of the floor, and that is not finer
    than two usual standard errors of a depth: closer lines would draw noise."""
    seen = np.isfinite(grid.depth_m)
    if not seen.any() or min(grid.depth_m.shape) < 2:
        return to_metres(STEPS[unit][1], unit)
    down, across = np.gradient(grid.depth_m, grid.cell_m)
    slope = np.hypot(down, across)
    steep = float(np.quantile(slope[np.isfinite(slope)], STEEP_QUANTILE)) if np.isfinite(slope).any() else 0.0
    sigma = grid.sigma_m[np.isfinite(grid.sigma_m)]
    wanted = max(steep * LEAST_APART_MM / mm_per_m, 2.0 * float(np.median(sigma)) if len(sigma) else 0.0)
    return to_metres(min((step for step in STEPS[unit] if to_metres(step, unit) >= wanted),
                         default=STEPS[unit][-1]), unit)


def water_shape(grid: LocalGrid, shore: BaseGeometry | None) -> BaseGeometry:
    """The water that depths are drawn for [m]: cells with a depth, reaching to the shoreline where one is near."""
    seen = np.isfinite(grid.depth_m)
    half = grid.cell_m / 2
    place = Affine(grid.cell_m, 0, grid.x_m[0] - half, 0, -grid.cell_m, grid.y_m[0] + half) if seen.size else Affine(
        1, 0, 0, 0, -1, 0)
    traced = rasterio.features.shapes(seen.astype(np.uint8), mask=seen, transform=place) if seen.any() else ()
    cells = shapely.union_all([shape(outline) for outline, _ in traced])
    if shore is None:
        return cells
    return shapely.make_valid(cells.buffer(1.5 * grid.cell_m, join_style="mitre")).intersection(shore)


def contour_lines(grid: LocalGrid, view: View, step_m: float, water: BaseGeometry) -> list[ContourLine]:
    """Lines at each multiple of the step above 0, shallow first, long before short; small rings are left out."""
    depth = _filled(grid.depth_m)
    if min(depth.shape) < 2 or not np.isfinite(depth).any():
        return []
    tracer = contour_generator(grid.x_m, grid.y_m[::-1], depth[::-1], name="serial", line_type=LineType.Separate)
    seen = grid.depth_m[np.isfinite(grid.depth_m)]
    levels = step_m * np.arange(max(1, np.ceil(seen.min() / step_m)), np.floor(seen.max() / step_m) + 1)
    shapely.prepare(water)
    found = []
    for level in levels:
        lines = [LineString(corners) for corners in tracer.lines(level) if len(corners) > 1]
        cut = view.shape_mm(shapely.union_all(lines).intersection(water)) if lines else shapely.LineString()
        merged = shapely.line_merge(cut) if cut.geom_type == "MultiLineString" else cut
        parts = [part.simplify(0.06) for part in shapely.get_parts(merged) if part.geom_type == "LineString"]
        kept = [part for part in parts if part.length >= (SHORTEST_LOOP_MM if part.is_ring else SHORTEST_PIECE_MM)]
        kept.sort(key=lambda part: (-round(part.length, 6), part.coords[0]))
        found += [ContourLine(float(level), part) for part in kept]
    return found


def band_levels_m(lake: FinishedMap, step_m: float) -> list[float]:
    """Depths that part the tints, the same on all sheets of a lake: each some contours wide."""
    deepest = float(np.nanmax(lake.depth.values)) if np.isfinite(lake.depth.values).any() else 0.0
    every = max(1, int(np.ceil(deepest / step_m / len(TINTS))))
    return [step_m * every * k for k in range(1, len(TINTS))]


def tints(
    grid: LocalGrid, view: View, levels_m: Sequence[float], water: BaseGeometry
) -> list[tuple[str, BaseGeometry]]:
    """Areas on the sheet by colour, shallow first, deeper is darker."""
    depth = _filled(grid.depth_m)
    if min(depth.shape) < 2 or not np.isfinite(depth).any():
        return [(TINTS[0], view.shape_mm(water))]
    levels = [-1e6, *levels_m, 1e6]
    filler = contour_generator(grid.x_m, grid.y_m[::-1], depth[::-1], name="serial", fill_type=FillType.OuterOffset)
    made = []
    for k, colour in enumerate(TINTS):
        traced: Any = filler.filled(levels[k], levels[k + 1])
        areas = [_polygon(corners, starts) for corners, starts in zip(*traced, strict=True)]
        band = shapely.union_all([area for area in areas if area is not None])
        made.append((colour, view.shape_mm(shapely.make_valid(band).intersection(water))))
    return made


def _polygon(corners: Floats, starts: NDArray[np.uint32]) -> BaseGeometry | None:
    rings = [corners[starts[k]:starts[k + 1]] for k in range(len(starts) - 1)]
    rings = [ring for ring in rings if len(ring) >= 4]
    return shapely.make_valid(Polygon(rings[0], rings[1:])) if rings else None


def _filled(values: Floats) -> Floats:
    """Cells without a value take the nearest one, so that lines reach the shore; the water's outline cuts them."""
    blank = ~np.isfinite(values)
    if blank.all() or not blank.any():
        return values
    nearest = ndimage.distance_transform_edt(blank, return_distances=False, return_indices=True)
    return np.asarray(values[tuple(nearest)])


def guessed(grid: LocalGrid, view: View, water: BaseGeometry) -> BaseGeometry:
    """Where the depth is a guess by the page's own limits, on the sheet [mm]; what is small there is left out."""
    level = how_sure(grid.depth_m, grid.sigma_m) == len(WORDS) - 1
    if not level.any():
        return Polygon()
    half = grid.cell_m / 2
    place = Affine(grid.cell_m, 0, grid.x_m[0] - half, 0, -grid.cell_m, grid.y_m[0] + half)
    traced = rasterio.features.shapes(level.astype(np.uint8), mask=level, transform=place)
    smooth = shapely.union_all([shape(outline) for outline, _ in traced]).buffer(half).buffer(-half)
    parts = shapely.get_parts(view.shape_mm(shapely.make_valid(smooth).intersection(water)))
    return shapely.union_all([part for part in parts if part.area >= LEAST_GUESS_MM2])


def hatching(area: BaseGeometry, inside: Box, apart_mm: float = HATCH_MM, *, rising: bool = True) -> list[BaseGeometry]:
    """Slanted lines over an area [mm], on one pattern for the whole sheet."""
    if area.is_empty:
        return []
    sign = 1.0 if rising else -1.0
    reach = inside.height
    starts = np.arange(inside.west - reach, inside.east + reach, apart_mm * np.sqrt(2.0))
    lines = [LineString([(x, inside.south), (x + sign * reach, inside.north)]) for x in starts]
    shapely.prepare(area)
    return [part for part in shapely.intersection(lines, area) if not part.is_empty]


def index_every(step_m: float, unit: str) -> int:
    """Each how manieth contour is drawn bold: the fifth, or the fourth or second where that is the rounder depth."""
    step = round(from_metres(step_m, unit), 6)
    return 4 if step in (0.5, 2.5, 25.0) else 5


def broken(lines: Sequence[BaseGeometry], gaps: Sequence[Box]) -> list[BaseGeometry]:
    """Lines without what lies in the gaps."""
    if not gaps:
        return list(lines)
    hole = shapely.union_all([gap.polygon() for gap in gaps])
    shapely.prepare(hole)
    return [line if not hole.intersects(line) else line.difference(hole) for line in lines]
