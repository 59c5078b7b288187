"""From a hardness surface to what the bottom is made of: class probabilities, doubt, and edges of hard floors."""

from __future__ import annotations

import dataclasses

import numpy as np
from scipy.ndimage import uniform_filter
from scipy.special import ndtr

from lakemap.hardness.calibrate import Calibration
from lakemap.hardness.edges import find_edges
from lakemap.hardness.floors import STEPS, Floors
from lakemap.hardness.reading import Floats
from lakemap.hardness.settings import HardnessSettings
from lakemap.hardness.words import WordModel, words_of
from lakemap.model.bottom import Bottom
from lakemap.model.frame import Grid, GridFrame
from lakemap.model.hardness_notes import DOUBTS
from lakemap.model.soundings import Soundings
from lakemap.model.surface import Surface
from lakemap.physics.reflection import BOTTOM_CLASSES


def with_doubt(hardness: Surface, soundings: Soundings, settings: HardnessSettings) -> tuple[Surface, Grid]:
    """The surface with sigma widened where kinds of evidence disagree, and how far they do, as half their difference.

    Readings in doubt do not average out: many rows that may be either are still either.
    """
    doubt = doubt_grid(soundings, hardness.frame, settings.join_m)
    known = np.isfinite(hardness.sigma.values)
    sigma = np.where(known, np.hypot(hardness.sigma.values, doubt), np.nan).astype(np.float32)
    grid = Grid(hardness.frame, np.where(known, doubt, np.nan).astype(np.float32), "hardness_doubt", "1")
    return dataclasses.replace(hardness, sigma=dataclasses.replace(hardness.sigma, values=sigma)), grid


def doubt_grid(soundings: Soundings, frame: GridFrame, reach_m: float) -> Floats:
    """Mean over the readings within about ``reach_m`` of each pixel of half the span left open (rows, columns).

    Readings without doubt count as 0; so does a pixel without readings near it.
    """
    rows = np.flatnonzero(np.isfinite(soundings.hardness) & np.isfinite(soundings.x_m))
    open_span = (soundings.hardness_high[rows].astype(np.float64) - soundings.hardness_low[rows]) / 2.0
    doubted = (soundings.hardness_notes[rows] & np.uint32(DOUBTS.value)) != 0
    half = np.where(doubted, np.nan_to_num(open_span), 0.0)
    row, column, inside = frame.pixel_of(soundings.x_m[rows], soundings.y_m[rows])
    count, total = np.zeros(frame.shape), np.zeros(frame.shape)
    np.add.at(count, (row[inside], column[inside]), 1.0)
    np.add.at(total, (row[inside], column[inside]), half[inside])
    side = 2 * int(np.ceil(reach_m / frame.pixel_m)) + 1
    near = uniform_filter(count, side, mode="constant")
    return np.where(near > 1e-9, uniform_filter(total, side, mode="constant") / np.maximum(near, 1e-9), 0.0)


def classify_bottom(
    hardness: Surface, soundings: Soundings, calibration: Calibration, settings: HardnessSettings
) -> tuple[Bottom, Surface]:
    """Classes with their probabilities on the frame of ``hardness``, and the surface with doubt in its sigma.

    A floor is hard where its hardness, known within sigma and the scale's own error, lies beyond the limit, weighed by
    what floors the lake has; the words of the bottom samples take the place of soft, medium and hard once there are
    enough of each (settings.classes).
    """
    surface, doubt = with_doubt(hardness, soundings, settings)
    value, sigma = (grid.values.astype(np.float64) for grid in (surface.estimate, surface.sigma))
    floors, error = Floors.of(soundings), calibration.error(STEPS)
    words = words_of(calibration, settings)
    plain = standard_classes(STEPS, error, calibration.limits)
    names, of_step = (BOTTOM_CLASSES, plain) if words is None else (words.words, words.probability(STEPS, error))
    stack = floors.classes(value, sigma, of_step)
    grids = tuple(
        Grid(surface.frame, layer.astype(np.float32), name, "1") for name, layer in zip(names, stack, strict=True))
    hard = stack[-1] if words is None else floors.classes(value, sigma, plain)[-1]
    accuracy = None if calibration.told_right is None else calibration.told_right / calibration.samples
    return Bottom(
        names, grids, doubt, find_edges(value, sigma, hard, surface.frame), calibration.samples, accuracy,
        _messages(doubt, words, calibration, settings), calibration.words, calibration.target, calibration.reading,
    ), surface


def standard_classes(value: Floats, sigma: Floats, limits: tuple[float, float]) -> Floats:
    """Probability of soft, medium and hard (3, ...), for hardness known within ``sigma``; NaN where there is none."""
    soft, not_hard = ndtr((limits[0] - value) / sigma), ndtr((limits[1] - value) / sigma)
    return np.stack([soft, not_hard - soft, 1.0 - not_hard])


def _messages(doubt: Grid, words: WordModel | None, calibration: Calibration, settings: HardnessSettings
              ) -> tuple[str, ...]:
    told = []
    pixels = int(np.count_nonzero(np.nan_to_num(doubt.values) > 0.05))
    if pixels:
        told.append(f"hardness is in doubt on {pixels} pixels: kinds of evidence disagree there, so the map shows a "
                    "wide sigma and no clear class")
    if words is not None:
        told.append(f"bottom classes are the words of your samples: {', '.join(words.words)}")
    elif settings.classes == "words":
        told.append("bottom samples are too few for classes in their own words: soft, medium and hard are used")
    if not calibration.samples:
        told.append("bottom classes are relative: their limits come from a table made at sea, not from this lake")
    return tuple(told)
