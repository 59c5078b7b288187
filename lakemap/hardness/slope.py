"""How steep the floor is under each row: along its own pass, and from a depth surface where one is handed in."""

from __future__ import annotations

import numpy as np

from lakemap.geo.floor_along import running_floor, sailed_line
from lakemap.hardness.reading import Floats
from lakemap.model.soundings import Soundings

WINDOW_M = 9.0
"""Half length of the window along the pass: about a footprint at 25 m (common beams), longer than most cover."""
SEEN_SHARE = 0.94
"""Windows and surfaces smooth a slope: so much of it is seen (invented lakes of tests/bench that are not reported)."""


def slope_of_rows(soundings: Soundings, on_surface_deg: Floats | None = None) -> Floats:
    """Slope [degrees] under each row (n,), 0 where nothing tells it.

    A pass sees only the part of a slope that lies along it, so the larger of that and the surface's counts.
    """
    slope = np.zeros(len(soundings))
    line = sailed_line(soundings, soundings.usable())
    slope[line.rows] = np.degrees(np.arctan(np.abs(running_floor(line, WINDOW_M).slope)))
    if on_surface_deg is not None:
        slope = np.fmax(slope, on_surface_deg)
    return slope / SEEN_SHARE
