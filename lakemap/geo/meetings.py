"""Places where two passes tell the depth of one place twice, with how fast each saw it change: for latency and the
error of fixes.

Crossovers, and side by side stretches of passes run in opposite directions, which cross at no angle worth the name.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lakemap.geo.crossovers import find_crossovers
from lakemap.geo.floor_along import Floor, SailedLine
from lakemap.geo.motion import SLOWEST_MPS, Motion
from lakemap.model.soundings import NO_PASS, Soundings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

BESIDE_M = 4.0
"""Opposite passes this near to each other run over the same floor, within the error of fixes."""
EVERY_M = 5.0
"""Such stretches are compared at one place in so many metres."""
OPPOSITE_COS = -0.9
"""Courses that differ by more than some 155 degrees."""
BREAK_S = 1e6


@dataclass(frozen=True)
class Meetings:
    """k meetings. For each side a and b: ``row`` into Soundings, ``at`` the moment [s] on the line's running clock,
    ``rate`` at which the depth changes there [m/s]. ``gx, gy`` the floor's gradient as far as the two tell it,
    ``noise_m`` the standard error of the two depths' difference without the error of the fixes.
    """

    row_a: Ints
    row_b: Ints
    at_a: Floats
    at_b: Floats
    rate_a: Floats
    rate_b: Floats
    gx: Floats
    gy: Floats
    noise_m: Floats

    def __len__(self) -> int:
        return len(self.row_a)

    def take(self, which: NDArray[Any]) -> Self:
        """Some of them, by index or mask."""
        return type(self)(**{spec.name: getattr(self, spec.name)[which] for spec in fields(self)})


@dataclass(frozen=True)
class Sailed:
    """What the rows of a line say along the way: running clock (m,) [s] with breaks, depth (m,) [m], and for all rows
    of the log (n,): slope along the pass, speed, unit course, scatter, and place in the line (-1: none)."""

    clock_s: Floats
    depth_m: Floats
    slope: Floats
    moved: Motion
    scatter_m: Floats
    place: Ints

    def depth_at(self, at_s: Floats) -> Floats:
        """Depth at moments of the running clock [m], straight between rows; NaN in breaks."""
        right = np.clip(np.searchsorted(self.clock_s, at_s), 1, len(self.clock_s) - 1)
        span = self.clock_s[right] - self.clock_s[right - 1]
        share = (at_s - self.clock_s[right - 1]) / np.where(span > 0, span, 1.0)
        depth = self.depth_m[right - 1] * (1 - share) + self.depth_m[right] * share
        return np.where((share >= 0) & (share <= 1) & (span < BREAK_S / 2), depth, np.nan)

    def clock_of(self, rows: Ints, x_m: Floats, y_m: Floats, soundings: Soundings) -> Floats:
        """Moment at which the pass of ``rows`` (k,) was abreast of places near them [s]."""
        speed = np.maximum(self.moved.speed_mps[rows], 1e-9)
        dx, dy = x_m - soundings.x_m[rows], y_m - soundings.y_m[rows]
        ahead = (dx * self.moved.vx_mps[rows] + dy * self.moved.vy_mps[rows]) / speed
        return np.asarray(self.clock_s[self.place[rows]] + ahead / speed)


def as_sailed(soundings: Soundings, line: SailedLine, floor: Floor, moved: Motion) -> Sailed:
    """Gather what ``line`` and its ``floor`` say, depths as corrected so far (``depth_m``)."""
    n = len(soundings)
    place, slope, scatter = np.full(n, -1), np.full(n, np.nan), np.full(n, np.nan)
    place[line.rows], slope[line.rows], scatter[line.rows] = np.arange(len(line)), floor.slope, floor.scatter_m
    dt = np.diff(soundings.time_s[line.rows])
    broken = (line.start[1:] != line.start[:-1]) | ~(dt >= 0)
    clock = np.concatenate([[0.0], np.cumsum(np.where(broken, BREAK_S, dt))])[: len(line)]
    return Sailed(clock, soundings.depth_m[line.rows], slope, moved, scatter, place)


def find_meetings(soundings: Soundings, sailed: Sailed) -> Meetings:
    """Crossovers and opposite stretches side by side, where both boats moved; in canonical order."""
    crossed = find_crossovers(soundings)
    rows_a, rows_b, x, y = crossed.row_a, crossed.row_b, crossed.x_m, crossed.y_m
    beside_a, beside_b = _side_by_side(soundings, sailed)
    known = (_moving(sailed, rows_a) & _moving(sailed, rows_b)) if len(rows_a) else np.zeros(0, bool)
    a = np.concatenate([rows_a[known], beside_a])
    b = np.concatenate([rows_b[known], beside_b])
    x_m = np.concatenate([x[known], soundings.x_m[beside_a]])
    y_m = np.concatenate([y[known], soundings.y_m[beside_a]])
    gx, gy = _gradient(sailed, a, b)
    aside = np.hypot(soundings.x_m[b] - x_m, soundings.y_m[b] - y_m) * (np.arange(len(a)) >= known.sum())
    noise = np.hypot(np.hypot(sailed.scatter_m[a], sailed.scatter_m[b]), np.hypot(gx, gy) * aside)
    speed = sailed.moved.speed_mps
    return Meetings(
        a, b, sailed.clock_of(a, x_m, y_m, soundings), sailed.clock_of(b, x_m, y_m, soundings),
        sailed.slope[a] * speed[a], sailed.slope[b] * speed[b], gx, gy, noise,
    )


def _moving(sailed: Sailed, rows: Ints) -> Bools:
    speed = sailed.moved.speed_mps[rows]
    return np.asarray((speed >= SLOWEST_MPS) & (sailed.place[rows] >= 0))


def _gradient(sailed: Sailed, a: Ints, b: Ints) -> tuple[Floats, Floats]:
    """The floor's gradient that gives both slopes along their courses; along the one course where they run alike."""
    ux, uy, vx, vy = (
        velocity[rows] / np.maximum(sailed.moved.speed_mps[rows], 1e-9)
        for rows in (a, b) for velocity in (sailed.moved.vx_mps, sailed.moved.vy_mps)
    )
    cross = ux * vy - uy * vx
    slope_a, slope_b = sailed.slope[a], sailed.slope[b]
    skew = np.abs(cross) > 0.2
    safe = np.where(skew, cross, 1.0)
    same = np.sign(ux * vx + uy * vy)
    mean = (slope_a + same * slope_b) / 2
    gx = np.where(skew, (slope_a * vy - slope_b * uy) / safe, mean * ux)
    gy = np.where(skew, (slope_b * ux - slope_a * vx) / safe, mean * uy)
    return gx, gy


def _side_by_side(soundings: Soundings, sailed: Sailed) -> tuple[Ints, Ints]:
    """Rows a and b (k,) of passes that run in opposite directions within BESIDE_M, once in EVERY_M of pass a."""
    from lakemap.geo.crossing_kernel import thin

    rows = np.flatnonzero((sailed.place >= 0) & (soundings.pass_id != NO_PASS) & soundings.usable())
    rows = rows[_moving(sailed, rows)]
    rows = rows[np.argsort(soundings.pass_id[rows], kind="stable")]
    x, y, number = soundings.x_m[rows], soundings.y_m[rows], soundings.pass_id[rows].astype(np.int64)
    rows = rows[thin(x, y, number, EVERY_M / 2)]
    if len(rows) < 2:
        return np.empty(0, np.int64), np.empty(0, np.int64)
    xy = np.column_stack([soundings.x_m[rows], soundings.y_m[rows]])
    pairs = cKDTree(xy).query_pairs(BESIDE_M, output_type="ndarray")
    a, b = (np.asarray(rows[pairs[:, side]], np.int64) for side in (0, 1))
    vx, vy, speed = sailed.moved.vx_mps, sailed.moved.vy_mps, sailed.moved.speed_mps
    opposite = vx[a] * vx[b] + vy[a] * vy[b] < OPPOSITE_COS * speed[a] * speed[b]
    opposite &= soundings.pass_id[a] != soundings.pass_id[b]
    a, b = a[opposite], b[opposite]
    away = np.hypot(soundings.x_m[a] - soundings.x_m[b], soundings.y_m[a] - soundings.y_m[b])
    return _nearest_of_each(soundings, a, b, away)


def _nearest_of_each(soundings: Soundings, a: Ints, b: Ints, away: Floats) -> tuple[Ints, Ints]:
    """For each stretch of EVERY_M of a pass and each other pass, the pair that lies nearest."""
    square = np.floor(np.column_stack([soundings.x_m[a], soundings.y_m[a]]) / EVERY_M).astype(np.int64)
    keys = (soundings.pass_id[a], soundings.pass_id[b], square[:, 0], square[:, 1])
    order = np.lexsort((b, a, away, *keys[::-1]))
    if len(order) == 0:
        return a, b
    changed = np.any([np.diff(key[order]) != 0 for key in keys], axis=0)
    first = order[np.concatenate([[True], changed])]
    first = np.sort(first)
    return a[first], b[first]
