"""What makes echoes lie about a floor: named, and shown as doubt."""

from __future__ import annotations

import dataclasses
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))

from bench_hardness import told_of

from lakemap.hardness import HardnessSettings, add_hardness
from lakemap.model.hardness_notes import HardnessNote
from lakemap.model.log_facts import LogFacts
from lakemap.model.soundings import Soundings
from lakemap.physics.reflection import bottom_loss_db, hardness_index

PLAIN = HardnessSettings(wind_mps=0.0)


def grid_of_passes(echoes, reflection_at, depth_at, name="a.csv", khz=200.0, turn=False, apart_m=10.0):
    "Parallel passes 10 m apart over 200 by 200 m, a ping every 4 m; turned: the other way across."
    x, y = np.meshgrid(np.arange(0.0, 200.0, 4.0), np.arange(0.0, 200.0, apart_m))
    number = np.broadcast_to(np.arange(len(y))[:, None], x.shape)
    x, y = (y, x) if turn else (x, y)
    facts = LogFacts(name, gain_law="none", frequency_khz=khz, beam_deg=20.0)
    return echoes(
        depth_at(x, y).ravel(), reflection_at(x, y).ravel(), facts, noise_db=1.0, x_m=x.ravel(), y_m=y.ravel(),
        pass_id=number.ravel(), time_s=np.arange(x.size), display_range_m=80.0,
    )


def disc(x, y):
    "The middle of the square."
    return (x - 100.0) ** 2 + (y - 100.0) ** 2 < 25.0**2


def noted(found, note):
    "Which rows carry a note."
    return (found.hardness_notes & np.uint32(note.value)) != 0


def test_boulders_are_named_and_may_be_hard(echoes):
    "A first echo a third of the depth long over a weak second: anything from what the second says up to hard."
    lake = grid_of_passes(echoes, lambda x, y: np.full(x.shape, 0.2), lambda x, y: np.full(x.shape, 6.0))
    inside = disc(lake.x_m, lake.y_m)
    end = lake.logged_depth_m * np.where(inside, 1.4, 1.06)
    weak = lake.second_echo_db - np.where(inside, 12.0, 0.0)
    found = add_hardness(lake.with_columns(first_echo_end_m=end, second_echo_db=weak), PLAIN)
    scatter = noted(found, HardnessNote.scatter)
    assert scatter[inside].mean() > 0.8 and scatter[~inside].mean() < 0.02
    assert np.all(found.hardness_high[scatter] >= 0.66) and np.all(found.hardness_low[scatter] < 0.5)
    assert any("boulders or riprap" in text for text in found.messages)


def test_a_soft_layer_over_rock_shows_by_two_frequencies(echoes):
    "200 kHz reads silt, 50 kHz reads rock, in the disc alone: doubt there, and each log's word is one end of it."
    depth = lambda x, y: np.full(x.shape, 8.0)  # noqa: E731
    high = grid_of_passes(echoes, lambda x, y: np.where(disc(x, y), 0.08, 0.25), depth)
    low = grid_of_passes(echoes, lambda x, y: np.where(disc(x, y), 0.6, 0.25), depth, "b.csv", 50.0, turn=True)
    low = low.with_columns(pass_id=low.pass_id + 100)
    found = add_hardness(Soundings.concatenate([high, low]), PLAIN)
    inside = disc(found.x_m, found.y_m)
    layered = noted(found, HardnessNote.layered)
    assert layered[inside].mean() > 0.7 and layered[~inside].mean() < 0.12
    middle = (found.x_m - 100) ** 2 + (found.y_m - 100) ** 2 < 15**2
    assert np.nanmedian(found.hardness_high[middle] - found.hardness_low[middle]) > 0.5
    assert any("a thin soft layer over something hard" in text for text in found.messages)


def test_the_same_frequency_makes_no_layers(echoes):
    "Two days of one sounder that differ in a place are no two frequencies."
    depth = lambda x, y: np.full(x.shape, 8.0)  # noqa: E731
    one = grid_of_passes(echoes, lambda x, y: np.where(disc(x, y), 0.08, 0.25), depth)
    two = grid_of_passes(echoes, lambda x, y: np.where(disc(x, y), 0.6, 0.25), depth, "b.csv", turn=True)
    found = add_hardness(Soundings.concatenate([one, two.with_columns(pass_id=two.pass_id + 100)]), PLAIN)
    assert not noted(found, HardnessNote.layered).any()


@pytest.mark.parametrize(("rise_m", "gassy"), [(0.0, True), (0.7, False)])
def test_a_hard_patch_in_the_flat_soft_deep_may_be_gas(echoes, rise_m, gassy):
    "Level with the mud round it: perhaps gas. Standing up from it: rock."
    mud = lambda x, y: np.where(disc(x, y - 50), 0.6, 0.06)  # noqa: E731
    lake = grid_of_passes(echoes, mud, lambda x, y: 8.0 + 0.04 * y - rise_m * disc(x, y - 50))
    found = add_hardness(lake, PLAIN)
    inside = (found.x_m - 100) ** 2 + (found.y_m - 150) ** 2 < 18**2
    gas = noted(found, HardnessNote.gas)
    assert bool(gas[inside].mean() > 0.6) is gassy
    assert gas[~disc(found.x_m, found.y_m - 50)].mean() < 0.02
    if gassy:
        assert np.nanmin(found.hardness_low[gas]) < 0.25 and np.nanmax(found.hardness_high[gas]) > 0.8


def test_a_hard_patch_that_sand_leads_up_to_is_no_gas(echoes):
    "Stones, sand and mud sort into one another; gas ends at once."
    def floor(x, y):
        away = np.hypot(x - 100, y - 150)
        return np.where(away < 25, 0.6, np.where(away < 42, 0.25, 0.06))

    found = add_hardness(grid_of_passes(echoes, floor, lambda x, y: 8.0 + 0.04 * y), PLAIN)
    assert not noted(found, HardnessNote.gas).any()


def test_two_floors_that_meet_are_no_layers(echoes):
    "Along the edge of rock and silt each sounder meets both: nothing is doubted there."
    half = lambda x, y: np.where(x + 0.3 * y < 130, 0.6, 0.08)  # noqa: E731
    depth = lambda x, y: np.full(x.shape, 8.0)  # noqa: E731
    low = grid_of_passes(echoes, half, depth, "b.csv", 50.0, turn=True)
    found = add_hardness(Soundings.concatenate(
        [grid_of_passes(echoes, half, depth), low.with_columns(pass_id=low.pass_id + 100)]), PLAIN)
    assert noted(found, HardnessNote.layered).mean() < 0.03


def test_notes_of_a_display_still_count_where_its_levels_are_counts(rows):
    "Steps of a display, and any automatic gain, order nothing by themselves: said in a line; what the eye saw is read."
    counts = np.arange(60) % 200
    for facts in (LogFacts("a.csv", gain_law="none"), LogFacts("a.csv", gain_law="auto")):
        levels = counts if facts.gain_law == "none" else counts + 0.5
        plain = add_hardness(rows(np.full(60, 6.0), facts, first_echo_db=levels + 40, second_echo_db=levels), PLAIN)
        assert np.isnan(plain.hardness).all()
        assert sum("levels are counts of a display or of an automatic gain" in text for text in plain.messages) == 1
        seen = add_hardness(rows(np.full(60, 6.0), facts, first_echo_db=levels + 40, second_echo_db=levels,
                                 second_seen=2, display_range_m=30.0), PLAIN)
        assert (seen.hardness > 0.6).all() and noted(seen, HardnessNote.screen).all()


def test_confounders_are_named_on_invented_lakes_and_hardly_ever_where_there_is_none():
    "Four lakes of tests/bench with what lies there known: how often each is named, and falsely on the same lakes bare."
    told = told_of(range(1, 5))
    named = {name: np.mean(shares) for name, (shares, _) in told.items() if shares}
    false = {name: np.mean(shares) for name, (_, shares) in told.items() if shares}
    assert named["boulders"] > 0.75 and named["silt over rock"] > 0.75
    assert max(false["boulders"], false["gas"]) < 0.003 and false["silt over rock"] < 0.02


def test_doubt_is_a_span_and_no_average(echoes):
    "However many rows are in doubt, each keeps both ends; the span of one is the span of all."
    lake = grid_of_passes(echoes, lambda x, y: np.where(disc(x, y), 0.6, 0.06), lambda x, y: np.full(x.shape, 12.0))
    found = add_hardness(lake, PLAIN)
    gas = noted(found, HardnessNote.gas)
    assert np.all(found.hardness_sigma[gas] >= (found.hardness_high - found.hardness_low)[gas] / np.sqrt(12) - 1e-6)
    sure = hardness_index(bottom_loss_db(0.6))
    assert np.median(found.hardness_high[gas]) == pytest.approx(float(sure), abs=0.05)


def test_logs_keep_their_names(echoes):
    "A name with braces or quotes in it stands in messages as it is."
    lake = grid_of_passes(echoes, lambda x, y: np.full(x.shape, 0.3), lambda x, y: np.full(x.shape, 6.0), apart_m=50.0)
    odd = dataclasses.replace(lake, logs=(dataclasses.replace(lake.logs[0], name="a {1.0 m}.csv", gain_law=None),))
    assert any("a {1.0 m}.csv" in text for text in add_hardness(odd, PLAIN).messages)
