"""Each sounder's own level, pass by pass: what makes one echo alone tell the loss of the bottom.

Twice the first level less the second, each freed of what range, absorption, gain, slope and surface do to it, is the
source level whatever the bottom (image sources). Known from many pairs of a pass, it turns the first echo into one
reading of the loss and the second into another of twice the loss, far steadier than their difference.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lakemap.hardness.groups import medians
from lakemap.hardness.reading import Floats, Mask

Ints = NDArray[np.int64]

FEWEST_PAIRS = 30
"""Pairs of a log before its own level is believed."""
LOST_SHARE, LOST_MARGIN_DB, LOST_BINS = 0.03, 2.0, 20
"""Where more seconds than this share are lost in noise only lucky pings show: nothing is learnt there, nor so near."""
LEAST_GAIN_SIGMA_DB = 0.3
"""No pass has quite the level of another; an assumption."""
MOST_DRIFT_DB = 3.0
"""A level that wanders more than this within passes was changed by hand: then only pairs speak."""
RUN_ROWS = 40
MAD_TO_SIGMA = 1.4826
MEDIAN_VARIANCE = 1.57
"""Variance of a median over that of a mean, pi / 2, normal errors."""
PAIR_VARIANCES = 5.0
"""Variance of twice one level less another, in variances of one."""


@dataclass(frozen=True)
class OwnLevel:
    """For n rows: the sounder's own level [dB], its standard error, and that of a single echo's level; NaN where the
    log does not tell it."""

    level_db: Floats
    sigma_db: Floats
    echo_sigma_db: Floats

    @property
    def known(self) -> Mask:
        """Which rows (n,) have one."""
        return np.isfinite(self.level_db)


def own_level(pair_db: Floats, good: Mask, log: NDArray[np.int32], pass_id: NDArray[np.int32], logs: int) -> OwnLevel:
    """From ``pair_db`` (n,), twice the first level less the second freed of everything but the source; ``good`` rows
    may be learnt from."""
    out = np.full((3, len(pair_db)), np.nan)
    for code in range(logs):
        rows = np.flatnonzero(log == code)
        learnt = rows[good[rows]]
        if len(learnt) >= FEWEST_PAIRS:
            out[:, rows] = _of_log(pair_db, learnt, rows, pass_id)
    wandering = out[1] > MOST_DRIFT_DB
    out[:, wandering] = np.nan
    return OwnLevel(*out)


def safe_from_loss(margin_db: Floats, heard: Mask) -> Mask:
    """Rows (n,) of one log that its own level may be learnt from; ``margin_db`` is how far the second echo should stand
    above the weakest ever heard, but for a constant, as the first echo tells it; ``heard`` where it was.

    Judging by the second echo itself would keep just the pings that fading has lifted.
    """
    known = np.isfinite(margin_db)
    if not known.any() or np.mean(~heard[known]) <= LOST_SHARE:
        return known
    order = np.flatnonzero(known)[np.argsort(margin_db[known], kind="stable")]
    limit = -np.inf
    for part in np.array_split(order, LOST_BINS):
        if len(part) and np.mean(~heard[part]) > LOST_SHARE:
            limit = float(margin_db[part[-1]]) + LOST_MARGIN_DB
    return np.asarray(known & (margin_db > limit))


def _of_log(pair_db: Floats, learnt: Ints, rows: Ints, pass_id: NDArray[np.int32]) -> Floats:
    """Level, its error and an echo's error (3, k) for the rows of one log."""
    passes, code = np.unique(pass_id[rows], return_inverse=True)
    own = np.searchsorted(passes, pass_id[learnt])
    whole = float(np.median(pair_db[learnt]))
    count = np.bincount(own, minlength=len(passes)).astype(np.float64)
    middle = np.nan_to_num(medians(pair_db[learnt], own, len(passes)), nan=whole)
    away = pair_db[learnt] - middle[own]
    pair_sigma = max(MAD_TO_SIGMA * float(np.median(np.abs(away))), 1e-3)
    many = count >= FEWEST_PAIRS / 3
    error = MEDIAN_VARIANCE * pair_sigma**2 / np.maximum(count, 1e-9)
    between = float(np.var(middle[many]) - np.mean(error[many])) if many.sum() > 1 else 0.0
    between = max(between, LEAST_GAIN_SIGMA_DB**2)
    weight = between / (between + error)
    level = whole + weight * (middle - whole)
    sigma = np.sqrt(between * error / (between + error) + _drift(away, own, pair_sigma) ** 2)
    echo = np.full(len(rows), pair_sigma / np.sqrt(PAIR_VARIANCES))
    return np.stack([level[code], sigma[code], echo])


def _drift(away: Floats, own: Ints, pair_sigma: float) -> float:
    """How much the level wanders within passes [dB], beyond what noise makes runs of RUN_ROWS rows differ by."""
    run = np.arange(len(away)) // RUN_ROWS * (own.max() + 1) + own
    _, code, count = np.unique(run, return_inverse=True, return_counts=True)
    full = count >= RUN_ROWS // 2
    if full.sum() < 4:
        return 0.0
    clip = np.clip(away, -4 * pair_sigma, 4 * pair_sigma)
    mean = np.bincount(code, clip)[full] / count[full]
    return float(np.sqrt(max(float(np.var(mean)) - float(np.mean(pair_sigma**2 / count[full])), 0.0)))
