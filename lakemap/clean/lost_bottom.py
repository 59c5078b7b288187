"""Depths shown while the sounder had lost the bottom: zero, or one value that stands still while the floor does not."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lakemap.geo.floor_along import SailedLine
from lakemap.model.flags import Flag
from lakemap.model.soundings import Soundings

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

LEAST_RUN = 5
"""Identical depths in a row before they are looked at."""
LEAST_HELD = 10
"""Where the value was true when it first came (the display held it), more are needed; the first one stays."""
HELD_M, CHANCE, LEAST_ALIKE = 5.0, 1000.0, 0.2
"""A display that held its depth without a leap shows by a run too long for chance, over a boat that moved."""
FARTHEST_M = 15.0
"""Rows farther apart than this were thinned or gathered, and their steps say nothing of a display."""
SHORT_CHANCE, SHORT_JUMP_M, SHORT_STEPS, BESIDE_ROWS = 50.0, 0.35, 5.0, 12
"""Fewer rows are a held depth too where chance brings them less often than once in so many runs and the floor found
again lies off by so much, and by so many of the steps usual in the rows before and after."""
JUMP_M, JUMP_SHARE = 1.0, 0.2
"""The floor must be this far, and this share of its depth, from the value that stands still."""
ALIKE_SHARE = 0.5
"""Where half of a log's neighbours show the same depth (coarse display, still floor, a boat at anchor) standing still
is no evidence."""


def flag_lost_bottom(soundings: Soundings, line: SailedLine, dry: Bools | None = None) -> Soundings:
    """Flag depths of zero or less (any row but those of ``dry`` (n,): measured on dry land), and along ``line`` runs of
    one value with a leap to the floor beside.

    A sentinel leaps at both ends (or at the first, where the stretch ends with it); a display that held its last depth
    leaps at the later end alone, or holds it longer than chance could.
    """
    lost = soundings.logged_depth_m <= 0.0
    lost = lost if dry is None else lost & ~dry
    lost[line.rows[_stuck(soundings, line)]] = True
    return soundings.with_flag(Flag.lost_bottom, lost & soundings.usable())


def _stuck(soundings: Soundings, line: SailedLine) -> Bools:
    stuck = np.zeros(len(line), dtype=bool)
    if len(line) < 2:
        return stuck
    joined = line.start[1:] == line.start[:-1]
    alike = (line.depth_m[1:] == line.depth_m[:-1]) & joined
    log = soundings.log[line.rows]
    coarse = np.bincount(log[1:][alike], minlength=log.max() + 1) > ALIKE_SHARE * np.bincount(
        log[1:][joined], minlength=log.max() + 1)
    edges = np.concatenate([[0], np.flatnonzero(~alike) + 1, [len(line)]])
    first, last = edges[:-1], edges[1:] - 1
    long = (last - first + 1 >= LEAST_RUN) & ~coarse[log[first]]
    first, last = first[long], last[long]
    later_open, later_leap = _leap(line, last, last + 1)
    early_leap = _leap(line, first, first - 1)[1]
    sentinel = early_leap & (later_leap | later_open)
    chance = _chance(line, alike, first, last)
    unlikely = (chance * len(line) * CHANCE < 1.0) & _sailed(soundings, line, first, last)
    held = ~early_leap & (last - first + 1 >= LEAST_HELD) & (later_leap | unlikely)
    held |= ~early_leap & (chance * SHORT_CHANCE < 1.0) & _dense(line, first, last) & _found_again(line, first, last)
    for a, b in zip(first[sentinel], last[sentinel], strict=True):
        stuck[a : b + 1] = True
    for a, b in zip(first[held], last[held], strict=True):
        stuck[a + 1 : b + 1] = True
    return stuck


def _chance(line: SailedLine, alike: Bools, first: Ints, last: Ints) -> Floats:
    """How likely a floor shows so many rows of one value (k,).

    The share of neighbours that show the same depth is taken among depths like the run's (half octaves), itself aside.
    """
    octave = np.round(2 * np.log2(np.maximum(line.depth_m, 0.1))).astype(np.int64)
    octave -= octave.min()
    joined = line.start[1:] == line.start[:-1]
    of = np.bincount(octave[1:][joined], minlength=octave.max() + 1)[octave[first]]
    same = np.bincount(octave[1:][joined & alike], minlength=octave.max() + 1)[octave[first]]
    own = last - first
    return np.asarray(np.maximum((same - own + 1.0) / (of - own + 1.0), LEAST_ALIKE) ** own)


def _sailed(soundings: Soundings, line: SailedLine, first: Ints, last: Ints) -> Bools:
    """Runs (k,) over which the boat got HELD_M away, by steps that are no gaps: at anchor a depth may well stand still.
    """
    a, b, middle = line.rows[first], line.rows[last], line.rows[(first + last) // 2]
    x, y = soundings.x_m, soundings.y_m
    away = np.maximum(np.hypot(x[b] - x[a], y[b] - y[a]), np.hypot(x[middle] - x[a], y[middle] - y[a]))
    return np.asarray((away >= HELD_M) & _dense(line, first, last))


def _dense(line: SailedLine, first: Ints, last: Ints) -> Bools:
    """Runs (k,) whose rows follow each other as a display shows them."""
    return np.asarray(line.s_m[last] - line.s_m[first] <= FARTHEST_M * (last - first))


def _found_again(line: SailedLine, first: Ints, last: Ints) -> Bools:
    """Runs (k,) after which the floor is found again by a leap that stands out among the steps before and after."""
    reach = np.arange(1, BESIDE_ROWS + 1)
    before, after = first[:, None] - reach, last[:, None] + reach
    rows = np.concatenate([before, after], axis=1)
    at = np.clip(rows, 1, len(line) - 1)
    inside = (rows >= np.maximum(line.start[first][:, None] + 1, 1)) & (rows < line.stop[first][:, None])
    inside[:, BESIDE_ROWS] = False  # the leap itself
    step = np.where(inside, np.abs(line.depth_m[at] - line.depth_m[at - 1]), np.nan)
    known = inside.any(axis=1)
    usual = np.zeros(len(first))
    usual[known] = np.nanmedian(step[known], axis=1)
    beside = np.clip(last + 1, 0, len(line) - 1)
    leap = np.abs(line.depth_m[beside] - line.depth_m[last])
    there = known & line.same_stretch(last, last + 1)
    return np.asarray(there & (leap > np.maximum(SHORT_JUMP_M, SHORT_STEPS * usual)))


def _leap(line: SailedLine, at: Ints, beside: Ints) -> tuple[Bools, Bools]:
    """Whether the stretch ends there, and else whether the floor beside is far from the value that stood still."""
    there = line.same_stretch(at, beside)
    floor = line.depth_m[np.clip(beside, 0, len(line) - 1)]
    off = np.abs(floor - line.depth_m[at])
    return ~there, there & (off > np.maximum(JUMP_M, JUMP_SHARE * np.minimum(floor, line.depth_m[at])))
