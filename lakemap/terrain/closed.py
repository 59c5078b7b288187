"""Humps and holes: closed highs and lows that stand out from the floor around them.

The surface is cut at many levels. Each local high is followed down as the closed region around it grows, until the
region meets another high of enough relief, meets the end of the data, or suddenly spreads over the floor. What
stands on the region's edge by more than its error can explain is a hump. Holes are humps of the surface upside down.
(The growing regions are those of a topographic prominence tree; the rules of when to stop are our own.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from lakemap.terrain.floor import Floor, confidence_of
from lakemap.terrain.found import Found
from lakemap.terrain.regions import EIGHT, crop, middle_of_most, within_px
from lakemap.terrain.settings import TerrainSettings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]

LEVELS_PER_RELIEF = 3
LEVELS_AT_MOST = 160
SPREAD = 4.0
"""A region that grows more than so many times between two levels has spilled over the floor (our own choice)."""

OUTSIDE_SHARE = 1.5
"""A basin goes on rising outward of any line drawn in it: as far out again as the line is from the middle, a cone by as
much as within the line, a paraboloid by three times as much. A hole or hump has less than this (our own choice)."""


def find_humps(floor: Floor, settings: TerrainSettings) -> list[Found]:
    """Closed highs of the floor with more relief than the setting and than ``sigmas`` standard errors."""
    return _closed("hump", -floor.depth_m, floor, settings)


def find_holes(floor: Floor, settings: TerrainSettings) -> list[Found]:
    """Closed lows of the floor, found as humps of the surface upside down."""
    return _closed("hole", floor.depth_m, floor, settings)


def _closed(kind: str, height_m: Floats, floor: Floor, settings: TerrainSettings) -> list[Found]:
    if not floor.seen.any():
        return []
    pixel_m2 = floor.pixel_m**2
    area = max(settings.closed_area_m2 / pixel_m2, 4.0)
    widest = min(np.pi * settings.closed_radius_m**2 / pixel_m2, 0.2 * np.count_nonzero(floor.seen))
    followed = _follow(height_m, floor.seen, settings.closed_relief_m, widest)
    found: list[Found] = []
    for level in np.unique(followed.level_m):
        labels, _ = ndimage.label(_above(height_m, level), structure=EIGHT)
        windows = ndimage.find_objects(labels)
        for row, column in followed.peaks[followed.level_m == level].tolist():
            number = labels[row, column]
            window = windows[number - 1]
            rows, columns = np.nonzero(labels[window] == number)
            if len(rows) >= area:
                pixels = rows + window[0].start, columns + window[1].start
                found += _judged(kind, height_m, pixels, (row, column), floor, settings)
    return found


@dataclass
class _Highs:
    """Local highs being followed (k,): peak pixel, its height, the last level at which its region was closed."""

    peaks: Ints
    height_m: Floats
    level_m: Floats
    area: Floats

    def take(self, rows: NDArray[np.generic]) -> _Highs:
        return _Highs(self.peaks[rows], self.height_m[rows], self.level_m[rows], self.area[rows])

    def joined(self, other: _Highs) -> _Highs:
        return _Highs(
            np.concatenate([self.peaks, other.peaks]), np.concatenate([self.height_m, other.height_m]),
            np.concatenate([self.level_m, other.level_m]), np.concatenate([self.area, other.area]),
        )


def _above(height_m: Floats, level_m: float) -> Mask:
    return np.asarray(np.where(np.isfinite(height_m), height_m, -np.inf) > level_m)


def _local_highs(height_m: Floats) -> _Highs:
    filled = np.where(np.isfinite(height_m), height_m, -np.inf)
    top = (filled == ndimage.maximum_filter(filled, size=3, mode="nearest")) & np.isfinite(height_m)
    peaks = np.argwhere(top)
    height = height_m[top]
    order = np.lexsort([peaks[:, 1], peaks[:, 0], -height])
    return _Highs(peaks[order], height[order], height[order], np.ones(len(order)))


def _levels(height_m: Floats, relief_m: float) -> Floats:
    low, high = np.nanmin(height_m), np.nanmax(height_m)
    step = max(relief_m / LEVELS_PER_RELIEF, (high - low) / LEVELS_AT_MOST)
    return np.arange(np.ceil(high / step) - 1, np.floor(low / step) - 1, -1) * step


def _follow(height_m: Floats, seen: Mask, relief_m: float, widest_px: float) -> _Highs:
    edge = seen & ~ndimage.binary_erosion(seen, structure=EIGHT, border_value=0)
    waiting, active, done = _local_highs(height_m), _Highs(np.empty((0, 2), int), *3 * (np.empty(0),)), []
    spent = np.empty((0, 2), int)
    for level in _levels(height_m, relief_m):
        begun = waiting.height_m > level
        active, waiting = active.joined(waiting.take(begun)), waiting.take(~begun)
        if not len(active.height_m):
            continue
        labels, count = ndimage.label(_above(height_m, level), structure=EIGHT)
        area = np.bincount(labels.ravel(), minlength=count + 1)
        over = (np.bincount(labels[edge], minlength=count + 1) > 0) | (area > widest_px)
        over[labels[spent[:, 0], spent[:, 1]]] = True
        mine = labels[active.peaks[:, 0], active.peaks[:, 1]]
        strong = active.height_m - active.level_m >= relief_m
        over |= np.bincount(mine, weights=active.height_m - level >= relief_m, minlength=count + 1) > 1.5
        stop = over[mine] | (strong & (area[mine] > SPREAD * active.area))
        spent = np.concatenate([spent, active.peaks[stop]])
        done.append(active.take(stop & strong))
        active = _highest_of_each(active.take(~stop), mine[~stop], level, area)
    last = active.take(active.height_m - active.level_m >= relief_m)
    return _Highs.joined(last, done[0]) if len(done) == 1 else _joined([last, *done])


def _joined(parts: list[_Highs]) -> _Highs:
    whole = parts[0]
    for part in parts[1:]:
        if len(part.height_m):
            whole = whole.joined(part)
    return whole


def _highest_of_each(active: _Highs, region: Ints, level_m: float, area: Ints) -> _Highs:
    order = np.lexsort([active.peaks[:, 1], active.peaks[:, 0], -active.height_m, region])
    first = np.ones(len(order), bool)
    first[1:] = region[order][1:] != region[order][:-1]
    kept = active.take(order[first])
    kept.level_m = np.full(len(kept.height_m), level_m)
    kept.area = area[region[order[first]]].astype(float)
    return kept


def _judged(
    kind: str, height_m: Floats, pixels: tuple[Ints, Ints], peak: tuple[int, int], floor: Floor,
    settings: TerrainSettings,
) -> list[Found]:
    radius = float(np.sqrt(len(pixels[0]) / np.pi))
    window = crop(floor.depth_m.shape, *pixels, 2.0 * radius + 3.0)
    inside = np.zeros_like(floor.seen[window])
    inside[pixels[0] - window[0].start, pixels[1] - window[1].start] = True
    seen, height, sigma = floor.seen[window], height_m[window], floor.sigma_m[window]
    near = within_px(inside, 2.5) & ~inside & seen
    beyond = within_px(inside, radius + 2.5) & ~within_px(inside, max(radius - 1.0, 2.5)) & seen
    if not near.any():
        return []
    base = float(height[near].mean())
    relief = float(height_m[peak]) - base
    outside = base - float(height[beyond].mean()) if beyond.any() else 0.0
    known = sigma[near & np.isfinite(sigma)]
    error = float(np.hypot(np.nan_to_num(floor.sigma_m[peak]), np.median(known) if len(known) else 0.0))
    if relief < max(settings.closed_relief_m, settings.sigmas * error) or outside > OUTSIDE_SHARE * relief:
        return []
    anchor = middle_of_most(*pixels, height_m[pixels] - height_m[pixels].min())
    return [Found(kind, *pixels, anchor, relief, confidence_of(relief, settings.closed_relief_m, error))]
