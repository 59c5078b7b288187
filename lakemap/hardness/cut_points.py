"""Up to which visible gap a floor is hard, and from which it is soft: the trade's figures, moved by bottom samples.

Each screen, gain and pair of eyes draws these lines elsewhere. Both are held near where practice has them, so that few
samples move them little, and they never change places: a wider gap is never harder.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from lakemap.hardness.calibrate import DETAIL
from lakemap.hardness.reading import Floats, Mask
from lakemap.hardness.screen import Steps, step_of_gap
from lakemap.hardness.settings import HardnessSettings
from lakemap.model.samples import BottomSamples
from lakemap.physics.grain_size import hardness_of_doubtful_grain

FEWEST = 4
"""Fewer samples beside noted gaps move nothing."""
DOUBT = 0.35
"""How far the trade's figures may be off, as a share of them: one standard error (own choice, no source)."""
TRIED, SPAN = 41, 1.0
"""Places tried for each line, and how far they reach either way, as a natural logarithm."""
FAR_OFF = 3.0
"""A sample this many errors from its step says no more than one at so many: something else lay there."""


@dataclass(frozen=True)
class CutPoints:
    """Gaps as shares of the depth: hard up to the first, soft from the second on; how many samples they rest on (0: the
    trade's)."""

    hard_at: float
    soft_at: float
    samples: int

    def on(self, settings: HardnessSettings) -> HardnessSettings:
        """``settings`` with these lines."""
        return dataclasses.replace(settings, gap_hard_at=self.hard_at, gap_soft_at=self.soft_at)


def cut_points(
    gap: Floats, noted: Mask, xy: Floats, samples: BottomSamples, settings: HardnessSettings
) -> CutPoints:
    """Lines that give the samples (k) their hardness best, from ``noted`` gaps (n,) at ``xy`` (n, 2) beside them."""
    beside, at = _gaps_beside(gap, noted, xy, samples, settings.join_m)
    if len(at) < FEWEST:
        return CutPoints(settings.gap_hard_at, settings.gap_soft_at, 0)
    target, doubt = hardness_of_doubtful_grain(samples.phi[at], samples.phi_sigma[at])
    error = np.sqrt(doubt**2 + settings.screen_sigma**2 + DETAIL**2)
    steps = np.linspace(-SPAN, SPAN, TRIED)
    moves = np.array([(hard, soft) for hard in steps for soft in steps])
    hard_at, soft_at = (np.array([settings.gap_hard_at, settings.gap_soft_at]) * np.exp(moves)).T
    told = step_of_gap(beside, hard_at[:, None], soft_at[:, None], Steps.of(settings))
    miss = np.minimum(np.abs(told - target) / error, FAR_OFF)
    height = -0.5 * np.sum(miss**2, axis=1) - 0.5 * np.sum(moves**2, axis=1) / DOUBT**2
    weight = np.where(hard_at < soft_at, np.exp(height - height.max()), 0.0)
    hard, soft = weight @ moves / weight.sum()
    return CutPoints(float(settings.gap_hard_at * np.exp(hard)), float(settings.gap_soft_at * np.exp(soft)), len(at))


def _gaps_beside(
    gap: Floats, noted: Mask, xy: Floats, samples: BottomSamples, reach_m: float
) -> tuple[Floats, np.ndarray]:
    """Median gap within ``reach_m`` of each sample in use that has any, and which samples these are."""
    rows = np.flatnonzero(noted & np.isfinite(gap) & np.isfinite(xy).all(axis=1))
    placed = np.flatnonzero(samples.use & np.isfinite(samples.x_m) & np.isfinite(samples.phi))
    if not len(rows) or not len(placed):
        return np.empty(0), np.empty(0, np.int64)
    tree = cKDTree(xy[rows])
    near = tree.query_ball_point(np.column_stack([samples.x_m[placed], samples.y_m[placed]]), reach_m)
    some = np.array([bool(found) for found in near])
    beside = np.array([float(np.median(gap[rows[found]])) for found in near if found])
    return beside, placed[some]
