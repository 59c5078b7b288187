"""Where a boat may go: water it has driven already and, by choice, open water that is surely deep enough."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt

from lakemap.model.frame import GridFrame

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

SURE = 1.96
"""Standard errors that open water must be deeper than needed: 19 of 20 times on either side."""


@dataclass(frozen=True)
class Boat:
    """``draft_m`` of the boat itself and ``margin_m`` below it; ``lower_m``: how far today's level lies below that of
    the survey (0 or more; a higher level is not counted on)."""

    draft_m: float
    margin_m: float = 0.3
    lower_m: float = 0.0

    @property
    def needs_m(self) -> float:
        """Mapped depth that the boat needs today."""
        return self.draft_m + self.margin_m + max(self.lower_m, 0.0)


def driven_water(frame: GridFrame, xy: Floats, depth_m: Floats, half_width_m: float, boat: Boat) -> Mask:
    """Pixels (rows, columns) within ``half_width_m`` of soundings xy (n, 2) whose depth (n,) was enough for the boat.

    A place where any sounding nearby was too shallow stays closed: a stump beside the track is a stump.
    """
    enough = depth_m >= boat.needs_m
    open_ = _near(frame, xy[enough], half_width_m)
    shallow = _near(frame, xy[~enough], frame.pixel_m)
    return open_ & ~shallow & frame.water


def open_water(frame: GridFrame, depth_m: Floats, sigma_m: Floats, common_m: float, boat: Boat) -> Mask:
    """Pixels whose mapped depth exceeds what the boat needs by SURE standard errors and the common error together."""
    error = SURE * np.hypot(sigma_m, common_m)
    return np.asarray(np.nan_to_num(depth_m - error, nan=-np.inf) >= boat.needs_m) & frame.water


def _near(frame: GridFrame, xy: Floats, distance_m: float) -> Mask:
    row, column, inside = frame.pixel_of(xy[:, 0], xy[:, 1])
    if not inside.any():
        return np.zeros(frame.shape, dtype=bool)
    away = np.ones(frame.shape, dtype=bool)
    away[row[inside], column[inside]] = False
    return np.asarray(distance_transform_edt(away) * frame.pixel_m <= distance_m)
