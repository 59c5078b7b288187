"""Survey gaps: water whose depth is a guess or was never reached, as outlines, the largest first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import rasterio.features
from numpy.typing import NDArray
from shapely.geometry import shape
from shapely.geometry.base import BaseGeometry

from lakemap.model.lake_map import LakeMap
from lakemap.publish.html_map.sureness import how_sure

LEAST_PIXELS = 25
"""A smaller patch is the grain of the map, not a gap that a pass would be driven for (own choice)."""

GUESS, UNSEEN = "a guess", "not measured"


@dataclass(frozen=True)
class Gap:
    """``why`` it is one, its outline on the frame's CRS and its area [m2]."""

    why: str
    outline: BaseGeometry
    area_m2: float


def gaps(lake_map: LakeMap) -> list[Gap]:
    """Patches of LEAST_PIXELS or more: where the 95 % error of a depth is beyond the page's limit for fair, and water
    inside a known shoreline that no depth reaches.
    """
    frame, depth = lake_map.depth.frame, lake_map.depth
    kind = np.zeros(frame.shape, np.uint8)
    kind[how_sure(depth.estimate.values, depth.sigma.values) == 2] = 1
    if frame.shore_known:
        kind[frame.water & ~np.isfinite(depth.estimate.values)] = 2
    found = _patches(kind, lake_map)
    return sorted(found, key=lambda gap: (-gap.area_m2, gap.why, gap.outline.bounds))


def _patches(kind: NDArray[np.uint8], lake_map: LakeMap) -> list[Gap]:
    frame = lake_map.depth.frame
    least_m2 = LEAST_PIXELS * frame.pixel_m**2
    traced = rasterio.features.shapes(kind, mask=kind > 0, transform=frame.transform)
    outlines = ((shape(outline), GUESS if value == 1 else UNSEEN) for outline, value in traced)
    return [Gap(why, outline, float(outline.area)) for outline, why in outlines if outline.area >= least_m2]
