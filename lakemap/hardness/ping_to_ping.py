"""What a floor's roughness does to a reading, learnt from how readings beside each other differ."""

from __future__ import annotations

import numpy as np

from lakemap.hardness.reading import Floats
from lakemap.hardness.settings import HardnessSettings
from lakemap.model.soundings import NO_PASS, Soundings

BESIDE_M = 4.0
"""Readings of one pass so near to each other stand on the same floor, but for its roughness (own choice)."""
FEWEST_PAIRS = 60
ASSUMED_DB = 1.0
"""Where a log has too few of them; an assumption, no source."""
MAD_TO_SIGMA = 1.4826


def roughness_db(soundings: Soundings, loss_db: Floats, echo_variance: Floats, settings: HardnessSettings) -> Floats:
    """Standard error [dB] that roughness adds to the loss of each row (n,), log by log.

    ``loss_db`` (n,) NaN where none is measured, ``echo_variance`` (n,) what its levels' own scatter explains. What two
    neighbours differ by is twice both variances; levels scatter by themselves, so only the rest is the floor's.
    """
    out = np.full(len(soundings), ASSUMED_DB if settings.floor_sigma_db is None else settings.floor_sigma_db)
    if settings.floor_sigma_db is not None:
        return out
    rows = np.flatnonzero(np.isfinite(loss_db) & (soundings.pass_id != NO_PASS))
    one, two = rows[:-1], rows[1:]
    near = np.hypot(soundings.x_m[two] - soundings.x_m[one], soundings.y_m[two] - soundings.y_m[one]) <= BESIDE_M
    same = (soundings.log[one] == soundings.log[two]) & (soundings.pass_id[one] == soundings.pass_id[two])
    one, two = one[near & same], two[near & same]
    for code in np.unique(soundings.log[one]).tolist():
        pairs = soundings.log[one] == code
        if pairs.sum() < FEWEST_PAIRS:
            continue
        apart = loss_db[two[pairs]] - loss_db[one[pairs]]
        seen = (MAD_TO_SIGMA * float(np.median(np.abs(apart)))) ** 2 / 2.0
        rest = seen - float(np.median(echo_variance[one[pairs]] + echo_variance[two[pairs]])) / 2.0
        out[soundings.log == code] = np.sqrt(max(rest, 0.0))
    return out
