"""How far a map of the demo lake is from what is truly there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from lakemap.demo.faults import Fault
from lakemap.demo.marks import make_marks
from lakemap.demo.sounder import NO_COVER
from lakemap.model.marks import FIXED_KINDS, MOVING_KINDS, OTHER_KINDS
from lakemap.model.terrain import FEATURE_KINDS
from lakemap.physics.reflection import HARD_AT_LOSS_DB, hardness_index, reflection_from_loss

NEAR_M = 8.0
"""A spot and a thing this near are the same, whatever the spot's own error says."""
COVER_KINDS = (*(kind for kind in FIXED_KINDS if kind not in FEATURE_KINDS), "cover")


@dataclass(frozen=True)
class DepthScore:
    "Against the mean true depth of each pixel that carries an estimate."

    rmse_m: float
    bias_m: float
    within_1_96: float
    share_drawn: float
    pixels: int


def depth_score(lake, estimate_m, sigma_m, frame):
    """DepthScore of a depth grid (rows, columns) and its sigma; ``share_drawn`` of the lake's true water pixels."""
    truth = lake.mean_depth(frame)
    drawn = np.isfinite(truth) & np.isfinite(estimate_m)
    off = estimate_m[drawn] - truth[drawn]
    return DepthScore(
        rmse_m=float(np.sqrt(np.mean(off**2))), bias_m=float(off.mean()),
        within_1_96=float(np.mean(np.abs(off) <= 1.96 * sigma_m[drawn])),
        share_drawn=float(drawn.sum() / np.isfinite(truth).sum()), pixels=int(drawn.sum()),
    )


def hard_balanced_accuracy(lake, hardness, frame, xy, within_m=30.0):
    """Mean of the shares of hard and of not-hard pixels that the map calls so, within ``within_m`` of a reading.

    ``hardness`` (rows, columns); ``xy`` (n, 2) where readings of hardness lie. Pixels without an estimate count as
    wrong, so that leaving out does not pay.
    """
    truth = lake.mean_reflection(frame)
    x_m, y_m = np.meshgrid(*frame.centres())
    away = cKDTree(xy).query(np.column_stack([x_m.ravel(), y_m.ravel()]))[0].reshape(x_m.shape)
    judged = np.isfinite(truth) & (away <= within_m)
    hard = truth >= reflection_from_loss(HARD_AT_LOSS_DB)
    called = hardness >= hardness_index(HARD_AT_LOSS_DB)
    known = np.isfinite(hardness)
    found_hard = np.mean((called & known)[judged & hard])
    found_other = np.mean((~called & known)[judged & ~hard])
    return float((found_hard + found_other) / 2.0)


def cover_hit(lake, recordings, seed=1, least_rise_m=0.0, marked=False):
    """Numbers of the things that two pings, or pings of two passes, hit, and that no mark means.

    A hit is a good ping whose first return came from the thing, ``least_rise_m`` or more ahead of the floor's.
    """
    pings = np.zeros(len(lake.cover), dtype=int)
    for taken in recordings.values():
        good = (taken.cover != NO_COVER) & (taken.fault == Fault.none) & (taken.rise_m >= least_rise_m)
        np.add.at(pings, taken.cover[good], 1)
    known = {mark.cover for mark in make_marks(lake, seed)}
    return [int(k) for k in np.flatnonzero(pings >= 2) if marked or k not in known]


def _reach(sigma_m):
    return np.maximum(NEAR_M, 2.0 * np.nan_to_num(sigma_m))


def cover_recall(lake, spots, numbers):
    """Share of the things (numbers into lake.cover) that a spot lies at; which (k,) were found beside it."""
    cover = np.column_stack([lake.cover.x_m, lake.cover.y_m])[numbers]
    away = np.hypot(cover[:, :1] - spots.x_m[None], cover[:, 1:] - spots.y_m[None])
    able = np.array([kind in COVER_KINDS for kind in spots.kind])
    found = ((away <= _reach(spots.position_sigma_m)) & able).any(axis=1)
    return float(found.mean()), found


def spots_real(lake, spots):
    """Which spots (k,) are real, and which can be judged (fish, bait and catches move, nobody can).

    Cover must lie within max(8 m, 2 sigma) of a planted thing; structure within a planted feature's reach, or that
    near to it. What is only shape of the floor counts as real too where its kind was planted.
    """
    cover = np.column_stack([lake.cover.x_m, lake.cover.y_m])
    judged = np.array([kind not in (*MOVING_KINDS, *OTHER_KINDS) for kind in spots.kind], dtype=bool)
    reach = _reach(spots.position_sigma_m)
    at_cover = cKDTree(cover).query(np.column_stack([spots.x_m, spots.y_m]))[0] <= reach
    real = [
        bool(near) if kind not in FEATURE_KINDS else _at_feature(lake, kind, x, y, far, tall)
        for kind, x, y, far, near, tall in zip(
            spots.kind, spots.x_m, spots.y_m, reach, at_cover, spots.height_m, strict=True)
    ]
    return np.array(real, dtype=bool), judged


def _at_feature(lake, kind, x_m, y_m, reach_m, claimed_m=np.nan):
    """A drop-off that was not planted by name is real where the true floor falls by what is claimed within 25 m."""
    if kind == "drop-off" and np.isfinite(claimed_m):
        angle, out = np.meshgrid(np.linspace(0, 2 * np.pi, 24), np.linspace(0, 25, 11))
        floor = lake.depth_m(x_m + out.ravel() * np.cos(angle.ravel()), y_m + out.ravel() * np.sin(angle.ravel()))
        if np.nanmax(floor) - np.nanmin(floor) >= claimed_m:
            return True
    return any(
        np.hypot(one.x_m - x_m, one.y_m - y_m) <= max(one.radius_m, reach_m)
        for one in lake.features if one.kind == kind
    )
