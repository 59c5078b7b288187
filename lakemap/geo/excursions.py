"""Short runs of readings that leave the floor along a sailed line and come back to it, upward or downward.

A running median alone takes the lip of a drop-off, the crest of a hump and the foot of a slope for something that
stands up. So each run is measured against the floor on its two sides: it must leave the chord between its shoulders,
and also both shoulders' straight continuations. A lip or a step is the continuation of one side; a crest lies below the
continuation of both; a valley's bottom lies below the chord.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lakemap.geo.floor_along import Floor, SailedLine, spread

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

LONGEST_M = 12.0
"""Longer than this it is shape of the floor, not something on it; common practice of the trade."""
SHOULDER_M = 7.0
"""Length of floor looked at on either side of a run."""
SHOULDER_ROWS = 3
"""Rows taken of a shoulder even where they lie beyond SHOULDER_M."""
FARTHEST_SHOULDER_M = 30.0
"""A shoulder whose nearest row is farther away says nothing."""
SHOULDER_SAMPLES = 13
LONE_M, LONE_SIGMAS = 0.4, 5.0
"""A single reading must leave the floor by this much: among 100,000 readings with normal errors fewer than one does."""
RUN_M, RUN_SIGMAS = 0.3, 3.5
"""The farthest of two or more readings must leave the floor by this much; its neighbours by SIDE_SIGMAS."""
SIDE_M, SIDE_SIGMAS = 0.12, 2.0
ALIKE_SHARE = 0.3
"""Share of the farthest reading's height that its neighbours must have to belong to one thing with it."""
CONTINUED_SHARE = 0.7
"""Share of its height that a run must also keep above both shoulders' continuations, which are less certain. On
invented lakes 1 of 10 runs that kept less stood on the floor, of 180 that kept more 92 % (tests/bench/bench_cover.py);
with 0.3 the lip of a drop-off told by three readings was a thing."""


@dataclass(frozen=True)
class Excursions:
    """k runs: ``first, last, peak`` (k,) positions in the line; ``height_m`` above (or depth below) the floor at the
    peak, always positive; ``floor_m`` there; ``length_m`` sailed over it; ``scatter_m`` of single readings.
    """

    first: Ints
    last: Ints
    peak: Ints
    height_m: Floats
    floor_m: Floats
    length_m: Floats
    scatter_m: Floats

    def __len__(self) -> int:
        return len(self.first)

    @property
    def pings(self) -> Ints:
        """Readings in each run (k,)."""
        return self.last - self.first + 1

    def take(self, keep: NDArray[np.bool_] | Ints) -> Excursions:
        """Some runs, by index or mask."""
        return Excursions(
            self.first[keep], self.last[keep], self.peak[keep], self.height_m[keep], self.floor_m[keep],
            self.length_m[keep], self.scatter_m[keep],
        )

    def rows_mask(self, n: int) -> NDArray[np.bool_]:
        """Which of the line's n positions lie in a run."""
        change = np.zeros(n + 1, dtype=np.int64)
        np.add.at(change, self.first, 1)
        np.add.at(change, self.last + 1, -1)
        return np.asarray(np.cumsum(change)[:n] > 0)


def find_excursions(line: SailedLine, floor: Floor, upward: bool, longest_m: float = LONGEST_M) -> Excursions:
    """Runs of at most ``longest_m`` that stand up from the floor (``upward``) or hang below it, in line order.

    The white top-hat idea (Serra 1982, from memory) made deaf to slope and noise: see the module's text.
    """
    sign = 1.0 if upward else -1.0
    away = sign * (floor.level_m - line.depth_m)
    first, last = _runs(line, away > np.maximum(SIDE_M, SIDE_SIGMAS * floor.scatter_m))
    peak = _farthest(away, first, last)
    worth = away[peak] > 0.6 * np.maximum(RUN_M, RUN_SIGMAS * floor.scatter_m[peak])
    first, last, peak = _trimmed(away, first[worth], last[worth], peak[worth])
    length = _length_m(line, first, last)
    short = length <= longest_m
    runs = (first[short], last[short], peak[short])
    height, level, sure = _measured(line, floor, sign, runs)
    found = Excursions(*runs, height, level, length[short], floor.scatter_m[peak[short]])
    return found.take(sure & (height >= _least_height(found)))


def _least_height(found: Excursions) -> Floats:
    lone = np.maximum(LONE_M, LONE_SIGMAS * found.scatter_m)
    several = np.maximum(RUN_M, RUN_SIGMAS * found.scatter_m)
    return np.where(found.pings == 1, lone, several)


def _runs(line: SailedLine, away: NDArray[np.bool_]) -> tuple[Ints, Ints]:
    """First and last position of each unbroken run; one reading that falls back between two others joins them."""
    here = np.arange(1, max(len(line) - 1, 1))
    joined = away.copy()
    joined[here] |= away[here - 1] & away[np.minimum(here + 1, len(line) - 1)]
    new = np.concatenate([[True], line.start[1:] != line.start[:-1]])[: len(line)]
    before = np.concatenate([[False], joined[:-1]])[: len(line)] & ~new
    after = np.concatenate([joined[1:] & ~new[1:], [False]])[: len(line)]
    return np.flatnonzero(joined & ~before), np.flatnonzero(joined & ~after)


def positions_of(first: Ints, last: Ints) -> tuple[Ints, Ints]:
    """Number of the run and position in the line of every reading in runs ``first`` to ``last``, both included."""
    sizes = last - first + 1
    run = np.repeat(np.arange(len(first)), sizes)
    return run, np.arange(int(sizes.sum())) - np.repeat(np.cumsum(sizes) - sizes, sizes) + np.repeat(first, sizes)


def _farthest(away: Floats, first: Ints, last: Ints) -> Ints:
    """Position of the reading farthest from the floor in each run; the earlier of two alike."""
    if len(first) == 0:
        return np.empty(0, dtype=np.int64)
    run, position = positions_of(first, last)
    order = np.lexsort((position, -away[position], run))
    sizes = last - first + 1
    return np.asarray(position[order][np.cumsum(sizes) - sizes], dtype=np.int64)


def _trimmed(away: Floats, first: Ints, last: Ints, peak: Ints) -> tuple[Ints, Ints, Ints]:
    """Runs cut back to the unbroken part about the peak that stands at least ALIKE_SHARE as far from the floor."""
    if len(first) == 0:
        return first, last, peak
    run, position = positions_of(first, last)
    too_low = away[position] < ALIKE_SHARE * away[peak[run]]
    low_before, low_after = first - 1, last + 1
    before, after = too_low & (position < peak[run]), too_low & (position > peak[run])
    np.maximum.at(low_before, run[before], position[before])
    np.minimum.at(low_after, run[after], position[after])
    return low_before + 1, low_after - 1, peak


def _length_m(line: SailedLine, first: Ints, last: Ints) -> Floats:
    """Length sailed over a run: half way out to the rows beside it."""
    before, after = np.maximum(first - 1, 0), np.minimum(last + 1, len(line) - 1)
    left = np.where(line.same_stretch(first - 1, first), line.s_m[first] - line.s_m[before], 0.0)
    right = np.where(line.same_stretch(last, last + 1), line.s_m[after] - line.s_m[last], 0.0)
    return np.asarray(line.s_m[last] - line.s_m[first] + (left + right) / 2)


def _measured(
    line: SailedLine, floor: Floor, sign: float, runs: tuple[Ints, Ints, Ints]
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Height above the chord (k,), chord's depth at the peak (k,), and whether it stands off both continuations."""
    first, last, peak = runs
    low = np.maximum(
        np.minimum(np.searchsorted(line.s_m, line.s_m[first] - SHOULDER_M), first - SHOULDER_ROWS), line.start[first]
    )
    high = np.minimum(
        np.maximum(np.searchsorted(line.s_m, line.s_m[last] + SHOULDER_M, "right"), last + 1 + SHOULDER_ROWS),
        line.stop[last],
    )
    known = (low < first) & (high > last + 1)
    first, last, peak, low, high = (part[known] for part in (first, last, peak, low, high))
    near = np.maximum(line.s_m[first] - line.s_m[first - 1], line.s_m[last + 1] - line.s_m[last])
    slope_l, level_l = _straight(line, floor, low, first, first - 1)
    slope_r, level_r = _straight(line, floor, last + 1, high, last + 1)
    to_left, to_right = line.s_m[peak] - line.s_m[first - 1], line.s_m[last + 1] - line.s_m[peak]
    chord = (level_l * to_right + level_r * to_left) / np.maximum(to_left + to_right, 1e-9)
    depth = line.depth_m[peak]
    chord_height = sign * (chord - depth)
    continued = np.minimum(
        sign * (level_l + slope_l * to_left - depth), sign * (level_r - slope_r * to_right - depth)
    )
    height, level, sure = np.zeros(len(known)), np.full(len(known), np.nan), np.zeros(len(known), dtype=bool)
    height[known], level[known] = chord_height, chord
    sure[known] = (continued >= CONTINUED_SHARE * chord_height) & (near <= FARTHEST_SHOULDER_M)
    return height, level, sure


def _straight(line: SailedLine, floor: Floor, low: Ints, high: Ints, at: Ints) -> tuple[Floats, Floats]:
    """Slope and level at position ``at`` of the straight floor through ``low`` to ``high - 1``, shapes (k,).

    Median of pairwise slopes (Theil 1950, Sen 1968), then the median level; up to 29 % of wild readings do no harm.
    With fewer than four rows the running floor's slope serves.
    """
    index = spread(low, high, SHOULDER_SAMPLES)
    s, z = line.s_m[index] - line.s_m[at, None], line.depth_m[index]
    i, j = np.triu_indices(SHOULDER_SAMPLES, 1)
    run = s[:, j] - s[:, i]
    pairs = np.where(run > 0, (z[:, j] - z[:, i]) / np.where(run > 0, run, 1.0), np.inf)
    pairs.sort(axis=1)
    count = (run > 0).sum(axis=1)
    row, middle = np.arange(len(pairs)), np.maximum(count - 1, 0)
    slope = np.where(count > 0, (pairs[row, middle // 2] + pairs[row, (middle + 1) // 2]) / 2, 0.0)
    slope = np.where((high - low >= 4) & (count > 0), slope, floor.slope[at])
    return slope, np.median(z - slope[:, None] * s, axis=1)
