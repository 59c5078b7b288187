"""Hardness from the levels of the first and second echo."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from lakemap.hardness.own_level import OwnLevel, own_level, safe_from_loss
from lakemap.hardness.ping_to_ping import roughness_db
from lakemap.hardness.reading import Floats, Mask, Reading, note_where
from lakemap.hardness.receiver import Receiver, clipped
from lakemap.hardness.second_echo import SecondEcho
from lakemap.hardness.settings import HardnessSettings
from lakemap.hardness.silence import no_second_says_nothing
from lakemap.model.hardness_notes import HardnessNote
from lakemap.model.soundings import NOT_NOTED, SECOND_SEEN, Soundings
from lakemap.physics.reflection import (
    DOUBLING_DB,
    LOSS_OF_HARDEST_DB,
    LOSS_OF_SOFTEST_DB,
    gain_db,
    hardness_index,
    unclipped_hardness,
)

SPAN_DB = LOSS_OF_SOFTEST_DB - LOSS_OF_HARDEST_DB
WEAKEST_PERCENT = 1.0
"""Share of a log's second echoes that may be outliers when the weakest of them marks what could still be heard."""
BELIEVED_SIGMAS = 4.0
"""A bottom that gives back more than it got by this many standard errors was no level in dB."""
FLAT_DB = 1.5
"""Own levels, and what roughness does, are learnt where a slope takes less than this from the second echo."""


@dataclass(frozen=True)
class Echoes:
    """Levels of n rows freed of range, absorption, gain and slope [dB]: own level less one or two bottom losses.

    ``first_ok`` and ``second_ok``: measured (not saturated, within the beam); ``first_high`` and ``second_high``:
    saturated; ``gained_db`` what the second level was lifted by, to compare what can be heard at all.
    """

    first: Floats
    second: Floats
    first_ok: Mask
    second_ok: Mask
    first_high: Mask
    second_high: Mask
    weakest: Floats


def read_levels(
    soundings: Soundings, geometry: SecondEcho, heard: tuple[Receiver, ...], settings: HardnessSettings
) -> Reading:
    """Hardness of n rows from both levels, or from one where the other is missing, saturated or out of the beam and
    the log's pairs tell its own level; else a bound where it can be given."""
    echoes = freed_levels(soundings, geometry, heard)
    own = level_of_logs(soundings, echoes, geometry)
    pair = _pairs(echoes, geometry, own, settings)
    missing = np.isfinite(soundings.first_echo_db) & np.isnan(soundings.second_echo_db) & _nothing_noted(soundings)
    single = _singles(soundings, echoes, (geometry, own), settings)
    alone = single.only(~(missing & (geometry.at_speed | geometry.hidden)))
    alone = _at_least(alone, geometry.near_edge & single.has(HardnessNote.first_alone))
    reading = alone.or_else(pair).or_else(_bounds(echoes, geometry, settings))
    reading = reading.or_else(_missing(missing, echoes, geometry, settings))
    absurd = _absurd(echoes, settings, geometry)
    counts = np.array([one.counts for one in heard] or [False])[soundings.log]
    counts &= np.isfinite(soundings.first_echo_db) | np.isfinite(soundings.second_echo_db)
    kept = reading.only(~absurd & ~counts)
    return kept.noted(absurd & ~counts, HardnessNote.no_levels).noted(counts, HardnessNote.counts)


def freed_levels(soundings: Soundings, geometry: SecondEcho, heard: tuple[Receiver, ...]) -> Echoes:
    """What is left of both levels when all but own level and bottom loss is taken off."""
    first, second = soundings.first_echo_db.astype(np.float64), soundings.second_echo_db.astype(np.float64)
    d, alpha = geometry.below_m, geometry.alpha
    gain = np.zeros((2, len(d)))
    clip = np.array([one.clip_db for one in heard] or [np.inf])[soundings.log]
    for code, one in enumerate(heard):
        rows = soundings.log == code
        gain[0, rows], gain[1, rows] = (gain_db(r * d[rows], alpha[rows], one.law) for r in (1.0, 2.0))
    spread = 20.0 * np.log10(2.0 * d)
    freed_first = first + spread + 2.0 * alpha * d - gain[0] + geometry.first_lost_db
    freed = spread + DOUBLING_DB + 4.0 * alpha * d - gain[1] + geometry.second_lost_db + geometry.surface_db
    high = clipped(first, clip), clipped(second, clip)
    return Echoes(
        freed_first, second + freed, np.isfinite(first) & ~high[0] & geometry.first_in_beam,
        np.isfinite(second) & ~high[1] & geometry.second_in_beam, high[0], high[1],
        _weakest_second(soundings, second, gain[1]) + freed,
    )


def level_of_logs(soundings: Soundings, echoes: Echoes, geometry: SecondEcho) -> OwnLevel:
    """Each log's own level, learnt from pairs on floors that are nearly flat, where seconds are hardly ever lost."""
    fair = soundings.usable() & ~geometry.hidden & ~geometry.at_speed & (geometry.second_lost_db < FLAT_DB)
    fair &= echoes.first_ok & ~echoes.second_high & (geometry.could_show | ~geometry.range_known)
    good = np.zeros(len(soundings), dtype=bool)
    for code in range(len(soundings.logs)):
        rows = np.flatnonzero(fair & (soundings.log == code))
        good[rows] = safe_from_loss(2.0 * echoes.first[rows] - echoes.weakest[rows], echoes.second_ok[rows])
    good &= echoes.second_ok
    return own_level(
        2.0 * echoes.first - echoes.second, good, soundings.log, soundings.pass_id, len(soundings.logs)
    )


def _singles(
    soundings: Soundings, echoes: Echoes, known: tuple[SecondEcho, OwnLevel], settings: HardnessSettings
) -> Reading:
    """Own level less the first echo is one loss, less the second is two: both together, each by its own error."""
    geometry, own = known
    spread = own.echo_sigma_db**2
    use_first, use_second = echoes.first_ok & own.known, echoes.second_ok & own.known
    weight_first = use_first / (spread + geometry.first_doubt_db**2)
    weight_second = 4.0 * use_second / (spread + geometry.second_doubt_db**2)
    total = weight_first + weight_second
    safe = np.where(total > 0, total, np.nan)
    by_first, by_second = own.level_db - echoes.first, (own.level_db - echoes.second) / 2.0
    loss = (np.where(use_first, by_first, 0.0) * weight_first
            + np.where(use_second, by_second, 0.0) * weight_second) / safe
    share = weight_second / safe
    shared = (own.sigma_db * (1.0 - share / 2.0)) ** 2 + (settings.surface_loss_sigma_db * share / 2.0) ** 2
    absorbed = (2.0 * geometry.below_m * geometry.alpha * settings.absorption_sigma_share) ** 2
    both = use_first & use_second
    level_floor = both & (geometry.second_lost_db < FLAT_DB)
    rough = roughness_db(soundings, np.where(level_floor, loss, np.nan), 1.0 / safe, settings)
    sigma = np.sqrt(1.0 / safe + shared + absorbed + rough**2)
    notes = note_where(both, HardnessNote.both_echoes) | note_where(use_first & ~both, HardnessNote.first_alone)
    notes |= note_where(use_second & ~both, HardnessNote.second_alone)
    notes |= note_where(echoes.first_high | echoes.second_high, HardnessNote.saturated)
    notes |= note_where(~geometry.second_in_beam & use_first, HardnessNote.slope)
    return Reading.of(unclipped_hardness(loss), sigma / SPAN_DB, notes)


def _at_least(reading: Reading, where: Mask) -> Reading:
    """Readings that a steeper slope than the one seen would make harder: at least so hard, less one standard error."""
    low = np.where(where & reading.observed, np.maximum(reading.value - reading.sigma, 0.0), np.nan)
    bound = Reading.bounded(low, np.full(low.shape, np.nan), reading.notes)
    bound = dataclasses.replace(bound, sigma=np.fmax(bound.sigma, np.where(bound.observed, reading.sigma, np.nan)))
    return bound.noted(bound.observed, HardnessNote.at_least).or_else(reading)


def _pairs(echoes: Echoes, geometry: SecondEcho, own: OwnLevel, settings: HardnessSettings) -> Reading:
    """First less second is one loss whatever the own level."""
    rows = echoes.first_ok & echoes.second_ok
    loss = np.where(rows, echoes.first - echoes.second, np.nan)
    sigma = loss_sigma_db(geometry, own, settings)
    return Reading.of(unclipped_hardness(loss), sigma / SPAN_DB, note_where(rows, HardnessNote.both_echoes))


def loss_sigma_db(geometry: SecondEcho, own: OwnLevel, settings: HardnessSettings) -> Floats:
    """Standard error of a loss from one pair [dB]: two levels, the surface, absorption over the extra path, slope."""
    level = np.where(own.known, own.echo_sigma_db, settings.level_sigma_db)
    absorbed = 2.0 * geometry.below_m * geometry.alpha * settings.absorption_sigma_share
    steep = geometry.second_doubt_db
    return np.asarray(np.sqrt(2.0 * level**2 + settings.surface_loss_sigma_db**2 + absorbed**2 + steep**2))


def _absurd(echoes: Echoes, settings: HardnessSettings, geometry: SecondEcho) -> Mask:
    """A second echo far stronger than the first allows, though neither is a bound."""
    plain = 2.0 * settings.level_sigma_db**2 + settings.surface_loss_sigma_db**2
    absorbed = (2.0 * geometry.below_m * geometry.alpha * settings.absorption_sigma_share) ** 2
    loss = echoes.first - echoes.second
    return np.asarray(
        (loss < -BELIEVED_SIGMAS * np.sqrt(plain + absorbed)) & ~echoes.first_high & ~echoes.second_high
        & geometry.second_in_beam
    )


def _bounds(echoes: Echoes, geometry: SecondEcho, settings: HardnessSettings) -> Reading:
    """A saturated or slope-weakened level bounds the loss from one side; with both sides open it says nothing."""
    sigma = np.sqrt(2.0 * settings.level_sigma_db**2 + settings.surface_loss_sigma_db**2)
    uncorrected = echoes.first - echoes.second + geometry.second_lost_db - geometry.first_lost_db
    heard = np.isfinite(uncorrected)
    first_weak, second_weak = echoes.first_high, echoes.second_high | ~geometry.second_in_beam
    harder = heard & second_weak & ~first_weak & geometry.first_in_beam
    softer = heard & first_weak & ~second_weak
    low = np.where(harder, unclipped_hardness(uncorrected + sigma), np.nan)
    high = np.where(softer, unclipped_hardness(uncorrected - sigma), np.nan)
    notes = note_where(harder | softer, HardnessNote.both_echoes)
    notes |= note_where(harder, HardnessNote.at_least) | note_where(softer, HardnessNote.at_most)
    notes |= note_where(echoes.first_high | echoes.second_high, HardnessNote.saturated)
    notes |= note_where(heard & ~geometry.second_in_beam, HardnessNote.slope)
    low, high = np.where(low > 0, low, np.nan), np.where(high < 1, high, np.nan)
    return Reading.bounded(low, high, notes)


def _nothing_noted(soundings: Soundings) -> Mask:
    unseen = (soundings.second_seen == NOT_NOTED) | (soundings.second_seen == SECOND_SEEN.index("none"))
    return np.asarray(unseen & np.isnan(soundings.second_bottom_m), dtype=bool)


def _weakest_second(soundings: Soundings, second: Floats, gain: Floats) -> Floats:
    """Level [dB] that a second echo needs to be heard, row by row: the weakest heard in the log.

    Compared at equal gain, as noise from before the gain would have it, and as shown, as a threshold behind it would;
    the higher counts. NaN for logs that never gave a second level: there its absence means nothing.
    """
    floor = np.full((2, len(second)), np.nan)
    for code in range(len(soundings.logs)):
        rows = soundings.log == code
        heard = rows & np.isfinite(second - gain)
        if heard.any():
            floor[0, rows] = np.percentile((second - gain)[heard], WEAKEST_PERCENT) + gain[rows]
            floor[1, rows] = np.percentile(second[heard], WEAKEST_PERCENT)
    return np.asarray(np.fmax(floor[0], floor[1]))


def _missing(missing: Mask, echoes: Echoes, geometry: SecondEcho, settings: HardnessSettings) -> Reading:
    """A second echo too weak to be heard: loss at least so much, hardness anywhere from 0 to its bound."""
    sigma = np.sqrt(2.0 * settings.level_sigma_db**2 + settings.surface_loss_sigma_db**2)
    at_least = echoes.first - echoes.weakest - sigma
    missing = missing & np.isfinite(at_least)
    high = hardness_index(at_least)
    why = no_second_says_nothing(missing, geometry, high > hardness_index(settings.hard_at))
    telling = missing & (why == 0)
    notes = why | note_where(telling, HardnessNote.at_most) | note_where(telling, HardnessNote.both_echoes)
    bound = Reading.bounded(np.full(high.shape, np.nan), np.where(telling, high, np.nan), notes)
    error = np.where(telling, np.hypot(high / np.sqrt(12.0), sigma / SPAN_DB), np.nan)
    return Reading(bound.value, error, bound.low, bound.high, notes)
