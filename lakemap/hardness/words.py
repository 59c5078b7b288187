"""Classes in the words of the bottom samples: what hardness each word goes with here, and how much that varies."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lakemap.hardness.calibrate import Calibration
from lakemap.hardness.reading import Floats
from lakemap.hardness.settings import HardnessSettings

FEWEST_OF_A_WORD, FEWEST_IN_ALL = 4, 16
"""Samples of each word, and of all words, before the map speaks in them without being told to (own choice)."""
TABLE_WORTH = 3.0
"""What the published table says of a word counts as so many samples (own choice)."""
TABLE_SPREAD = 0.12
"""How far floors of one word differ in hardness by that table, at least."""


@dataclass(frozen=True)
class WordModel:
    """``words`` softest first; ``mean``, ``spread`` and ``share`` (k,) of the hardness that goes with each."""

    words: tuple[str, ...]
    mean: Floats
    spread: Floats
    share: Floats

    def probability(self, value: Floats, sigma: Floats) -> Floats:
        """Probability of each word (k, ...) for hardness known within sigma; bell curves weighed by their shares."""
        shape = (-1, *([1] * value.ndim))
        width = np.hypot(self.spread.reshape(shape), sigma)
        away = (value - self.mean.reshape(shape)) / width
        density = np.log(self.share.reshape(shape)) - 0.5 * away**2 - np.log(width)
        density = np.exp(density - density.max(axis=0))
        return np.asarray(density / density.sum(axis=0))


def words_of(calibration: Calibration, settings: HardnessSettings) -> WordModel | None:
    """The words that have samples enough; None where the map should speak of soft, medium and hard."""
    if settings.classes == "standard" or not calibration.samples:
        return None
    words = [word for word in dict.fromkeys(calibration.words) if calibration.words.count(word) >= FEWEST_OF_A_WORD]
    counted = sum(calibration.words.count(word) for word in words)
    if len(words) < 2 or (settings.classes == "auto" and counted < FEWEST_IN_ALL):
        return None
    made = []
    for word in words:
        rows = np.array([other == word for other in calibration.words])
        n, reading = int(rows.sum()), calibration.reading[rows]
        mean = (TABLE_WORTH * calibration.target[rows].mean() + reading.sum()) / (TABLE_WORTH + n)
        spread = (TABLE_WORTH * TABLE_SPREAD**2 + ((reading - mean) ** 2).sum()) / (TABLE_WORTH + n)
        made.append((float(mean), float(np.sqrt(spread)), n + 1.0, word))
    made.sort()
    mean, spread, share, names = zip(*made, strict=True)
    return WordModel(tuple(names), np.array(mean), np.array(spread), np.array(share) / np.sum(share))
