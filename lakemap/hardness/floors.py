"""What floors this lake has, by its own readings: a place that could be either is rather what there is much of."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
from scipy.ndimage import map_coordinates

from lakemap.hardness.reading import Floats
from lakemap.model.soundings import Soundings

STEPS = np.linspace(-0.05, 1.05, 111)
ROUNDS = 15
PSEUDO_READINGS = 0.05
"""Added to each step: no hardness is ruled out because nobody met it."""
FREEDOM = 5.0
"""Surfaces err more at the edges of floors than elsewhere: misses follow Student's law with so many degrees of freedom
(fitted to lakes of tests/bench that are not reported)."""
NARROWEST, WIDEST, WIDTHS = 0.02, 0.8, 24
"""Sigmas of the table that is looked up; the least is 0.4 dB, no hardness is known better."""


@dataclass(frozen=True)
class Floors:
    """Share (111,) of the lake's readings at each of STEPS, freed of their own noise."""

    share: Floats

    @classmethod
    def of(cls, soundings: Soundings) -> Self:
        """From measured readings: what they scatter by themselves is taken out (Richardson 1972, Lucy 1974)."""
        bounded = np.isfinite(soundings.hardness_low) | np.isfinite(soundings.hardness_high)
        measured = np.isfinite(soundings.hardness) & ~bounded
        edges = np.append(STEPS, STEPS[-1] + 0.01) - 0.005
        counted = np.histogram(soundings.hardness[measured], edges)[0] + PSEUDO_READINGS
        seen = counted / counted.sum()
        sigma = soundings.hardness_sigma[measured]
        width = max(float(np.median(sigma)), NARROWEST) if measured.any() else 0.1
        blur = np.exp(-0.5 * ((STEPS[:, None] - STEPS[None, :]) / width) ** 2)
        blur /= blur.sum(axis=0)
        share = seen.copy()
        for _ in range(ROUNDS):
            share = share * (blur.T @ (seen / (blur @ share)))
        return cls(share / share.sum())

    def classes(self, value: Floats, sigma: Floats, of_step: Floats) -> Floats:
        """Probability of k classes (k, ...) for an estimate within sigma of any shape, NaN where there is none.

        ``of_step`` (k, 111): probability of each class on a floor of each of STEPS.
        """
        widths = np.geomspace(NARROWEST, WIDEST, WIDTHS)
        away = (STEPS[None, :, None] - STEPS[None, None, :]) / widths[:, None, None]
        weight = self.share * (1.0 + away**2 / FREEDOM) ** (-(FREEDOM + 1.0) / 2.0)
        weight /= weight.sum(axis=2, keepdims=True)
        table = np.einsum("wvh,kh->kwv", weight, of_step)
        known = np.isfinite(value) & np.isfinite(sigma)
        ratio = np.log(WIDEST / NARROWEST) / (WIDTHS - 1)
        wide = np.log(np.clip(sigma[known], NARROWEST, WIDEST) / NARROWEST) / ratio
        at = (np.clip(value[known], STEPS[0], STEPS[-1]) - STEPS[0]) / (STEPS[1] - STEPS[0])
        out = np.full((len(of_step), *value.shape), np.nan)
        for number, layer in enumerate(table):
            out[number][known] = map_coordinates(layer, np.stack([wide, at]), order=1, mode="nearest")
        return out
