"""Saddles: places between two highs and, across them, two lows."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lakemap.terrain.floor import Floor, confidence_of
from lakemap.terrain.found import Found
from lakemap.terrain.regions import connected
from lakemap.terrain.settings import TerrainSettings

Floats = NDArray[np.float64]

AXES = 8
"""Directions looked along, each both ways."""

LEAST_PIXELS = 3


def find_saddles(floor: Floor, settings: TerrainSettings) -> list[Found]:
    """Where the floor rises both ways along one axis and falls both ways along another, at ``saddle_reach_m``.

    Relief is the least of the four differences; it must exceed ``sigmas`` errors of a depth difference. (The sign test
    of a critical point, taken at a distance instead of from derivatives; our own form of it.)
    """
    reach = floor.pixels(settings.saddle_reach_m)
    rise, fall = np.full(floor.depth_m.shape, -np.inf), np.full(floor.depth_m.shape, -np.inf)
    for angle in np.arange(AXES) * np.pi / AXES:
        ahead, behind = (_change(floor.depth_m, sign * reach, angle) for sign in (1.0, -1.0))
        rise = np.fmax(rise, np.minimum(-ahead, -behind))
        fall = np.fmax(fall, np.minimum(ahead, behind))
    relief = np.where(floor.seen, np.minimum(rise, fall), -np.inf)
    error = np.sqrt(2.0) * np.nan_to_num(floor.sigma_m)
    strong = relief >= np.maximum(settings.saddle_relief_m, settings.sigmas * error)
    found = []
    for rows, columns in connected(strong, LEAST_PIXELS):
        best = int(np.argmax(relief[rows, columns]))
        anchor = int(rows[best]), int(columns[best])
        sure = confidence_of(float(relief[anchor]), settings.saddle_relief_m, float(error[anchor]))
        found.append(Found("saddle", rows, columns, anchor, float(relief[anchor]), sure))
    return found


def _change(depth_m: Floats, distance_px: float, angle: float) -> Floats:
    """Depth at a distance along an angle less depth here; NaN beyond the frame or where not seen."""
    down, right = round(distance_px * np.sin(angle)), round(distance_px * np.cos(angle))
    out = np.full(depth_m.shape, np.nan)
    rows, columns = depth_m.shape
    if abs(down) >= rows or abs(right) >= columns:
        return out
    here = slice(max(0, -down), rows - max(0, down)), slice(max(0, -right), columns - max(0, right))
    there = slice(max(0, down), rows - max(0, -down)), slice(max(0, right), columns - max(0, -right))
    out[here] = depth_m[there] - depth_m[here]
    return out
