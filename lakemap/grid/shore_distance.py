"""How far each place is from the shore: what the depth's trend and its growth from the shore go by."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates
from shapely import contains_xy, prepare

from lakemap.geo.bank import bank_distance_m, shore_of
from lakemap.model.frame import GridFrame

Floats = NDArray[np.float64]

MOST_NODES = 100_000
"""Distances are looked up on at most so many nodes, and lie on straight lines between them."""

PLACE_M = 3.0
"""Error of a reading's distance to the shore [m]: its own place, the outline's, and the nodes between which distances
are told (tried on perimeter passes)."""
STRETCH_M = 200.0
"""Side of the squares within which a pass's distances are compared."""


class ShoreDistance:
    """Distance to the nearest bank [m] anywhere on a frame, infinite where none is known; walls are no bank.

    On land it is negative where it is worked out and 0 where it is told.
    """

    def __init__(self, frame: GridFrame | None) -> None:
        shore = shore_of(frame) if frame is not None else None
        self.known = False
        self.widest_m = 0.0
        if frame is None or shore is None:
            return
        west, south, east, north = frame.bounds
        self._step = max(frame.pixel_m, float(np.sqrt((east - west) * (north - south) / MOST_NODES)))
        self._corner = np.array([west, south]) - self._step / 2
        x_m = np.arange(self._corner[0], east + 2 * self._step, self._step)
        y_m = np.arange(self._corner[1], north + 2 * self._step, self._step)
        xy = np.stack(np.meshgrid(x_m, y_m), axis=-1)
        away = bank_distance_m(shore, xy.reshape(-1, 2)).reshape(xy.shape[:2])
        prepare(shore.water)
        wet = contains_xy(shore.water, xy[..., 0], xy[..., 1])
        self.known = bool(np.isfinite(away).all() and wet.any())
        self._signed = np.where(wet, away, -away)
        if self.known:
            self.widest_m = float(np.quantile(away[wet], 0.98))

    def at(self, xy: Floats) -> Floats:
        """Distance (m,) at places (m, 2), 0 on land."""
        if not self.known:
            return np.full(len(xy), np.inf)
        nodes = ((xy - self._corner) / self._step).T[::-1]
        return np.asarray(np.maximum(map_coordinates(self._signed, nodes, order=1, mode="nearest"), 0.0))


def calibrated(distance_m: Floats, xy: Floats, pass_id: NDArray[np.int32]) -> Floats:
    """What each distance (n,) is expected to be in truth: along a stretch of pass that keeps its distance to the bank,
    differences are errors of place, and would teach that the floor is level across.

    Regression calibration (Carroll et al. 2006, Measurement Error in Nonlinear Models, ch. 4; from memory).
    """
    cell = np.floor(xy / STRETCH_M).astype(np.int64)
    cell -= cell.min(axis=0)
    key = (pass_id.astype(np.int64) * (cell[:, 0].max() + 1) + cell[:, 0]) * (cell[:, 1].max() + 1) + cell[:, 1]
    member = np.unique(key, return_inverse=True)[1].reshape(-1)
    count = np.bincount(member)
    mean = (np.bincount(member, distance_m) / count)[member]
    away = distance_m - mean
    spread = (np.bincount(member, away**2) / count)[member]
    true = np.maximum(1.0 - PLACE_M**2 / np.maximum(spread, 1e-9), 0.0)
    return np.asarray(mean + true * away)
