"""What goes wrong on the invented boat: spikes, lost bottom, the second echo taken for the first, bad fixes."""

from __future__ import annotations

from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from lakemap.physics.reflection import geometric_second_bottom_m

Floats = NDArray[np.float64]
Faults = NDArray[np.int8]

SPIKE_SHARE = 0.003
PINGS_PER_LOSS = 2500
"""One run of lost bottom in so many pings."""
LOCKS, LOCK_REFLECTION, LOCK_DEPTH_M = 4, 0.3, 3.5
"""Runs on the second echo in a log, over floor at least this hard and at most this deep."""
LOSS_PINGS, LOCK_PINGS = (6, 26), (8, 21)
FROZEN_S, JUMP_M = 14, 180.0


class Fault(IntEnum):
    """What is wrong with a depth."""

    none = 0
    spike = 1
    lost = 2
    second_echo = 3


def spoil_depths(
    shown_m: Floats, bias_m: Floats, draft_m: float, hard_and_shallow: NDArray[np.bool_], rng: np.random.Generator
) -> tuple[Floats, Faults]:
    """Depths (n,) with faults put in, and which fault each row has; a lost bottom reads NaN, 0 or the last depth.

    ``bias_m`` (n,) is the pass's constant error within ``shown_m``; a second echo carries it once.
    """
    out, fault = shown_m.copy(), np.zeros(len(shown_m), np.int8)
    for rows in _lock_runs(hard_and_shallow, rng):
        heard = geometric_second_bottom_m(shown_m[rows] - bias_m[rows], draft_m)
        out[rows], fault[rows] = heard + bias_m[rows], Fault.second_echo
    for number in range(round(len(shown_m) / PINGS_PER_LOSS)):
        start = int(rng.integers(1, len(shown_m) - LOSS_PINGS[1]))
        rows = np.arange(start, start + int(rng.integers(*LOSS_PINGS)))
        out[rows], fault[rows] = (np.nan, 0.0, out[start - 1])[number % 3], Fault.lost
    spikes = np.flatnonzero((rng.random(len(shown_m)) < SPIKE_SHARE) & (fault == Fault.none))
    shallow = rng.random(len(spikes)) < 0.6
    factor = np.where(shallow, rng.uniform(0.2, 0.7, len(spikes)), rng.uniform(1.3, 2.6, len(spikes)))
    out[spikes], fault[spikes] = out[spikes] * factor, Fault.spike
    return out, fault


def _lock_runs(candidate: NDArray[np.bool_], rng: np.random.Generator) -> list[NDArray[np.int64]]:
    """Runs of pings that lie wholly over hard and shallow floor."""
    runs: list[NDArray[np.int64]] = []
    rows = np.flatnonzero(candidate)
    for _ in range(50 * LOCKS if len(rows) else 0):
        start = int(rng.choice(rows))
        run = np.arange(start, min(start + int(rng.integers(*LOCK_PINGS)), len(candidate)))
        if candidate[run].all() and len(runs) < LOCKS:
            runs.append(run)
    return runs


def spoil_fixes(xy: Floats, rng: np.random.Generator) -> Floats:
    """Fixes (n, 2) with two stretches where the place stood still, and one jump of two fixes."""
    out = xy.copy()
    for start in rng.integers(30, len(xy) - 2 * FROZEN_S, 2).tolist():
        out[start : start + FROZEN_S] = out[start]
    at, bearing = int(rng.integers(30, len(xy) - 30)), rng.uniform(0.0, 2.0 * np.pi)
    out[at : at + 2] += JUMP_M * np.array([np.cos(bearing), np.sin(bearing)])
    return out
