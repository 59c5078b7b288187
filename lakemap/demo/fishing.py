"""A day's fishing with the recorder left on: trolling in loops, a drift, an hour at anchor, and home by paddle.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from lakemap.demo.boat import STEP_S, WANDER_S, Track

Floats = NDArray[np.float64]

TROLL_MPS, LOOPS, LOOP_M = 1.2, 6, (38.0, 62.0)
"""Speed, loops and their radius."""
DRIFT_MPS, DRIFT_S = 0.25, 720.0
ANCHOR_S, ROPE_M, SWING_S = 3600.0, 9.0, 140.0
PADDLE_MPS, STROKES_S, REST_S, PADDLE_S = 1.1, 20.0, 25.0, 600.0
STRAY_M = 0.5


def go_fishing(middle_m: tuple[float, float], start_s: float, rng: np.random.Generator) -> Track:
    """The whole day as one run of the recorder, its four parts as legs 0 to 3; it begins at ``middle_m``."""
    parts = [_loops(rng), _drift(), _anchored(), _paddled()]
    leg = np.repeat(np.arange(4), [len(part) for part in parts])
    step = np.concatenate([np.diff(part, axis=0, prepend=part[:1]) for part in parts])
    xy = np.asarray(middle_m) + np.cumsum(step, axis=0)
    stray = gaussian_filter1d(rng.standard_normal(xy.shape), WANDER_S / STEP_S, axis=0)
    xy = xy + STRAY_M * np.sqrt(2.0 * np.sqrt(np.pi) * WANDER_S / STEP_S) * stray
    time_s: Floats = np.asarray(start_s + STEP_S * np.arange(len(xy)), np.float64)
    x, y = (np.asarray(side, np.float64) for side in xy.T)
    return Track(time_s, x, y, leg, np.zeros(len(xy), np.int64))


def _loops(rng: np.random.Generator) -> Floats:
    """Loops of changing size, the middle of each a little farther on."""
    radius = np.repeat(rng.uniform(*LOOP_M, LOOPS), 400)
    radius = gaussian_filter1d(radius, 60.0, mode="nearest")
    angle = np.linspace(0.0, 2.0 * np.pi * LOOPS, len(radius))
    path = np.column_stack([radius * np.cos(angle), radius * np.sin(angle)]) + angle[:, None] * [[1.5, -0.6]]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    at = np.arange(0.0, along[-1], TROLL_MPS * STEP_S)
    return np.column_stack([np.interp(at, along, path[:, 0]), np.interp(at, along, path[:, 1])])


def _drift() -> Floats:
    """Before the wind, on a bent way."""
    along = np.arange(0.0, DRIFT_S, STEP_S) * DRIFT_MPS
    return np.column_stack([-along, 20.0 * np.sin(along / 60.0)])


def _anchored() -> Floats:
    """Swinging on the rope."""
    t = np.arange(0.0, ANCHOR_S, STEP_S)
    return ROPE_M * np.column_stack([np.sin(2 * np.pi * t / SWING_S), 0.4 * np.cos(2 * np.pi * t / (0.63 * SWING_S))])


def _paddled() -> Floats:
    """Strokes and rests on one course."""
    t = np.arange(0.0, PADDLE_S, STEP_S)
    speed = np.where(t % (STROKES_S + REST_S) < STROKES_S, PADDLE_MPS, 0.05)
    along = np.cumsum(gaussian_filter1d(speed, 2.0 / STEP_S)) * STEP_S
    return np.column_stack([along * 0.998, along * -0.06])
