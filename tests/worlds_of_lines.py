"""Straight passes over simple floors, each with an error of its own."""

from __future__ import annotations

import numpy as np

from lakemap.model.log_facts import LogFacts
from lakemap.model.soundings import Soundings


def lines(ends, depth=lambda x, y: 5 + 0.01 * x, bias=None, step_m=2.0, noise_m=0.0, seed=0):
    "Straight passes between pairs of ends, each with a bias of its own."
    rng = np.random.default_rng(seed)
    bias = np.zeros(len(ends)) if bias is None else bias
    xy = [np.linspace(a, b, int(np.hypot(*np.subtract(b, a)) / step_m) + 1) for a, b in ends]
    number = np.concatenate([np.full(len(part), i) for i, part in enumerate(xy)])
    x, y = np.concatenate(xy).T
    z = depth(x, y) + np.asarray(bias)[number] + rng.normal(0, noise_m, len(x)) if noise_m else (
        depth(x, y) + np.asarray(bias)[number])
    return Soundings.build(len(x), [LogFacts("a")], x_m=x, y_m=y, depth_m=z, logged_depth_m=z,
                           depth_sigma_m=np.full(len(x), 0.05), pass_id=number)


GRID = [((0, 10.0 * k), (100, 10.0 * k)) for k in range(1, 10)]
GRID += [((11.0 * k, 0), (11.0 * k, 100)) for k in range(1, 9)]
