"""Hardness from the levels of the first and second echo."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lakemap.hardness.reading import Floats, Mask, Reading, Silence
from lakemap.hardness.second_echo import SecondEcho
from lakemap.hardness.settings import HardnessSettings
from lakemap.model.log_facts import GainLaw
from lakemap.model.soundings import NOT_NOTED, SECOND_SEEN, Soundings
from lakemap.physics.reflection import (
    LOSS_OF_HARDEST_DB,
    LOSS_OF_SOFTEST_DB,
    bottom_loss_from_echoes,
    hardness_index,
)

LAWS: tuple[GainLaw, ...] = ("none", "20logR", "40logR")
WEAKEST_PERCENT = 1.0
"""Share of a log's second echoes that may be outliers when the weakest of them marks what could still be heard."""
BELIEVED_SIGMAS = 4.0
"""A bottom that gives back more than it got by this many standard errors was no level in dB."""


def read_levels(soundings: Soundings, geometry: SecondEcho, settings: HardnessSettings) -> Reading:
    """Hardness of n rows from both levels; where only the second is missing though it could have shown, at most."""
    first, second = soundings.first_echo_db.astype(np.float64), soundings.second_echo_db.astype(np.float64)
    law = _law_of_rows(soundings, settings)
    loss = _bottom_loss(first, second, law, geometry, settings)
    sigma = loss_sigma_db(geometry, settings)
    missing = np.isfinite(first) & np.isfinite(geometry.below_m) & np.isnan(second) & _nothing_noted(soundings)
    weakest = _weakest_second(soundings, second, law, geometry)
    at_least = _bottom_loss(first, weakest, law, geometry, settings) - sigma
    return _measured(loss, sigma).or_else(_missing(missing & np.isfinite(weakest), at_least, sigma, geometry, settings))


def loss_sigma_db(geometry: SecondEcho, settings: HardnessSettings) -> Floats:
    """Standard error of a bottom loss [dB]: two levels, the surface, and absorption over the extra path of 2 d."""
    levels = 2.0 * settings.level_sigma_db**2 + settings.surface_loss_sigma_db**2
    absorbed = 2.0 * geometry.below_m * geometry.alpha * settings.absorption_sigma_share
    return np.asarray(np.sqrt(levels + absorbed**2), dtype=np.float64)


def _law_of_rows(soundings: Soundings, settings: HardnessSettings) -> NDArray[np.int8]:
    laws = [LAWS.index(facts.gain_law or settings.gain_law) for facts in soundings.logs]
    return np.array(laws or [0], dtype=np.int8)[soundings.log]


def _bottom_loss(
    first: Floats, second: Floats, law: NDArray[np.int8], geometry: SecondEcho, settings: HardnessSettings
) -> Floats:
    out = np.full(first.shape, np.nan)
    for code, name in enumerate(LAWS):
        rows = law == code
        out[rows] = bottom_loss_from_echoes(
            first[rows], second[rows], geometry.below_m[rows], geometry.alpha[rows], name, settings.surface_loss_db
        )
    return out


def _measured(loss: Floats, sigma: Floats) -> Reading:
    absurd = loss < -BELIEVED_SIGMAS * sigma
    value = np.where(absurd, np.nan, hardness_index(loss))
    error = np.where(np.isfinite(value), sigma / (LOSS_OF_SOFTEST_DB - LOSS_OF_HARDEST_DB), np.nan)
    blank = np.full(loss.shape, np.nan)
    return Reading(value, error, blank, blank, np.where(absurd, Silence.no_levels, 0).astype(np.int8))


def _nothing_noted(soundings: Soundings) -> Mask:
    unseen = (soundings.second_seen == NOT_NOTED) | (soundings.second_seen == SECOND_SEEN.index("none"))
    return np.asarray(unseen & np.isnan(soundings.second_bottom_m), dtype=bool)


def _weakest_second(soundings: Soundings, second: Floats, law: NDArray[np.int8], geometry: SecondEcho) -> Floats:
    """Level [dB] that a second echo needs to be heard, row by row: the weakest heard in the log, at equal gain.

    NaN for logs that never gave a second level: there its absence means nothing.
    """
    gain = law * 20.0 * np.log10(2.0 * geometry.below_m)
    floor = np.full(second.shape, np.nan)
    for code in range(len(soundings.logs)):
        rows = soundings.log == code
        heard = (second - gain)[rows & np.isfinite(second - gain)]
        if len(heard):
            floor[rows] = np.percentile(heard, WEAKEST_PERCENT)
    return np.asarray(floor + gain, dtype=np.float64)


def _missing(
    missing: Mask, at_least_db: Floats, sigma_db: Floats, geometry: SecondEcho, settings: HardnessSettings
) -> Reading:
    """A second echo too weak to be heard: loss at least so much, hardness anywhere from 0 to its bound."""
    high = hardness_index(at_least_db)
    telling = missing & geometry.could_show & (high <= hardness_index(settings.hard_at))
    silence = np.select(
        [~missing | telling, ~geometry.range_known, ~geometry.could_show],
        [Silence.nothing_there, Silence.range_unknown, Silence.range_short], Silence.too_quiet,
    )
    high = np.where(telling, high, np.nan)
    error = np.hypot(high / np.sqrt(12.0), sigma_db / (LOSS_OF_SOFTEST_DB - LOSS_OF_HARDEST_DB))
    return Reading(high / 2.0, error, np.full(high.shape, np.nan), high, silence.astype(np.int8))
