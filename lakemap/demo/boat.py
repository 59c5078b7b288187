"""The invented boat: how it sails its legs, and where its GPS says it is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.signal import lfilter

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

STEP_S = 0.25
"""Time between the places kept of a track."""
JOIN_M, AFLOAT_M = 90.0, 8.0
"""The recorder keeps running on the way to the next leg if that is this near and the way stays this far from shore."""
CORNER_S, WANDER_S, WANDER_M = 1.5, 15.0, 1.5
"""How long a turn takes, and how slowly and far (one standard deviation) the boat strays from its leg."""
GPS_DRIFT_M, GPS_DRIFT_S, GPS_JITTER_M = 0.7, 60.0, 0.15
"""Error of a fix in each direction: a slow part with its memory, and a part of its own (one standard deviation)."""


@dataclass(frozen=True)
class Track:
    """Where the boat truly was, each STEP_S: time since 1970 (n,), place (n,) [m], number of the leg (n,), and of
    the run of the recorder (n,)."""

    time_s: Floats
    x_m: Floats
    y_m: Floats
    leg: Ints
    run: Ints

    def moments(self, every_s: float, from_s: float = 0.0) -> Floats:
        """Times at whole multiples of ``every_s`` plus ``from_s``, within the runs; each run starts 1 s in."""
        parts = []
        for start, end in _run_ends(self.run):
            first = np.ceil(self.time_s[start] + 1.0)
            parts.append(np.arange(first + from_s, self.time_s[end], every_s))
        return np.concatenate(parts)

    def at(self, time_s: Floats) -> tuple[Floats, Floats]:
        """True place at times (m,) within the runs."""
        return np.interp(time_s, self.time_s, self.x_m), np.interp(time_s, self.time_s, self.y_m)

    def leg_at(self, time_s: Floats) -> Ints:
        """Number of the leg at times (m,)."""
        return self.leg[np.clip(np.searchsorted(self.time_s, time_s), 0, len(self.leg) - 1)]


def _run_ends(run: Ints) -> list[tuple[int, int]]:
    cuts = np.flatnonzero(np.diff(run)) + 1
    return list(zip([0, *cuts.tolist()], [*(cuts - 1).tolist(), len(run) - 1], strict=True))


def sail(
    legs: list[Floats], water: shapely.Polygon, speed_mps: float, start_s: float, rng: np.random.Generator
) -> Track:
    """Sail the legs in their order; the recorder pauses on ways over land or farther than JOIN_M."""
    afloat = water.buffer(-AFLOAT_M)
    shapely.prepare(afloat)
    parts, clock_s = [], start_s
    for run, numbers in enumerate(_joined(legs, afloat)):
        xy, leg = _run_places(legs, numbers, speed_mps, rng)
        time_s = clock_s + STEP_S * np.arange(len(xy))
        parts.append((time_s, xy[:, 0], xy[:, 1], leg, np.full(len(xy), run)))
        clock_s = float(np.ceil(time_s[-1])) + 180.0
    return Track(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def _joined(legs: list[Floats], afloat: shapely.Polygon) -> list[list[int]]:
    """Numbers of the legs of each run."""
    runs = [[0]]
    for number in range(1, len(legs)):
        way = shapely.LineString([legs[number - 1][-1], legs[number][0]])
        if way.length <= JOIN_M and shapely.contains(afloat, way):
            runs[-1].append(number)
        else:
            runs.append([number])
    return runs


def _run_places(
    legs: list[Floats], numbers: list[int], speed_mps: float, rng: np.random.Generator
) -> tuple[Floats, Ints]:
    """Places each STEP_S along the legs of one run, and the leg of each; the way to a leg belongs to the one before."""
    corners = np.concatenate([legs[number] for number in numbers])
    starts = np.cumsum([0] + [len(legs[number]) for number in numbers])[:-1]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(corners, axis=0).T))])
    at = np.arange(0.0, along[-1], speed_mps * STEP_S)
    xy = np.column_stack([np.interp(at, along, corners[:, 0]), np.interp(at, along, corners[:, 1])])
    xy = gaussian_filter1d(xy, CORNER_S / STEP_S, axis=0, mode="nearest")
    leg = np.asarray(numbers)[np.searchsorted(along[starts], at, side="right") - 1]
    stray = gaussian_filter1d(rng.standard_normal(xy.shape), WANDER_S / STEP_S, axis=0)
    # A white noise smoothed over s samples has a standard deviation of 1/sqrt(2 s sqrt(pi)).
    return xy + WANDER_M * np.sqrt(2.0 * np.sqrt(np.pi) * WANDER_S / STEP_S) * stray, leg


def gps_error_m(n: int, rng: np.random.Generator, step_s: float = 1.0) -> Floats:
    """Error of n fixes one ``step_s`` apart (n, 2) [m]: a first-order drift and jitter."""
    memory = np.exp(-step_s / GPS_DRIFT_S)
    kicks = GPS_DRIFT_M * np.sqrt(1.0 - memory**2) * rng.standard_normal((n + 600, 2))
    drift = lfilter([1.0], [1.0, -memory], kicks, axis=0)[600:]
    return np.asarray(drift + GPS_JITTER_M * rng.standard_normal((n, 2)), dtype=np.float64)
