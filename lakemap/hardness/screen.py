"""Hardness read off the screen: does a second bottom show, how strongly, and how far below the first.

An ordinal instrument. Geometry puts the bounced echo at twice the depth whatever the floor; what varies is its
strength, and the tail of a hard floor's first echo that narrows the visible gap. That a second bottom close under the
first means hard, and one half the depth or more below it soft, is common practice of the trade and has no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lakemap.hardness.reading import Floats, Mask, Reading, note_where
from lakemap.hardness.second_echo import SecondEcho
from lakemap.hardness.settings import HardnessSettings
from lakemap.hardness.silence import no_second_says_nothing
from lakemap.model.hardness_notes import HardnessNote
from lakemap.model.soundings import SECOND_SEEN, Soundings
from lakemap.physics.reflection import hardness_index

NONE, FAINT, STRONG, THIRD = (SECOND_SEEN.index(word) for word in ("none", "faint", "strong", "third"))


@dataclass(frozen=True)
class Steps:
    """The scale's three steps as hardness: the middles of soft, medium and hard, and the limits between them."""

    soft: float
    medium: float
    hard: float
    soft_limit: float
    hard_limit: float

    @classmethod
    def of(cls, settings: HardnessSettings) -> Steps:
        """Steps from the bottom losses that bound the classes."""
        low, high = float(hardness_index(settings.soft_at)), float(hardness_index(settings.hard_at))
        return cls(low / 2.0, (low + high) / 2.0, (high + 1.0) / 2.0, low, high)


@dataclass(frozen=True)
class ScreenReading:
    """The readings, and which of them (n,) showed a second bottom at, or away from, its geometric place."""

    reading: Reading
    geometric: Mask
    elsewhere: Mask


def visible_gap(soundings: Soundings, geometry: SecondEcho) -> Floats:
    """From the end of the first echo (its start where no end was noted) to the second, as a share of depth (n,)."""
    end = soundings.first_echo_end_m.astype(np.float64)
    return (soundings.second_bottom_m - np.where(np.isfinite(end), end, geometry.shown_m)) / geometry.shown_m


def read_screen(soundings: Soundings, geometry: SecondEcho, settings: HardnessSettings) -> ScreenReading:
    """Hardness of n rows from what was seen of the second bottom."""
    gap, seen = visible_gap(soundings, geometry), soundings.second_seen
    placed = np.isfinite(gap)
    wrong = placed & ((gap <= 0) | (seen == NONE))
    geometric = placed & ~wrong & (np.abs(soundings.second_bottom_m - geometry.place_m) <= geometry.tolerance_m)
    elsewhere = placed & ~wrong & ~geometric
    steps = Steps.of(settings)
    by_place = np.where(elsewhere, hardness_of_gap(gap, settings), np.nan)
    by_strength = np.where(wrong, np.nan, _hardness_of_strength(soundings, steps))
    above = placed & (soundings.second_bottom_m <= geometry.shown_m)
    why = note_where(wrong & above, HardnessNote.above_bottom) | note_where(wrong & ~above, HardnessNote.no_gap)
    why = np.where(wrong & (gap > 0), np.uint32(HardnessNote.contradiction.value), why)
    shown = _both(by_place, by_strength, settings).or_else(_only_shown(geometric, steps, settings))
    shown = Reading(shown.value, shown.sigma, shown.low, shown.high, shown.notes | why)
    unseen = (seen == NONE) & ~placed & np.isfinite(geometry.shown_m)
    return ScreenReading(shown.or_else(_unseen(unseen, geometry, steps, settings)), geometric, elsewhere)


def hardness_of_gap(gap: Floats, settings: HardnessSettings) -> Floats:
    """Hardness by visible gap: three steps at gap_hard_at and gap_soft_at (common practice of the trade, no source)."""
    return np.where(
        np.isnan(gap), np.nan, step_of_gap(gap, settings.gap_hard_at, settings.gap_soft_at, Steps.of(settings)))


def step_of_gap(gap: Floats, hard_at: Floats | float, soft_at: Floats | float, steps: Steps) -> Floats:
    """The step of each gap (k,) by one pair of lines, or by many (m, 1): (m, k)."""
    return np.where(gap <= hard_at, steps.hard, np.where(gap >= soft_at, steps.soft, steps.medium))


def _hardness_of_strength(soundings: Soundings, steps: Steps) -> Floats:
    """By the word noted: faint is medium, strong is hard, a third bottom harder still (practice, no source)."""
    table = {FAINT: steps.medium, STRONG: steps.hard, THIRD: (steps.hard + 1.0) / 2.0}
    out = np.full(len(soundings), np.nan)
    for word, hardness in table.items():
        out[soundings.second_seen == word] = hardness
    return out


def _both(by_place: Floats, by_strength: Floats, settings: HardnessSettings) -> Reading:
    """Place and strength weigh alike; where they differ, half the difference goes into sigma."""
    one, other = (np.where(np.isnan(a), b, a) for a, b in ((by_place, by_strength), (by_strength, by_place)))
    value = (one + other) / 2.0
    sigma = np.where(np.isnan(value), np.nan, np.hypot(settings.screen_sigma, (one - other) / 2.0))
    return Reading.of(value, sigma, note_where(np.isfinite(value), HardnessNote.screen))


def _only_shown(geometric: Mask, steps: Steps, settings: HardnessSettings) -> Reading:
    """A second bottom where geometry puts it, strength not noted: it shows, so the floor is not soft."""
    low = np.where(geometric, steps.soft_limit, np.nan)
    notes = note_where(geometric, HardnessNote.screen) | note_where(geometric, HardnessNote.at_least)
    bound = Reading.bounded(low, np.full(low.shape, np.nan), notes)
    return Reading(bound.value, np.hypot(settings.screen_sigma, bound.sigma), bound.low, bound.high, notes)


def _unseen(unseen: Mask, geometry: SecondEcho, steps: Steps, settings: HardnessSettings) -> Reading:
    """None noted: soft, and at most short of hard, where the screen could have shown one; else nothing is known."""
    why = no_second_says_nothing(unseen, geometry)
    telling = unseen & (why == 0)
    value = np.where(telling, steps.soft, np.nan)
    sigma = np.where(telling, np.hypot(settings.screen_sigma, steps.soft_limit / np.sqrt(12.0)), np.nan)
    notes = why | note_where(telling, HardnessNote.screen) | note_where(telling, HardnessNote.at_most)
    high = np.where(telling, steps.hard_limit, np.nan)
    return Reading(value, sigma, np.full(value.shape, np.nan), high, notes)
