"""All kinds of features of one floor."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lakemap.model.surface import Surface
from lakemap.model.terrain import Features
from lakemap.terrain.bands import find_drop_offs, find_flats, find_ledges
from lakemap.terrain.channels import find_channels
from lakemap.terrain.closed import find_holes, find_humps
from lakemap.terrain.floor import prepare_floor
from lakemap.terrain.found import Found, as_features
from lakemap.terrain.points import find_points
from lakemap.terrain.regions import within_px
from lakemap.terrain.saddles import find_saddles
from lakemap.terrain.settings import TerrainSettings

SIDES_PX = 3.0
"""A hump's sides reach a little beyond its outline and are no drop-off."""


def find_features(depth: Surface, settings: TerrainSettings) -> Features:
    """Humps, holes, drop-offs, ledges, flats, points, saddles, channels and their outside bends.

    None of them could be made by the surface's error.

    Each with outline, anchor, relief, area, mean slope, depth at the anchor, and the probability that its true relief
    exceeds the least one of the settings.
    """
    floor = prepare_floor(depth, settings.smooth_m)
    humps = find_humps(floor, settings)
    closed = humps + find_holes(floor, settings)
    shape = floor.seen.shape
    found = (
        closed
        + find_drop_offs(floor, settings, within_px(_grounds(closed, shape), SIDES_PX))
        + find_ledges(floor, settings)
        + find_flats(floor, settings)
        + find_points(floor, settings, _grounds(humps, shape))
        + find_saddles(floor, settings)
        + find_channels(floor, settings)
    )
    return as_features(found, floor)


def _grounds(found: list[Found], shape: tuple[int, ...]) -> NDArray[np.bool_]:
    mask = np.zeros(shape, bool)
    for feature in found:
        mask[feature.rows, feature.columns] = True
    return mask
