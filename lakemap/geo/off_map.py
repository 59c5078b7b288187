"""Dangers and closed areas that lie off the map: mostly latitude and longitude the wrong way round."""

from __future__ import annotations

import numpy as np
import shapely

from lakemap.geo.crs import unproject
from lakemap.model.frame import GridFrame
from lakemap.model.keep_out import ClosedAreas, Hazards
from lakemap.units import plural

FAR_DEG = 0.01
"""What lies about a kilometre off the map is not meant for it (own choice)."""


def off_map_said(frame: GridFrame, hazards: Hazards, closed: ClosedAreas) -> tuple[str, ...]:
    """How many of each kind lie off the map, where they keep nobody out; nothing where all lie on it."""
    west, south, east, north = frame.bounds
    lon, lat = unproject(frame.crs, np.array([west, east, west, east]), np.array([south, south, north, north]))
    around = shapely.box(lon.min() - FAR_DEG, lat.min() - FAR_DEG, lon.max() + FAR_DEG, lat.max() + FAR_DEG)
    told = []
    for word, shapes in (("danger", hazards.shape), ("closed area", closed.shape)):
        far = sum(not shapely.intersects(shape, around) for shape in shapes)
        if far:
            told.append(f"off the map, where they keep nobody out: {far} of {plural(len(shapes), word)}; look whether "
                        "latitude and longitude are the right way round")
    return tuple(told)
