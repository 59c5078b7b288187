"""Hardness calibrated on bottom samples: a rising line of three parts, held near the physics while samples are few."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import lsq_linear
from scipy.spatial import cKDTree
from scipy.special import ndtr

from lakemap.hardness.reading import Floats, Mask, Reading
from lakemap.hardness.settings import HardnessSettings
from lakemap.model.samples import BottomSamples
from lakemap.physics.grain_size import hardness_of_doubtful_grain
from lakemap.physics.reflection import hardness_index

STEEPNESS_SIGMA = 0.1
"""How far each part may be steeper or flatter than the physics says, one standard error: as one log beside another.
Classes are limits of bottom loss, so without samples no table's error comes in; with samples that of their words does
(tried on invented lakes of tests/bench that are not reported)."""
LEAST_STEEPNESS = 0.2
"""Harder readings never mean softer floors."""
DETAIL = 0.08
"""How much the floor may differ between a sample and the readings beside it, as hardness (own choice)."""
ROBUST = 2.0
MOST_READINGS = 40
CONTRADICTS = 2.5
"""A sample this many standard errors away, and of the opposite class, says that something else is there."""
SCALE_SIGMA = 0.07
"""What the scale of one log may be off where its gain law is known, as hardness: 1.5 dB of surface and beam."""


@dataclass(frozen=True)
class Calibration:
    """The reading to be expected on a floor: ``offset`` and ``steepness`` (3,) of the line below, between and above the
    class limits; ``covariance`` (4, 4) of those.

    ``samples`` it rests on (0: the scale is relative); ``told_right``: samples whose class the others told when they
    were left out, None without; ``balanced`` the same with each class counted alike; ``reading`` and ``target`` (k,):
    calibrated hardness beside each sample used and what its word says, ``words`` (k,) those words.
    """

    limits: tuple[float, float]
    offset: float
    steepness: Floats
    covariance: Floats
    samples: int = 0
    told_right: int | None = None
    balanced: float | None = None
    reading: Floats = field(default_factory=lambda: np.empty(0))
    target: Floats = field(default_factory=lambda: np.empty(0))
    words: tuple[str, ...] = ()

    def apply(self, reading: Reading) -> Reading:
        """Readings on the calibrated scale; their own errors go through the line's steepness."""
        value, low, high = (self.hardness(column) for column in (reading.value, reading.low, reading.high))
        return Reading(value, reading.sigma / self.steepness[self._part(value)], low, high, reading.notes)

    def hardness(self, reading: Floats) -> Floats:
        """The floor on which such readings (n,) are to be expected: the line turned round."""
        corners = self.offset + _parts(np.array(self.limits), self.limits) @ self.steepness
        part = np.searchsorted(corners, np.nan_to_num(reading))
        anchor = np.array([self.limits[0], self.limits[0], self.limits[1]])[part]
        start = np.array([corners[0], corners[0], corners[1]])[part]
        return np.asarray(anchor + (reading - start) / self.steepness[part])

    def _part(self, hardness: Floats) -> NDArray[np.int64]:
        return np.searchsorted(np.array(self.limits), np.nan_to_num(hardness))

    def error(self, hardness: Floats) -> Floats:
        """Standard error of the scale itself at a hardness of any shape: what all readings share."""
        at = np.concatenate([np.ones((*hardness.shape, 1)), _parts(hardness, self.limits)], axis=-1)
        expected = np.sqrt(np.einsum("...i,ij,...j->...", at, self.covariance, at))
        return np.asarray(expected / self.steepness[self._part(hardness)])


def class_limits(settings: HardnessSettings) -> tuple[float, float]:
    """Hardness from which a floor is medium, and from which it is hard."""
    return float(hardness_index(settings.soft_at)), float(hardness_index(settings.hard_at))


def _parts(value: Floats, limits: tuple[float, float]) -> Floats:
    """How much of a value lies below, between and above the limits (..., 3); they add up to it."""
    low, high = limits
    below, above = np.minimum(value, low), np.maximum(value - high, 0.0)
    return np.stack([below, value - below - above, above], axis=-1)


def calibrate(reading: Reading, xy: Floats, samples: BottomSamples, settings: HardnessSettings,
              scale_sigma: float = SCALE_SIGMA, without: Callable[[int], Reading] | None = None) -> Calibration:
    """The line from readings (n,) at ``xy`` (n, 2) to what samples near them say; without any, the physics itself.

    ``scale_sigma``: how far the readings' scale may be off as it stands. ``without(i)``: the readings as they are had
    sample ``i`` not been taken, where samples have told something of them already.
    """
    limits = class_limits(settings)
    prior = np.diag([scale_sigma**2, *[STEEPNESS_SIGMA**2] * 3])
    beside, sigma = readings_beside(reading, xy, samples, settings.join_m)
    used = np.flatnonzero(np.isfinite(beside) & samples.use)
    if len(used) == 0:
        return Calibration(limits, 0.0, np.ones(3), prior)
    value = beside[used]
    target, doubt = hardness_of_doubtful_grain(samples.phi[used], samples.phi_sigma[used])
    error = np.sqrt(doubt**2 + sigma[used] ** 2 + DETAIL**2)
    made = _fit(value, target, error, prior, limits)
    every = np.arange(len(used))
    said = np.empty(len(used))
    for i in every:
        own = value
        if without is not None:
            own = readings_beside(without(int(used[i])), xy, samples, settings.join_m)[0][used]
        others = _fit(own[every != i], target[every != i], error[every != i], prior, limits)
        said[i] = others.hardness(own[i : i + 1])[0]
    told = _class(said, limits)
    truth = _class(target, limits)
    return dataclasses.replace(
        made, samples=len(used), told_right=int((told == truth).sum()), balanced=_balanced(told, truth),
        reading=made.hardness(value), target=target, words=tuple(samples.word[i] for i in used),
    )


def readings_beside(reading: Reading, xy: Floats, samples: BottomSamples, reach_m: float) -> tuple[Floats, Floats]:
    """Hardness beside each sample (k,) and its error, from measured readings within ``reach_m``, nearer ones more."""
    value, sigma = np.full(len(samples), np.nan), np.full(len(samples), np.nan)
    rows = np.flatnonzero(reading.observed & ~reading.censored & np.isfinite(xy).all(axis=1))
    placed = np.flatnonzero(np.isfinite(samples.x_m))
    if len(rows) == 0 or len(placed) == 0:
        return value, sigma
    at = np.column_stack([samples.x_m[placed], samples.y_m[placed]])
    most = min(MOST_READINGS, len(rows))
    away, near = cKDTree(xy[rows]).query(at, k=[*range(1, most + 1)], distance_upper_bound=reach_m)
    found = np.isfinite(away)
    near = rows[np.where(found, near, 0)]
    weight = np.where(found, 1.0 / (reach_m / 5.0 + away) ** 2, 0.0)
    total = np.maximum(weight.sum(axis=1), 1e-12)
    good = found.any(axis=1)
    value[placed] = np.where(good, (weight * np.where(found, reading.value[near], 0.0)).sum(axis=1) / total, np.nan)
    variance = (weight * np.where(found, reading.sigma[near] ** 2, 0.0)).sum(axis=1) / total
    # pings beside each other share half of their error (the floor's own detail, position)
    sigma[placed] = np.where(good, np.sqrt(variance / 2.0), np.nan)
    return value, sigma


def _fit(value: Floats, target: Floats, error: Floats, prior: Floats, limits: tuple[float, float]) -> Calibration:
    """Least squares of readings on what the samples say, with a prior at the identity; samples far off weigh less.

    Readings on samples and not samples on readings: a word stands for all floors that bear it, so what varies about its
    hardness is the floor, and lines through it the other way would be too flat.
    """
    columns = np.column_stack([np.ones(len(value)), _parts(target, limits)])
    held = np.diag(1.0 / np.sqrt(np.diag(prior)))
    expected = np.array([0.0, 1.0, 1.0, 1.0])
    line, weight = expected, 1.0 / error
    low = np.array([-np.inf, *[LEAST_STEEPNESS] * 3])
    for _ in range(6):
        miss = np.abs(value - columns @ line) / error
        weight = np.sqrt(np.minimum(1.0, ROBUST / np.maximum(miss, 1e-9))) / error
        left = np.vstack([columns * weight[:, None], held])
        line = lsq_linear(left, np.concatenate([value * weight, held @ expected]), (low, np.inf), method="bvls").x
    left = np.vstack([columns * weight[:, None], held])
    return Calibration(limits, float(line[0]), line[1:], np.linalg.inv(left.T @ left))


def _class(hardness: Floats, limits: tuple[float, float]) -> NDArray[np.int64]:
    return np.searchsorted(np.array(limits), hardness, side="right")


def _balanced(told: NDArray[np.int64], truth: NDArray[np.int64]) -> float:
    """Mean over the classes that samples have of the share told right."""
    return float(np.mean([np.mean(told[truth == one] == one) for one in np.unique(truth)]))


def contradicted(calibration: Calibration, reading: Reading, xy: Floats, samples: BottomSamples,
                 settings: HardnessSettings) -> tuple[Mask, Floats]:
    """Samples (k,) that say hard where readings say soft, or the other way round, beyond their errors; what they say.
    """
    beside, sigma = readings_beside(reading, xy, samples, settings.join_m)
    target, doubt = np.full(len(samples), np.nan), np.full(len(samples), np.nan)
    known = np.isfinite(samples.phi)
    target[known], doubt[known] = hardness_of_doubtful_grain(samples.phi[known], samples.phi_sigma[known])
    low, high = calibration.limits
    error = np.sqrt(sigma**2 + doubt**2 + DETAIL**2)
    apart = np.abs(beside - target) > CONTRADICTS * error
    # a word must leave its own class behind: what it says of the other end is all but ruled out
    opposite = ((beside >= high) & (target < low)) | ((beside < low) & (target >= high))
    certain = np.maximum(ndtr((low - target) / doubt), ndtr((target - high) / doubt)) > 0.5
    return samples.use & apart & opposite & certain, target
