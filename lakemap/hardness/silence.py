"""When a second echo that does not show says nothing of the floor."""

from __future__ import annotations

import numpy as np

from lakemap.hardness.reading import Mask, Notes
from lakemap.hardness.second_echo import SecondEcho
from lakemap.model.hardness_notes import HardnessNote


def no_second_says_nothing(missing: Mask, geometry: SecondEcho, quiet: Mask | None = None) -> Notes:
    """The first reason for which a second echo that is missing (n,) tells nothing, 0 where it does tell.

    ``quiet``: rows where even a hard floor's could be too weak to be heard.
    """
    reasons = (
        (~geometry.range_known, HardnessNote.range_unknown), (~geometry.could_show, HardnessNote.range_short),
        (~geometry.second_in_beam, HardnessNote.slope), (geometry.hidden, HardnessNote.over_cover),
        (geometry.at_speed, HardnessNote.at_speed),
        (np.zeros(missing.shape, dtype=bool) if quiet is None else quiet, HardnessNote.too_quiet),
    )
    out = np.zeros(missing.shape, np.uint32)
    for where, note in reasons:
        out = np.where(missing & where & (out == 0), np.uint32(note.value), out)
    return out
