"""Both kinds of reading on one lake."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from lakemap.hardness import HardnessSettings, add_hardness
from lakemap.model.log_facts import LogFacts
from lakemap.model.soundings import SECOND_SEEN, Soundings
from lakemap.physics.reflection import bottom_loss_db, hardness_index

PLAIN = HardnessSettings(wind_mps=0.0)
STRONG = SECOND_SEEN.index("strong")


def both_kinds(echoes, rows, away_m, n=40):
    "A log of levels over a floor of 0.2, and one of screen notes, all strong, so far away."
    levels = echoes(np.full(n, 6.0), 0.2, LogFacts("levels.csv", gain_law="none"))
    notes = rows(np.full(n, 6.0), LogFacts("notes.csv"), second_seen=STRONG, y_m=away_m)
    return Soundings.concatenate([levels, notes])


def test_notes_near_levels_move_onto_their_scale(echoes, rows):
    "Notes that read strong over a floor the levels call medium are brought down to it, with the offset's error."
    found = add_hardness(both_kinds(echoes, rows, 5.0), PLAIN)
    truth = float(hardness_index(bottom_loss_db(0.2)))
    assert found.hardness[40:] == pytest.approx(truth, abs=1e-5)
    assert np.all(found.hardness_sigma[40:] > PLAIN.screen_sigma)
    assert any("onto the scale of the echo levels" in text for text in found.messages)


def test_notes_far_from_levels_stay_unscaled(echoes, rows):
    "No place with both: nothing is moved, sigma is wider, and it is said."
    lake = both_kinds(echoes, rows, 500.0)
    found = add_hardness(lake, PLAIN)
    alone = add_hardness(lake.take(np.arange(40, 80)), PLAIN)
    assert np.array_equal(found.hardness[40:], alone.hardness)
    assert found.hardness_sigma[40:] == pytest.approx(np.hypot(alone.hardness_sigma, PLAIN.unscaled_sigma))
    assert any("left unscaled" in text for text in found.messages)


def test_one_place_is_not_enough(echoes, rows):
    "Forty notes at one anchorage are one place, not forty."
    lake = both_kinds(echoes, rows, 5.0)
    lake = lake.with_columns(x_m=np.where(lake.log == 1, 2.0, lake.x_m))
    assert any("left unscaled" in text for text in add_hardness(lake, PLAIN).messages)


def test_a_few_wrong_notes_do_not_move_the_scale(echoes, rows):
    "The offset is a median: four notes in forty that contradict the rest change it by nothing."
    lake = both_kinds(echoes, rows, 5.0)
    word = lake.second_seen.copy()
    word[[45, 55, 65, 75]] = SECOND_SEEN.index("faint")
    right, wrong = add_hardness(lake, PLAIN), add_hardness(lake.with_columns(second_seen=word), PLAIN)
    assert wrong.hardness[40] == pytest.approx(right.hardness[40])


def test_one_wrong_note_in_each_place_does_not_move_the_scale(echoes, rows):
    "Three notes in a place, one of them wrong: the place says what most of its notes say."
    lake = both_kinds(echoes, rows, 5.0)
    crowded = lake.with_columns(x_m=np.where(lake.log == 1, 45.0 * (np.arange(80) // 3 - 13) + 2.0, lake.x_m))
    word = lake.second_seen.copy()
    word[42::3] = SECOND_SEEN.index("faint")
    right, wrong = add_hardness(crowded, PLAIN), add_hardness(crowded.with_columns(second_seen=word), PLAIN)
    assert wrong.hardness[40] == pytest.approx(right.hardness[40])


def test_the_error_of_the_offset_falls_with_the_places(echoes, rows):
    "Ten times the places, a third of the error."
    sigmas = [add_hardness(both_kinds(echoes, rows, 5.0, n), PLAIN).hardness_sigma[-1] for n in (30, 300)]
    own = PLAIN.screen_sigma
    few, many = (np.sqrt(sigma**2 - own**2) for sigma in sigmas)
    assert few / many == pytest.approx(np.sqrt(10), rel=0.1)


def test_a_row_with_both_uses_its_levels(echoes):
    "Levels are measured; the word beside them is not counted a second time."
    lake = echoes(np.full(10, 6.0), 0.2)
    found = add_hardness(lake.with_columns(second_seen=np.full(10, STRONG)), PLAIN)
    assert np.array_equal(found.hardness, add_hardness(lake, PLAIN).hardness)
    assert not any("off the screen" in text for text in found.messages)


def test_the_two_kinds_are_reported_apart(echoes, rows):
    "How many rows of each kind."
    texts = add_hardness(both_kinds(echoes, rows, 5.0), PLAIN).messages
    assert any("from echo levels in 40 rows" in text for text in texts)
    assert any("off the screen in 40 rows" in text for text in texts)


def test_bounds_move_with_their_readings(echoes, rows):
    "An upper bound is shifted as the readings are and stays within 0..1."
    lake = both_kinds(echoes, rows, 5.0)
    word = lake.second_seen.copy()
    word[79] = SECOND_SEEN.index("none")
    lake = lake.with_columns(second_seen=word, display_range_m=np.full(80, 50.0))
    found = add_hardness(lake, PLAIN)
    unmoved = add_hardness(lake.take(np.arange(40, 80)), PLAIN)
    shift = found.hardness[40] - unmoved.hardness[0]
    assert found.hardness_high[79] == pytest.approx(unmoved.hardness_high[39] + shift, abs=1e-6)


def test_order_of_logs_changes_nothing(echoes, rows):
    "The same rows in another order of logs read the same, bit for bit."
    lake = both_kinds(echoes, rows, 5.0)
    turned = Soundings.concatenate(
        [dataclasses.replace(lake.take(lake.log == code).with_columns(log=np.zeros(40, int)), logs=(lake.logs[code],))
         for code in (1, 0)]
    )
    one, other = add_hardness(lake, PLAIN), add_hardness(turned, PLAIN)
    assert np.array_equal(one.hardness, np.roll(other.hardness, 40))
    assert np.array_equal(one.hardness_sigma, np.roll(other.hardness_sigma, 40))
