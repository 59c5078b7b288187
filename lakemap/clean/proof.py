"""What each correction did, shown where passes cross: the median disagreement of their depths before and after it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from lakemap.model.crossovers import Crossovers
from lakemap.model.soundings import Correction, Soundings


def prove_corrections(soundings: Soundings, crossovers: Crossovers) -> Soundings:
    """The same rows with the figures of their list of corrections filled in, and the shifts by row dropped.

    Corrections that were judged by something else (check depths) keep their figures. From the last to the first, each
    one's shift is taken off the differences again, so nothing is found twice.
    """
    difference = crossovers.difference_m.copy()
    proved: list[Correction] = []
    for one in reversed(soundings.corrections):
        if one.by_row is None:
            proved.append(one)
            continue
        after = _median_abs(difference)
        difference = difference - (one.by_row[crossovers.row_a] - one.by_row[crossovers.row_b])
        if one.measure == Correction.measure:
            one = replace(one, before_m=_median_abs(difference), after_m=after)
        proved.append(replace(one, by_row=None))
    return replace(soundings, corrections=tuple(reversed(proved)))


def _median_abs(difference: np.ndarray) -> float:
    return float(np.median(np.abs(difference))) if len(difference) else float("nan")
