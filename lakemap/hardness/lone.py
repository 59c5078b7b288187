"""Logs that meet no other: bottom samples beside their own readings tell how far they are off, else nothing does."""

from __future__ import annotations

import dataclasses

import numpy as np

from lakemap.hardness.calibrate import DETAIL, readings_beside
from lakemap.hardness.groups import Ints
from lakemap.hardness.instruments import Joined, Trust
from lakemap.hardness.reading import Floats, Mask, Reading
from lakemap.hardness.settings import HardnessSettings
from lakemap.model.samples import BottomSamples
from lakemap.physics.grain_size import hardness_of_doubtful_grain


def told_by_samples(
    joined: Joined, trust: Trust, reading: Reading, instrument: Ints, xy: Floats, samples: BottomSamples,
    settings: HardnessSettings,
) -> tuple[Joined, Mask]:
    """``joined`` with offset and error of each lone instrument from the samples beside its readings, held by how far it
    is trusted; and which samples (k,) were spent on that, which say nothing more of the common scale.

    ``instrument`` (n,) of each reading at ``xy`` (n, 2), -1 for none. Offset alone: a few words tell no slope.
    """
    offset, error = joined.offset.copy(), joined.error.copy()
    by_samples = np.zeros(len(offset), dtype=np.int64)
    spent = np.zeros(len(samples), dtype=bool)
    for one in np.flatnonzero((joined.places == 0) & (joined.error > 0)).tolist():
        beside, sigma = readings_beside(reading.only(instrument == one), xy, samples, settings.join_m)
        rows = np.flatnonzero(np.isfinite(beside) & samples.use)
        if not len(rows):
            continue
        target, doubt = hardness_of_doubtful_grain(samples.phi[rows], samples.phi_sigma[rows])
        weight = 1.0 / (doubt**2 + sigma[rows] ** 2 + DETAIL**2)
        total = float(weight.sum()) + trust.offset[one] ** -2.0
        offset[one], error[one] = float(weight @ (beside[rows] - target)) / total, total**-0.5
        by_samples[one] = len(rows)
        spent[rows] = True
    return dataclasses.replace(joined, offset=offset, error=error, by_samples=by_samples), spent
