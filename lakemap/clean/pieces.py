"""A sailed line as pieces between leaps, and what may be said of a piece as a whole."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lakemap.geo.floor_along import SailedLine

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

STEP_M, STEP_SHARE = 0.5, 0.35
"""A step from one reading to the next that may be the way to the second echo and back: metres, share of the lesser."""
STEP_REACH_M = 15.0
"""Rows farther apart do not show whether the depth leapt or the floor fell."""
USUAL_ROWS = 8
"""Steps are usual among so many rows before and after."""
LEAST_SEEN = 3
"""Rows that other passes must speak of before a piece is judged by them."""


def without_lone(line: SailedLine) -> Floats:
    """Depths with each reading that leaps away and straight back replaced by the mean of its two neighbours."""
    depth = line.depth_m.copy()
    here = np.arange(1, max(len(line) - 1, 1))
    inside = here[line.same_stretch(here - 1, here + 1)]
    before, middle, after = depth[inside - 1], depth[inside], depth[inside + 1]
    lone = is_step(before, middle) & is_step(middle, after) & ~is_step(before, after)
    depth[inside[lone]] = (before[lone] + after[lone]) / 2
    return depth


def is_step(a: Floats, b: Floats) -> Bools:
    """Whether two depths [m] differ by what may be the way to another echo."""
    return np.asarray(np.abs(a - b) > np.maximum(STEP_M, STEP_SHARE * np.minimum(a, b)))


def pieces(line: SailedLine, leap: Bools) -> tuple[Ints, Ints]:
    """First and last position of the pieces between leaps (m - 1,) and breaks."""
    edges = np.concatenate([[0], np.flatnonzero(leap | (line.start[1:] != line.start[:-1])) + 1, [len(line)]])
    return edges[:-1], edges[1:] - 1


def usual_step(line: SailedLine, depth: Floats) -> Floats:
    """Median size of the steps among USUAL_ROWS rows before and after each row (m,)."""
    from lakemap.geo.floor_kernel import median_about  # numba takes its time to load: only where needed

    step = np.abs(np.diff(depth, prepend=depth[:1]))
    here = np.arange(len(line))
    low = np.maximum(here - USUAL_ROWS, np.minimum(line.start + 1, line.stop - 1))
    high = np.minimum(here + USUAL_ROWS, line.stop)
    return np.asarray(median_about(step, low, np.maximum(high, low + 1), 2 * USUAL_ROWS))


def steps_at(line: SailedLine, depth: Floats, usual: Floats, to: Ints) -> tuple[Bools, Floats]:
    """Whether row ``to`` continues the stretch of the row before it, and the step of depth between the two as so many
    usual steps; 0 where they lie too far apart to tell a leap from a slope."""
    joined = line.same_stretch(to - 1, to)
    at, back = np.clip(to, 0, len(line) - 1), np.clip(to - 1, 0, len(line) - 1)
    near = line.s_m[at] - line.s_m[back] <= STEP_REACH_M
    step = np.abs(depth[at] - depth[back]) / np.maximum(usual[at], 1e-6)
    return joined, np.where(near, step, 0.0)


def mostly(crossed: Bools, agreed: Bools, first: Ints, last: Ints, share: float) -> Bools:
    """Pieces that other passes cross often enough and of which they say so in at least a share of the rows crossed."""
    seen, yes = (np.concatenate([[0], np.cumsum(mask)]) for mask in (crossed, agreed))
    n_seen, n_yes = seen[last + 1] - seen[first], yes[last + 1] - yes[first]
    return np.asarray((n_seen >= LEAST_SEEN) & (n_yes >= share * n_seen))
