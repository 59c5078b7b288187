"""What the bottom is made of: the probability of each class on the frame, and the lines where hard and soft meet."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from lakemap.model.frame import Grid, GridFrame

Floats = NDArray[np.float64]

FEWEST_SAMPLES = 3
"""With fewer bottom samples a scale counts as nearly relative (own choice: a line of three parts rests on them)."""


def samples_words(count: int) -> str:
    """``1 bottom sample``, ``12 bottom samples``."""
    return "1 bottom sample" if count == 1 else f"{count} bottom samples"


@dataclass(frozen=True)
class BottomEdges:
    """k lines on the working CRS where a hard floor meets another: ``contrast`` in hardness across the line,
    ``width_m`` over which it turns, ``length_m``, and ``probability`` (k,) that the two sides differ at all.
    """

    lines: tuple[BaseGeometry, ...] = ()
    contrast: Floats = field(default_factory=lambda: np.empty(0))
    width_m: Floats = field(default_factory=lambda: np.empty(0))
    length_m: Floats = field(default_factory=lambda: np.empty(0))
    probability: Floats = field(default_factory=lambda: np.empty(0))

    def __len__(self) -> int:
        return len(self.lines)


@dataclass(frozen=True)
class Bottom:
    """``classes`` by name, softest first, and ``probability`` of each, one Grid a class, summing to 1 where there is a
    hardness; ``doubt`` is where kinds of evidence disagree, as half their difference in hardness (0: none).

    ``calibrated``: bottom samples that the scale rests on; 0 means relative. ``accuracy``: share of samples whose class
    the others tell, None without. ``messages`` for the report.
    ``sample_words`` with the hardness that each word tells and the one read beside it, on the calibrated scale.
    """

    classes: tuple[str, ...]
    probability: tuple[Grid, ...]
    doubt: Grid
    edges: BottomEdges
    calibrated: int = 0
    accuracy: float | None = None
    messages: tuple[str, ...] = ()
    sample_words: tuple[str, ...] = ()
    sample_told: Floats = field(default_factory=lambda: np.empty(0), compare=False)
    sample_read: Floats = field(default_factory=lambda: np.empty(0), compare=False)

    @property
    def frame(self) -> GridFrame:
        """The frame that all its grids share."""
        return self.doubt.frame

    @property
    def scale(self) -> str:
        """``relative``, or what the scale is calibrated on."""
        if 0 < self.calibrated < FEWEST_SAMPLES:
            return f"nearly relative, with only {samples_words(self.calibrated)} to hold it"
        return f"calibrated on {samples_words(self.calibrated)}" if self.calibrated else "relative"

    def likeliest(self) -> NDArray[np.int8]:
        """Index of the likeliest class (rows, columns), -1 where nothing is known."""
        stack = np.stack([grid.values for grid in self.probability])
        known = np.isfinite(stack).all(axis=0)
        return np.where(known, np.argmax(np.where(known, stack, 0.0), axis=0), -1).astype(np.int8)
