"""One frame for all surfaces of a lake: how large a pixel is, where the frame lies, and which pixels are water."""

from __future__ import annotations

import math
import os
from dataclasses import dataclass

import numpy as np
import shapely
from affine import Affine
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, label
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from lakemap.errors import InputError, NothingUsable, SettingError
from lakemap.geo.shore import in_water, shore_on, water_mask
from lakemap.grid.settings import GridSettings
from lakemap.grid.track_outline import track_outline
from lakemap.model.frame import GridFrame
from lakemap.model.shoreline import Shoreline
from lakemap.model.soundings import Soundings

Floats = NDArray[np.float64]
Box = tuple[float, float, float, float]

PIXELS_BETWEEN_PASSES = 5
"""Pixels from one pass to the next: fewer lose what the passes saw, more draw what nobody saw (own choice)."""
PIXELS_ACROSS = 200
"""Pixels across the survey at least, however far apart the passes are (own choice)."""
LEAST_PIXEL_M = 1.0
"""Positions are not known better than this."""
LONE_PIXEL_M = 5.0
"""Pixel where all soundings lie at one place."""
MOST_CHOSEN_CELLS = 1_000_000
"""A pixel that was chosen, not given, grows until the frame has no more cells than this."""
BYTES_AT_LEAST, BYTES_A_CELL = 1.1e9, 400
"""Memory at a map's peak, all processes together: whatever its cells, and for each cell (the demo lake took 1.13, 1.00,
1.07, 1.09 GB at 37, 229, 406, 912 thousand cells; between the last three at most 390 bytes a cell)."""
SMALL_MACHINE = 0.1
"""A machine with hardly more memory than any map takes leaves this share of it to a small map's cells (own choice)."""
STRAY_SHARE = 0.02
"""A group of soundings far from the rest that holds less than this share does not stretch the frame."""
OUTLINE_ERROR_M = 50.0
"""A shoreline may be off by so much before it counts as another lake's."""
LINE_PINGS = 6
"""A survey narrower than so many ping distances is one line."""
LATTICE = 97
"""Places each way at which the distance to the nearest sounding is looked at."""


def frame_for(soundings: Soundings, shore: Shoreline | None, settings: GridSettings) -> GridFrame:
    """The frame, on the soundings' CRS, of usable soundings and, where given, the shoreline around them.

    Pixel: ``grid.pixel_m``, else a fifth of the passes' spacing or a 200th of the survey, the smaller, rounded
    down to 1, 2, 5, 10 ... m, at least 1 m. Edges are whole multiples of the pixel, so that the frame depends on what
    was surveyed, not on its order. With a shoreline the frame is its box, cut to the soundings and half their extent
    around; without, the soundings' box and a margin, and its water is what the tracks enclose.

    Raises NothingUsable without a usable sounding, InputError for a shoreline elsewhere, SettingError for a pixel
    that would need more than ``grid.max_cells`` or more memory than there is.
    """
    if soundings.crs is None:
        raise InputError("soundings have no working CRS yet; put them on one with on_crs of geo/crs.py")
    keep = soundings.usable() & np.isfinite(soundings.x_m) & np.isfinite(soundings.y_m)
    if not keep.any():
        raise NothingUsable(f"none of {len(soundings)} soundings is usable; `lakemap check` says why")
    places = _places(np.column_stack([soundings.x_m[keep], soundings.y_m[keep]]))
    outline = water = None
    if shore is not None:
        outline = shore_on(shore, soundings.crs)
        water = outline.water
        _require_near(places, water, shore.source)
    layout = _layout(places, water)
    pixel_m = settings.pixel_m or _chosen_pixel(layout, water)
    shape, transform = _lattice(_bounds(layout, water, pixel_m), pixel_m)
    _require_memory(shape, pixel_m, settings)
    if water is None:
        mask = track_outline(places, shape, transform, layout.spacing_m)
    else:
        mask = water_mask(water, shape, transform)
    if not mask.any():
        raise InputError(f"shoreline {shore.source if shore else ''}: no pixel of {pixel_m:g} m has its centre in the "
                         "water; choose a smaller --pixel or leave the shoreline out")
    return GridFrame(shape, transform, soundings.crs, mask, water is not None, outline)


@dataclass(frozen=True)
class _Layout:
    """Box of the survey, its longer side, and the mean distance between passes [m] (infinite for one line)."""

    box: Box
    extent_m: float
    spacing_m: float


def _places(xy: Floats) -> Floats:
    """Distinct places to 1 m, sorted, without far strays."""
    places = np.unique(np.round(xy), axis=0)
    cell_m = max(float(np.ptp(places, axis=0).max()) / 50, 10.0)
    cell = np.floor((places - places.min(axis=0)) / cell_m).astype(np.int64)
    filled = np.zeros(cell.max(axis=0) + 1, dtype=bool)
    filled[cell[:, 0], cell[:, 1]] = True
    group = label(binary_dilation(filled, np.ones((3, 3)), iterations=2), np.ones((3, 3)))[0][cell[:, 0], cell[:, 1]]
    share = np.bincount(group) / len(places)
    return np.asarray(places[share[group] >= min(STRAY_SHARE, share.max())])


def _layout(places: Floats, water: BaseGeometry | None) -> _Layout:
    low, high = places.min(axis=0), places.max(axis=0)
    box = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    extent = float((high - low).max())
    if len(places) < 3:
        return _Layout(box, extent, math.inf)
    hull = shapely.convex_hull(shapely.multipoints(places))
    return _Layout(box, extent, _spacing_m(places, hull if water is None else hull.intersection(water), extent))


def _spacing_m(places: Floats, within: BaseGeometry, extent_m: float) -> float:
    """Distance between passes: between parallel lines the median distance of a place to the nearest line is a fourth of
    their spacing. Places are an even lattice in the surveyed water; a strip that holds one line has no spacing."""
    tree = cKDTree(places)
    ping_m = max(float(np.median(tree.query(places, k=2)[0][:, 1])), 1.0)
    if within.area < LINE_PINGS * ping_m * extent_m:
        return math.inf
    west, south, east, north = within.bounds
    x_m, y_m = np.meshgrid(np.linspace(west, east, LATTICE), np.linspace(south, north, LATTICE))
    inside = in_water(within, x_m.ravel(), y_m.ravel())
    if not inside.any():
        return math.inf
    lag = tree.query(np.column_stack([x_m.ravel()[inside], y_m.ravel()[inside]]))[0]
    return max(4.0 * float(np.median(lag)), ping_m)


def _chosen_pixel(layout: _Layout, water: BaseGeometry | None) -> float:
    if layout.extent_m < LONE_PIXEL_M:
        return LONE_PIXEL_M
    wanted = min(layout.spacing_m / PIXELS_BETWEEN_PASSES, layout.extent_m / PIXELS_ACROSS)
    pixel_m = _round_down(max(wanted, LEAST_PIXEL_M))
    while math.prod(_lattice(_bounds(layout, water, pixel_m), pixel_m)[0]) > MOST_CHOSEN_CELLS:
        pixel_m = _next_up(pixel_m)
    return pixel_m


def _round_down(value: float) -> float:
    """The largest of 1, 2, 5 times a power of ten that is not above ``value``."""
    power = 10.0 ** math.floor(math.log10(value) + 1e-9)
    return max(digit * power for digit in (1.0, 2.0, 5.0) if digit * power <= value * (1 + 1e-9))


def _next_up(pixel_m: float) -> float:
    return _round_down(2.6 * pixel_m)


def _bounds(layout: _Layout, water: BaseGeometry | None, pixel_m: float) -> Box:
    """West, south, east, north of what the frame must hold."""
    if water is None:
        gap = layout.spacing_m if math.isfinite(layout.spacing_m) else 0.0
        return _grown(layout.box, max(5 * pixel_m, min(gap, layout.extent_m / 10)))
    around = shapely.box(*_grown(layout.box, max(20 * pixel_m, layout.extent_m / 2)))
    west, south, east, north = water.intersection(around).bounds
    return west, south, east, north


def _grown(box: Box, margin_m: float) -> Box:
    return box[0] - margin_m, box[1] - margin_m, box[2] + margin_m, box[3] + margin_m


def _lattice(bounds: Box, pixel_m: float) -> tuple[tuple[int, int], Affine]:
    """Shape and transform of the pixels, edges on whole multiples of the pixel, that cover ``bounds``."""
    first_column, first_row = math.floor(bounds[0] / pixel_m), math.floor(bounds[1] / pixel_m)
    columns = max(math.ceil(bounds[2] / pixel_m) - first_column, 1)
    rows = max(math.ceil(bounds[3] / pixel_m) - first_row, 1)
    return (rows, columns), Affine(pixel_m, 0, first_column * pixel_m, 0, -pixel_m, (first_row + rows) * pixel_m)


def _require_near(places: Floats, water: BaseGeometry, source: str) -> None:
    if in_water(water, places[:, 0], places[:, 1], OUTLINE_ERROR_M).any():
        return
    away = float(shapely.distance(water, shapely.points(places)).min())
    raise InputError(f"shoreline {source}: the nearest sounding lies {away:.0f} m off its water; "
                     "give this lake's shoreline or leave it out")


def _require_memory(shape: tuple[int, int], pixel_m: float, settings: GridSettings) -> None:
    cells, there = math.prod(shape), _memory_bytes()
    room = max(there - BYTES_AT_LEAST, SMALL_MACHINE * there)
    allowed = min(settings.max_cells, room / BYTES_A_CELL)
    if cells <= allowed:
        return
    enough = math.ceil(pixel_m * math.sqrt(cells / allowed) * 10) / 10
    why = f"above max_cells = {settings.max_cells}" if cells > settings.max_cells else (
        f"which need {(BYTES_AT_LEAST + cells * BYTES_A_CELL) / 1e9:.1f} GB where this machine has {there / 1e9:.1f}")
    raise SettingError(f"[grid] pixel_m = {pixel_m:g}: the frame would have {cells} cells, {why}; "
                       f"use a pixel of {enough:g} m or more")


def _memory_bytes() -> float:
    """Memory of this machine, infinite where it does not say."""
    try:
        return float(os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE"))
    except (AttributeError, ValueError, OSError):
        return math.inf
