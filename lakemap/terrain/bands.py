"""Drop-offs, ledges and flats: bands and fields of the floor told by their slope."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lakemap.terrain.falls import Slopes, fall_of
from lakemap.terrain.floor import Floor, confidence_of, smoothed
from lakemap.terrain.found import Found
from lakemap.terrain.regions import connected, crop, distance_px, middle_of_most, opened, sections
from lakemap.terrain.settings import TerrainSettings
from lakemap.terrain.slope import horn_gradient, horn_slope_deg

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]

CONTRAST = 1.5
"""A drop-off is so many times steeper than the mean around it (our own choice)."""

SOFT, LEAST_NARROW = 0.25, 0.25
"""A slope is a drop-off less and less surely, not all at once, from so much narrower to so much wider than the widest;
less surely than the second it is none."""

FOOT = 0.7
"""The band reaches out to this share of the slope that makes it a drop-off."""

LEDGE_SIDES = 2.0
"""Above and below a ledge the floor is at least so many times steeper than on it (our own choice)."""


def find_drop_offs(floor: Floor, settings: TerrainSettings, taken: Mask) -> list[Found]:
    """Narrow bands of strong slope; ``taken`` (rows, columns) are humps and holes, whose sides are no drop-offs.

    Its height (falls.py) must exceed ``sigmas`` errors of a depth difference.
    """
    around = smoothed(floor.slope_deg, floor.pixels(settings.drop_width_m) / 2.0)
    steep = np.nan_to_num(floor.slope_deg)
    rule = np.maximum(settings.steep_deg, CONTRAST * np.nan_to_num(around))
    band = (steep >= FOOT * rule) & ~taken
    slopes = Slopes.of(floor, band, floor.pixels(settings.drop_width_m) / 2.0)
    found: list[Found] = []
    for rows, columns in connected(band, floor.pixels(settings.drop_length_m)):
        if np.any(steep[rows, columns] >= rule[rows, columns]):
            for piece in sections(rows, columns, floor.pixels(settings.section_m), floor.ground_corner):
                found += _drop_off(*piece, floor, slopes, settings)
    return found


def band_width_px(rows: Ints, columns: Ints) -> float:
    """Mean width [pixels] of a band: four times the mean distance to its sides, less the pixels' own half sides.

    Exact for straight bands of an even number of pixels.
    """
    window = crop((int(rows.max()) + 1, int(columns.max()) + 1), rows, columns, 0)
    mask = np.zeros((window[0].stop - window[0].start, window[1].stop - window[1].start), bool)
    mask[rows - window[0].start, columns - window[1].start] = True
    return max(1.0, 4.0 * float(distance_px(mask)[mask].mean()) - 2.0)


def _drop_off(
    rows: Ints, columns: Ints, floor: Floor, slopes: Slopes, settings: TerrainSettings
) -> list[Found]:
    width = band_width_px(rows, columns)
    length = len(rows) / width
    widest = floor.pixels(settings.drop_width_m)
    fall = fall_of(floor, slopes, rows, columns, widest)
    narrow = float(np.clip((1.0 + SOFT - fall.width_px / widest) / (2.0 * SOFT), 0.0, 1.0))
    error = np.sqrt(2.0) * _typical(floor, rows, columns)
    if (
        length < max(floor.pixels(settings.drop_length_m), 1.5 * width)
        or width > widest
        or narrow < LEAST_NARROW
        or fall.height_m < max(settings.drop_relief_m, settings.sigmas * error)
    ):
        return []
    anchor = middle_of_most(rows, columns, floor.slope_deg[rows, columns])
    sure = narrow * confidence_of(fall.height_m, settings.drop_relief_m, error)
    return [Found("drop-off", rows, columns, anchor, fall.height_m, sure, fall.steep_deg)]


def find_ledges(floor: Floor, settings: TerrainSettings) -> list[Found]:
    """Gentle steps with steeper floor both above and below within reach; relief is the lesser of rise and drop."""
    reach = floor.pixels(settings.ledge_reach_m)
    broad = smoothed(floor.depth_m, reach / 2.0)
    east, south = horn_gradient(broad, 1.0)
    fall = np.hypot(east, south)
    gentle = np.nan_to_num(floor.slope_deg, nan=90.0) <= settings.ledge_deg
    worth = gentle & (np.nan_to_num(fall) / floor.pixel_m >= 0.5 * np.tan(np.radians(settings.ledge_side_deg)))
    rows, columns = np.nonzero(worth)
    if not len(rows):
        return []
    away = np.column_stack([south[worth], east[worth]]) / fall[worth][:, None]
    steep_down, drop = _looking(floor, rows, columns, away, reach)
    steep_up, rise = _looking(floor, rows, columns, -away, reach)
    side = np.maximum(settings.ledge_side_deg, LEDGE_SIDES * floor.slope_deg[worth])
    step = np.zeros_like(floor.seen)
    step[worth] = (steep_down >= side) & (steep_up >= side)
    relief_m = np.zeros(floor.depth_m.shape)
    relief_m[worth] = np.minimum(drop, -rise)
    return [
        ledge for group in connected(step, settings.ledge_area_m2 / floor.pixel_m**2)
        for piece in sections(*group, floor.pixels(settings.section_m), floor.ground_corner)
        for ledge in _ledge(*piece, relief_m, floor, settings)
    ]


def _looking(floor: Floor, rows: Ints, columns: Ints, away: Floats, reach_px: float) -> tuple[Floats, Floats]:
    """Steepest slope met [deg] and change of depth [m] at the end, along ``away`` (k, 2; row, column) to reach."""
    steepest, change = np.zeros(len(rows)), np.zeros(len(rows))
    here = floor.depth_m[rows, columns]
    for distance in np.arange(1.0, reach_px + 0.5):
        r = np.clip(np.rint(rows + away[:, 0] * distance).astype(int), 0, floor.depth_m.shape[0] - 1)
        c = np.clip(np.rint(columns + away[:, 1] * distance).astype(int), 0, floor.depth_m.shape[1] - 1)
        steepest = np.fmax(steepest, floor.slope_deg[r, c])
        change = np.where(floor.seen[r, c], floor.depth_m[r, c] - here, change)
    return steepest, change


def _ledge(rows: Ints, columns: Ints, relief_m: Floats, floor: Floor, settings: TerrainSettings) -> list[Found]:
    relief = float(np.median(relief_m[rows, columns]))
    error = np.sqrt(2.0) * _typical(floor, rows, columns)
    enough = len(rows) * floor.pixel_m**2 >= settings.ledge_area_m2
    if not enough or relief < max(settings.ledge_relief_m, settings.sigmas * error):
        return []
    anchor = _innermost(rows, columns)
    return [Found("ledge", rows, columns, anchor, relief, confidence_of(relief, settings.ledge_relief_m, error))]


def find_flats(floor: Floor, settings: TerrainSettings) -> list[Found]:
    """Wide level floor: slope below the setting over a disc of a fifth of the least flat's width, and everywhere on it.

    Where the depth's error over the width of the flat could hide half that slope, no flat is claimed.
    """
    across = np.sqrt(4.0 * settings.flat_area_m2 / np.pi) / floor.pixel_m
    slope = horn_slope_deg(smoothed(floor.depth_m, across / 10.0), floor.pixel_m)
    level = opened(np.nan_to_num(slope, nan=90.0) <= settings.flat_deg, across / 10.0)
    found: list[Found] = []
    limit = np.tan(np.radians(settings.flat_deg))
    for rows, columns in connected(level, settings.flat_area_m2 / floor.pixel_m**2):
        width_m = np.sqrt(4.0 * len(rows) / np.pi) * floor.pixel_m
        error = np.sqrt(2.0) * _typical(floor, rows, columns) / width_m
        if error > limit / 2.0:
            continue
        tilt = float(np.tan(np.radians(slope[rows, columns])).mean())
        low, high = np.percentile(floor.depth_m[rows, columns], [5, 95])
        found.append(Found("flat", rows, columns, _innermost(rows, columns), float(high - low),
                           confidence_of(limit, tilt, float(error))))
    return found


def _typical(floor: Floor, rows: Ints, columns: Ints) -> float:
    mask = np.zeros_like(floor.seen)
    mask[rows, columns] = True
    return floor.typical_sigma_m(mask)


def _innermost(rows: Ints, columns: Ints) -> tuple[int, int]:
    window = crop((int(rows.max()) + 1, int(columns.max()) + 1), rows, columns, 0)
    mask = np.zeros((window[0].stop - window[0].start, window[1].stop - window[1].start), bool)
    mask[rows - window[0].start, columns - window[1].start] = True
    return middle_of_most(rows, columns, distance_px(mask)[rows - window[0].start, columns - window[1].start])
