"""The floor along a sailed line: its running level, its slope, and how much readings scatter about it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lakemap.geo.motion import TIME_GAP_S
from lakemap.geo.tracks import GAP_FACTOR, LEAST_GAP_M
from lakemap.model.soundings import NO_PASS, Soundings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

BREAK_M = 10_000.0
"""Added to the distance sailed where the line is broken, so that no window reaches across."""
WINDOW_M = 9.0
"""Half length of the running window: a thing up to this length covers less than half of it, so the median is floor."""
LEAST_ROWS = 3
"""Rows taken on each side even where they lie farther away than WINDOW_M."""
SAMPLES = 25
"""Rows taken from a window, evenly; more would cost time and gain little in a median."""
BLOCK = 64
"""Rows over which scatter is taken as one; common practice of the trade: half a minute of pings."""
LAGS = (1, 3)
"""Distances in rows at which scatter is measured; the longer one sees the slow part too: heave, roll, small relief."""
LEAST_SCATTER_M = 0.03
"""No reading is trusted beyond this: 0.1 m of display resolution over the square root of 12."""
MAD_TO_SIGMA = 1.4826
"""Standard deviation of a normal law over its median absolute deviation."""


@dataclass(frozen=True)
class SailedLine:
    """m rows in the order they were sailed, log after log: ``rows`` into Soundings (m,), ``depth_m`` (m,),
    ``s_m`` (m,) distance sailed with BREAK_M added at each break, ``start`` and ``stop`` (m,): first position in the
    row's unbroken stretch and the one after its last.
    """

    rows: Ints
    depth_m: Floats
    s_m: Floats
    start: Ints
    stop: Ints

    def __len__(self) -> int:
        return len(self.rows)

    def take(self, keep: NDArray[np.bool_]) -> SailedLine:
        """Only some rows; stretches stay as they were cut."""
        before = np.concatenate([[0], np.cumsum(keep)])
        return SailedLine(
            self.rows[keep], self.depth_m[keep], self.s_m[keep], before[self.start[keep]], before[self.stop[keep]]
        )

    def same_stretch(self, a: Ints, b: Ints) -> NDArray[np.bool_]:
        """Whether positions ``a`` and ``b`` (k,) exist and lie on one unbroken stretch."""
        inside = (a >= 0) & (a < len(self)) & (b >= 0) & (b < len(self))
        last = max(len(self) - 1, 0)
        joined = self.start[np.clip(a, 0, last)] == self.start[np.clip(b, 0, last)]
        return np.asarray(inside & joined)


@dataclass(frozen=True)
class Floor:
    """For each row of a line (m,): ``level_m`` of the floor, its ``slope`` (metres deeper per metre sailed), and the
    ``scatter_m`` of single readings, one standard deviation.
    """

    level_m: Floats
    slope: Floats
    scatter_m: Floats


def sailed_line(soundings: Soundings, use: NDArray[np.bool_]) -> SailedLine:
    """The rows of ``use`` (n,) that belong to a pass and carry a logged depth, as one line with breaks."""
    rows = np.flatnonzero(use & (soundings.pass_id != NO_PASS) & np.isfinite(soundings.logged_depth_m))
    rows = rows[np.argsort(soundings.log[rows], kind="stable")]
    step_m = np.hypot(np.diff(soundings.x_m[rows]), np.diff(soundings.y_m[rows]))
    broken = _breaks(soundings, rows, step_m)
    s_m = np.concatenate([[0.0], np.cumsum(np.where(broken, BREAK_M, step_m))])[: len(rows)]
    edges = np.concatenate([[0], np.flatnonzero(broken) + 1, [len(rows)]])
    sizes = np.diff(edges)
    return SailedLine(
        rows, soundings.logged_depth_m[rows], s_m, np.repeat(edges[:-1], sizes), np.repeat(edges[1:], sizes)
    )


def _breaks(soundings: Soundings, rows: Ints, step_m: Floats) -> NDArray[np.bool_]:
    """Where the line is broken between row i and i + 1: another log, a long step, a pause."""
    log = soundings.log[rows]
    limit_m = np.full(max(len(soundings.logs), 1), LEAST_GAP_M)
    for code in range(len(soundings.logs)):
        steps = step_m[(log[1:] == code) & (log[:-1] == code) & (step_m > 0)]
        if len(steps):
            limit_m[code] = max(LEAST_GAP_M, GAP_FACTOR * float(np.median(steps)))
    timed = np.array([facts.has_time for facts in soundings.logs] or [True])[log[1:]]
    step_s = np.nan_to_num(np.diff(soundings.time_s[rows]), nan=0.0)
    pause = timed & ((step_s > TIME_GAP_S) | (step_s < 0))
    return np.asarray((log[1:] != log[:-1]) | (step_m > limit_m[log[1:]]) | pause)


def running_floor(line: SailedLine, half_m: float = WINDOW_M) -> Floor:
    """Running median along the line, with slope and scatter; any stretch length, shapes (m,).

    The window's own slope, between the medians of its halves, is taken out first: on a slope every thing that stands
    up would shift a plain median by its share of the window.
    """
    from lakemap.geo.floor_kernel import level_on_slope  # numba takes its time to load: only where needed

    if len(line) == 0:
        return Floor(np.empty(0), np.empty(0), np.empty(0))
    here = np.arange(len(line))
    low = np.minimum(np.searchsorted(line.s_m, line.s_m - half_m, "left"), np.maximum(here - LEAST_ROWS, line.start))
    high = np.maximum(
        np.searchsorted(line.s_m, line.s_m + half_m, "right"), np.minimum(here + LEAST_ROWS + 1, line.stop)
    )
    level = level_on_slope(line.s_m, line.depth_m, low, high, SAMPLES)
    rise = level[high - 1] - level[low]
    run = line.s_m[high - 1] - line.s_m[low]
    return Floor(level, np.where(run > 0, rise / np.where(run > 0, run, 1.0), 0.0), scatter_along(line))


def spread(low: Ints, high: Ints, samples: int = SAMPLES) -> Ints:
    """Positions (k, samples) spread evenly over ``low`` to ``high - 1``, the same to both ends; needs high > low."""
    last = (high - low - 1)[:, None]
    share = np.arange(samples)[None, :]
    return np.asarray(low[:, None] + (2 * last * share + samples - 1) // (2 * (samples - 1)))


def scatter_along(line: SailedLine) -> Floats:
    """Standard deviation of single readings about a straight floor [m], by blocks of about BLOCK rows, shape (m,).

    From second differences, whose variance is 1.5 times a reading's where errors are independent; their median
    absolute value is deaf to spikes and cover. The larger of the LAGS counts.
    """
    from lakemap.geo.floor_kernel import lower_median_of_runs

    sizes = line.stop - line.start
    blocks = np.maximum(sizes // BLOCK, 1)
    number = (np.arange(len(line)) - line.start) * blocks // np.maximum(sizes, 1)
    block = line.start * np.int64(BLOCK) + number
    edges = np.unique(np.concatenate([[0], np.flatnonzero(np.diff(block)) + 1, [len(line)]]))
    found = [lower_median_of_runs(np.abs(_second_difference(line, lag)), edges) for lag in LAGS]
    sigma = MAD_TO_SIGMA / np.sqrt(1.5) * np.repeat(np.maximum.reduce(found), np.diff(edges))
    return np.asarray(np.maximum(LEAST_SCATTER_M, sigma))


def _second_difference(line: SailedLine, lag: int) -> Floats:
    """Depth minus the line through the readings ``lag`` rows before and after, NaN near the ends of a stretch."""
    out = np.full(len(line), np.nan)
    middle = np.flatnonzero(
        (np.arange(len(line)) - lag >= line.start) & (np.arange(len(line)) + lag < line.stop)
    )
    before, after = middle - lag, middle + lag
    length = line.s_m[after] - line.s_m[before]
    share = np.where(length > 0, (line.s_m[middle] - line.s_m[before]) / np.where(length > 0, length, 1.0), 0.5)
    between = line.depth_m[before] * (1 - share) + line.depth_m[after] * share
    # uneven spacing changes the variance; brought back to that of even spacing
    evened = np.sqrt(1.5 / (1.0 + share**2 + (1.0 - share) ** 2))
    out[middle] = (line.depth_m[middle] - between) * evened
    return out
