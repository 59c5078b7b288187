"""Points: shallow tongues that reach out from the shore into deeper water.

At each of several depths the deep part of the lake is closed with a disc: what the disc fills is a tongue if it hangs
on the shore side by one end and reaches out farther than it is wide (our own rule, from plain morphology).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from lakemap.terrain.floor import Floor, confidence_of
from lakemap.terrain.found import Found
from lakemap.terrain.regions import EIGHT, closed, connected, crop, within_px
from lakemap.terrain.settings import TerrainSettings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]

LEVELS, LEVEL_SHARES = 12, (0.08, 0.65)
"""Depths tried, as shares of the lake's depth (our own choice)."""

HUMP_MARGIN_M = 15.0
LEAST_EMBRACED = 0.6
"""So much of a tongue lies among water that is deeper than it beyond the error: on a level floor the edge of what is
deep winds about by chance (our own choice)."""
LEAST_LENGTH_PER_WIDTH = 0.5
"""A tongue reaches out at least so many times its width at the root (our own choice)."""


def find_points(floor: Floor, settings: TerrainSettings, humps: Mask) -> list[Found]:
    """Points of the shore; none where no shoreline is known, since a tongue must hang on land.

    A tongue whose tip lies at one of the ``humps`` (rows, columns) is the saddle behind that hump and left to it.
    """
    if not floor.land.any() or not floor.seen.any():
        return []
    depth = floor.depth_m[floor.seen & (np.nan_to_num(floor.depth_m) > 0)]
    if not len(depth):
        return []
    levels = np.linspace(*LEVEL_SHARES, LEVELS) * np.percentile(depth, 99)
    found = [point for level in levels for point in _at_level(float(level), floor, settings)]
    taken = within_px(humps, floor.pixels(HUMP_MARGIN_M))
    return _strongest([point for point in found if not taken[point.anchor]], floor.pixels(settings.point_reach_m))


def _at_level(level_m: float, floor: Floor, settings: TerrainSettings) -> list[Found]:
    deep = floor.seen & (np.nan_to_num(floor.depth_m) >= level_m)
    if not deep.any():
        return []
    filled = closed(deep, floor.pixels(settings.point_reach_m))
    tongue = filled & ~deep
    surely = deep & (floor.depth_m >= level_m + settings.sigmas * np.nan_to_num(floor.sigma_m))
    embraced = closed(surely, floor.pixels(settings.point_reach_m)) if surely.any() else surely
    base, _ = ndimage.label(~filled, structure=EIGHT)
    ashore = np.zeros(int(base.max()) + 1, bool)
    ashore[base[floor.land]] = True
    ashore[0] = False
    hung = ashore[base]
    least = floor.pixels(settings.point_length_m) ** 2 / 3.0
    found: list[Found] = []
    for pixels in connected(tongue, least):
        if np.mean(embraced[pixels]) >= LEAST_EMBRACED:
            found += _tongue(pixels, deep, hung, floor, settings)
    return found


def _tongue(
    pixels: tuple[Ints, Ints], deep: Mask, hung: Mask, floor: Floor, settings: TerrainSettings
) -> list[Found]:
    reach = 0.5 * floor.pixels(settings.point_reach_m)
    window = crop(deep.shape, *pixels, reach + 2.0)
    inside = np.zeros_like(deep[window])
    inside[pixels[0] - window[0].start, pixels[1] - window[1].start] = True
    root = ndimage.binary_dilation(inside, structure=EIGHT) & hung[window]
    _, roots = ndimage.label(within_px(root, 2.0), structure=EIGHT)
    if roots != 1:
        return []
    out = np.where(inside, ndimage.distance_transform_edt(~root), 0.0)
    length, width = float(out.max()), float(np.count_nonzero(root))
    wet = inside & floor.seen[window]
    beside = within_px(inside, reach) & deep[window]
    if (
        length < max(floor.pixels(settings.point_length_m), LEAST_LENGTH_PER_WIDTH * width)
        or np.count_nonzero(wet) < 0.4 * np.count_nonzero(inside)
        or not beside.any()
    ):
        return []
    depth, sigma = floor.depth_m[window], floor.sigma_m[window]
    relief = float(depth[beside].mean() - depth[wet].mean())
    known = sigma[(wet | beside) & np.isfinite(sigma)]
    error = float(np.sqrt(2.0) * np.median(known)) if len(known) else 0.0
    if relief < max(settings.point_relief_m, settings.sigmas * error):
        return []
    tip = np.unravel_index(int(np.argmax(np.where(wet, out, -1.0))), out.shape)
    rows, columns = np.nonzero(wet)
    anchor = int(tip[0]) + window[0].start, int(tip[1]) + window[1].start
    return [Found("point", rows + window[0].start, columns + window[1].start, anchor, relief,
                  confidence_of(relief, settings.point_relief_m, error))]


def _strongest(found: list[Found], apart_px: float) -> list[Found]:
    """Of tongues whose tip lies within ``apart_px`` of another one, that with most relief times area."""
    kept: list[Found] = []
    for point in sorted(found, key=lambda p: (-round(p.relief_m * len(p.rows), 6), p.anchor)):
        if all(_from_tip(point, other) > apart_px for other in kept):
            kept.append(point)
    return kept


def _from_tip(point: Found, other: Found) -> float:
    return float(np.hypot(other.rows - point.anchor[0], other.columns - point.anchor[1]).min())
