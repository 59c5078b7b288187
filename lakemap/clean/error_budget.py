"""The error of each depth, written once: what varies from row to row (sigma) and, apart, what all depths share."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lakemap.clean.settings import CleanSettings
from lakemap.geo.floor_along import MAD_TO_SIGMA, Floor, SailedLine
from lakemap.model.soundings import Soundings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CONSTANT_M, SHARE = 0.05, 0.01
"""Error of one reading without its place: display step and pulse, and 1 % of depth for beam, roll and waves.

Common practice of the trade, and an assumption: twice that (95 %) lies inside the allowance of S-44 order 1, 0.5 m and
1.3 % of depth (IHO S-44 ed. 6.1.0, table 1). Where a pass scatters more than this, its own scatter counts.
"""
UNKNOWN_OFFSET_M = 0.3
"""Common error when draft or reference of the depths is not known; contract of the project."""
KNOWN_OFFSET_M = 0.05
"""Common error of a draft that was measured: load and trim; common practice of the trade."""
UNKNOWN_SCALE = 0.015
"""Common error when sound speed is not known: 1500 m/s taken in water of 10 to 30 degC (1447 to 1509 m/s, Marczak)."""
KNOWN_SCALE = 0.003
"""One degree Celsius of error in the mean temperature, at 10 degC (Marczak 1997)."""
GRADIENT_FACTOR = float(np.sqrt(2.0))
"""The slope along a pass is one of two components; on an average course the whole slope is larger by this."""


def common_error(offset_known: bool, speed_known: bool) -> tuple[float, float]:
    """Standard error that all depths share [m], and share of depth that they share; positions do not enter here."""
    return (
        KNOWN_OFFSET_M if offset_known else UNKNOWN_OFFSET_M,
        KNOWN_SCALE if speed_known else UNKNOWN_SCALE,
    )


def reading_sigma_m(depth_m: Floats) -> Floats:
    """Assumed standard error of a reading without its place [m]; depth_m (n,)."""
    return np.hypot(CONSTANT_M, SHARE * depth_m)


def add_errors(soundings: Soundings, line: SailedLine, floor: Floor, settings: CleanSettings) -> Soundings:
    """Fill ``position_sigma_m`` where the log did not, and ``depth_sigma_m`` (n,) for rows with a depth.

    ``line`` and its running ``floor`` tell scatter and slope where there is a pass;
    sigma^2 = max(assumed, scatter along the pass)^2 + (slope times position error)^2.
    """
    place = soundings.position_sigma_m.astype(np.float64)
    place = np.where(np.isfinite(place), place, settings.position_sigma_m)
    noise, slope = reading_sigma_m(np.nan_to_num(soundings.depth_m)), _slope_between(soundings)
    noise[line.rows] = np.maximum(noise[line.rows], floor.scatter_m)
    slope[line.rows] = GRADIENT_FACTOR * np.abs(floor.slope)
    sigma = np.where(np.isfinite(soundings.depth_m), np.hypot(noise, slope * place), np.nan)
    return soundings.with_columns(position_sigma_m=place, depth_sigma_m=sigma)


def _slope_between(soundings: Soundings) -> Floats:
    """Usual slope from each usable row to the nearest one, as one number for all rows (n,): for rows of no pass."""
    rows = np.flatnonzero(soundings.usable() & (soundings.pass_id < 0) & np.isfinite(soundings.x_m + soundings.depth_m))
    if len(rows) < 3:
        return np.zeros(len(soundings))
    xy = np.column_stack([soundings.x_m[rows], soundings.y_m[rows]])
    distance, nearest = (column[:, 1] for column in cKDTree(xy).query(xy, k=2))
    apart = distance > 0
    if not apart.any():
        return np.zeros(len(soundings))
    fall = np.abs(soundings.depth_m[rows] - soundings.depth_m[rows[nearest]])[apart] / distance[apart]
    return np.full(len(soundings), GRADIENT_FACTOR * MAD_TO_SIGMA * float(np.median(fall)))
