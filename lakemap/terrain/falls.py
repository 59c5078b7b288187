"""Height, steepness and width of a drop-off: its slope followed up and down from the steep part until it eases."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from lakemap.terrain.floor import Floor
from lakemap.terrain.slope import horn_gradient

Mask = NDArray[np.bool_]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

EASED = 0.3
"""The top and the foot of a drop-off are where its slope has come down to this share of what it is steeper in its steep
part than the floor around (own choice): the rest of a bank is not its height."""

BANK = 0.6
"""Where the floor is this share as steep it belongs to the same slope: single pixels of a bank are steeper by chance,
and do not make it narrow (own choice)."""

NONE_NEAR = 0.02
"""Where less than this share of the floor nearby is plain, all of it is a bank: the slope itself counts as around."""


@dataclass(frozen=True)
class Slopes:
    """Change of depth per metre ``east``ward and ``south``ward, and the slope of the floor ``around`` [deg] that is in
    no band of slope; each (rows, columns)."""

    east: Floats
    south: Floats
    around_deg: Floats

    @classmethod
    def of(cls, floor: Floor, band: Mask, radius_px: float) -> Slopes:
        """``band``: pixels in bands of slope; what counts as around ends at some ``radius_px``."""
        plain = floor.seen & ~band & np.isfinite(floor.slope_deg)
        near = ndimage.gaussian_filter(plain.astype(np.float64), radius_px, mode="constant")
        total = ndimage.gaussian_filter(np.where(plain, floor.slope_deg, 0.0), radius_px, mode="constant")
        around = np.where(near > NONE_NEAR, total / np.maximum(near, NONE_NEAR), np.nan_to_num(floor.slope_deg))
        return cls(*horn_gradient(floor.depth_m, floor.pixel_m), around)


@dataclass(frozen=True)
class Fall:
    """Height [m] and steepness [deg] from top to foot, and width [pixels] of all that is nearly as steep."""

    height_m: float
    steep_deg: float
    width_px: float


def fall_of(floor: Floor, slopes: Slopes, rows: Ints, columns: Ints, widest_px: float) -> Fall:
    """How a band of slope with pixels ``rows, columns`` (k,) falls.

    From each pixel that is at least as steep as the median of the band a straight line goes up and down the fall of
    the floor, half of ``widest_px`` either way for the height, all of it for the width; the median over lines counts.
    """
    slope = floor.slope_deg[rows, columns]
    steep = slope >= np.median(slope)
    start, slope = (rows[steep], columns[steep]), slope[steep]
    east, south = slopes.east[start], slopes.south[start]
    down = np.column_stack([south, east]) / np.maximum(np.hypot(south, east), 1e-12)[:, None]
    around = np.minimum(slopes.around_deg[start], slope)
    least_deg = around + EASED * (slope - around)
    foot_m, below_px = _eased(floor, start, down, least_deg, widest_px / 2.0)
    top_m, above_px = _eased(floor, start, -down, least_deg, widest_px / 2.0)
    height_m = float(np.median(foot_m - top_m))
    run_m = float(np.median(below_px + above_px)) * floor.pixel_m
    wide = [_eased(floor, start, way, BANK * slope, widest_px)[1] for way in (down, -down)]
    steep_deg = float(np.degrees(np.arctan2(height_m, max(run_m, floor.pixel_m))))
    return Fall(height_m, steep_deg, float(np.median(wide[0] + wide[1])))


def _eased(
    floor: Floor, start: tuple[Ints, Ints], way: Floats, least_deg: Floats, most_px: float
) -> tuple[Floats, Floats]:
    """Depth [m] and distance [pixels] (k,) where the slope along ``way`` (k, 2; row, column) falls below a limit."""
    depth_m, gone_px = floor.depth_m[start].copy(), np.zeros(len(least_deg))
    on = np.ones(len(least_deg), dtype=bool)
    for distance in np.arange(1.0, most_px + 0.5):
        row = np.rint(start[0] + way[:, 0] * distance).astype(int)
        column = np.rint(start[1] + way[:, 1] * distance).astype(int)
        on &= (row >= 0) & (column >= 0) & (row < floor.seen.shape[0]) & (column < floor.seen.shape[1])
        row, column = np.where(on, row, 0), np.where(on, column, 0)
        on &= floor.seen[row, column] & (np.nan_to_num(floor.slope_deg[row, column]) >= least_deg)
        depth_m = np.where(on, floor.depth_m[row, column], depth_m)
        gone_px = np.where(on, distance, gone_px)
    return depth_m, gone_px
