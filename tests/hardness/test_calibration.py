"""Hardness calibrated on bottom samples."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS
from shapely import box

from lakemap.geo.crs import unproject
from lakemap.hardness import HardnessSettings, place_samples, read_hardness
from lakemap.hardness.calibrate import calibrate, class_limits
from lakemap.hardness.reading import Reading
from lakemap.hardness.words import words_of
from lakemap.model.hardness_notes import HardnessNote
from lakemap.model.log_facts import LogFacts
from lakemap.model.samples import BottomSamples
from lakemap.model.shoreline import Shoreline
from lakemap.physics.grain_size import hardness_of_grain

PLAIN = HardnessSettings(wind_mps=0.0)
UTM = CRS.from_epsg(32632)
WORDS = {"gravel": -3.0, "sand": 1.5, "silt": 5.5, "mud": 7.0}


def samples_at(x_m, words, sigma=0.8):
    "Samples along the x axis, one word each."
    n = len(words)
    nowhere, phi = np.full(n, np.nan), np.array([WORDS.get(word, np.nan) for word in words])
    made = BottomSamples.of((nowhere, nowhere), tuple(words), ("pole",) * n, (phi, np.full(n, sigma)), np.arange(n) + 2)
    return dataclasses.replace(made, x_m=np.asarray(x_m, float), y_m=np.zeros(n))


def shifted_world(offset, n=400, seed=2):
    "Readings along a line over patches of four floors, all off by ``offset``; the words under them."
    rng = np.random.default_rng(seed)
    x = np.linspace(0.0, 4000.0, n)
    words = np.array(list(WORDS))[(x // 250).astype(int) % 4]
    truth = hardness_of_grain(np.array([WORDS[word] for word in words]))
    value = truth + offset + 0.06 * rng.standard_normal(n)
    return Reading.of(value, np.full(n, 0.06)), np.column_stack([x, np.zeros(n)]), words, truth


@pytest.mark.parametrize("offset", [-0.12, 0.1])
def test_samples_bring_a_shifted_scale_back(offset):
    "Twelve samples halve an error of the whole scale at least, and say how sure they are."
    reading, xy, words, truth = shifted_world(offset)
    at = np.linspace(10, 390, 12).astype(int)
    made = calibrate(reading, xy, samples_at(xy[at, 0], words[at], 0.5), PLAIN)
    moved = made.apply(reading)
    assert abs(np.median(moved.value - truth)) < abs(offset) / 2
    assert made.samples == 12 and made.told_right >= 9
    without, middle = calibrate(reading, xy, BottomSamples.none(), PLAIN), np.array(0.5)
    assert float(made.error(middle)) < float(without.error(middle))


def test_no_samples_change_nothing():
    "The physics itself, called relative."
    reading, xy, _, _ = shifted_world(0.1)
    made = calibrate(reading, xy, BottomSamples.none(), PLAIN)
    assert made.samples == 0 and made.told_right is None
    assert made.apply(reading).value == pytest.approx(reading.value)


@given(st.lists(st.sampled_from(list(WORDS)), min_size=1, max_size=12), st.integers(0, 50))
def test_harder_readings_never_mean_softer_floors(words, seed):
    "Whatever the samples say, even all wrong, the line only rises."
    reading, xy, _, _ = shifted_world(0.0, seed=seed)
    made = calibrate(reading, xy, samples_at(np.linspace(50, 3950, len(words)), words), PLAIN)
    line = made.hardness(np.linspace(-0.3, 1.3, 60))
    assert np.all(np.diff(line) > 0)


def test_samples_all_the_wrong_way_round_do_not_turn_the_scale():
    "Forty sure samples that call the hard floors mud and the soft ones gravel: flat at worst, never falling."
    reading, xy, words, _ = shifted_world(0.0)
    at = np.linspace(5, 395, 40).astype(int)
    turned = dict(zip(WORDS, reversed(WORDS), strict=True))
    made = calibrate(reading, xy, samples_at(xy[at, 0], [turned[word] for word in words[at]], 0.05), PLAIN)
    assert np.all(made.steepness > 0)
    assert np.all(np.diff(made.hardness(np.linspace(-0.3, 1.3, 60))) > 0)


def test_one_wrong_sample_in_twelve_hardly_matters():
    "A stone in the mud: the line weighs what lies far off less."
    reading, xy, words, truth = shifted_world(0.0)
    at = np.linspace(10, 390, 12).astype(int)
    told = words[at].copy()
    told[np.flatnonzero(told == "mud")[0]] = "gravel"
    made = calibrate(reading, xy, samples_at(xy[at, 0], told, 0.5), PLAIN)
    assert abs(np.median(made.apply(reading).value - truth)) < 0.04


def test_samples_out_of_reach_do_not_calibrate():
    "A sample a hundred metres off the track says nothing of its readings."
    reading, xy, _, _ = shifted_world(0.0)
    far = dataclasses.replace(samples_at([100.0], ["sand"]), y_m=np.array([100.0]))
    assert calibrate(reading, xy, far, PLAIN).samples == 0


def test_words_take_over_once_there_are_enough():
    "Five of each of four words: the map speaks in them, softest first; with three samples it does not."
    reading, xy, words, _ = shifted_world(0.0)
    at = np.linspace(5, 395, 40).astype(int)
    many = calibrate(reading, xy, samples_at(xy[at, 0], words[at], 0.4), PLAIN)
    few = calibrate(reading, xy, samples_at(xy[at[:3], 0], words[at[:3]], 0.4), PLAIN)
    model = words_of(many, PLAIN)
    assert model is not None and model.words[-1] == "gravel" and set(model.words[:2]) == {"silt", "mud"}
    assert words_of(few, PLAIN) is None
    assert words_of(many, HardnessSettings(classes="standard")) is None
    chance = model.probability(np.array([0.1, 0.9]), np.array([0.05, 0.05]))
    assert chance.sum(axis=0) == pytest.approx(1.0)
    assert model.words[int(chance[:, 1].argmax())] == "gravel"


def test_samples_on_land_are_said_and_not_used():
    "Far up the bank: one line with its place in the file; a dry look just above the waterline still counts."
    x = np.array([500_000.0, 500_110.0, 500_400.0])
    lon, lat = unproject(UTM, x, np.full(3, 5_200_000.0))
    samples = BottomSamples.of((lon, lat), ("sand",) * 3, ("dry",) * 3, (np.ones(3), np.ones(3)), np.array([2, 3, 4]),
                               "felt.csv")
    west, south = unproject(UTM, np.array([499_900.0]), np.array([5_199_900.0]))
    east, north = unproject(UTM, np.array([500_100.0]), np.array([5_200_100.0]))
    placed = place_samples(samples, UTM, Shoreline(box(west[0], south[0], east[0], north[0]), "shore"))
    assert placed.use.tolist() == [True, True, False]
    assert placed.messages == ("felt.csv: bottom sample on land in line 4; not used, check its position",)


def test_a_sample_that_says_the_opposite_makes_doubt(echoes):
    "Mud on the pole where echoes read rock: gas, or a wrong place. Readings there may be either."
    lake = echoes(np.full(80, 8.0), 0.7, LogFacts("a.csv", gain_law="none"), x_m=5.0 * np.arange(80))
    read = read_hardness(lake, PLAIN, samples_at([200.0], ["mud"], 0.4))
    near = np.abs(lake.x_m - 200.0) <= PLAIN.join_m
    found = read.soundings
    assert np.all(found.hardness_notes[near] & HardnessNote.sample_differs.value)
    low, high = class_limits(PLAIN)
    assert np.all((found.hardness_low[near] < low) & (found.hardness_high[near] > high))
    assert np.all(np.isnan(found.hardness_low[~near]))
    assert any("contradict: mud in line 2" in text for text in found.messages)


def test_calibrated_hardness_says_so_and_relative_does_too(echoes):
    "The message names the number of samples and how many of them the others tell."
    facts = LogFacts("a.csv", gain_law="none")
    lake = echoes(np.full(40, 8.0), np.linspace(0.05, 0.6, 40), facts, x_m=50.0 * np.arange(40))
    told = read_hardness(lake, PLAIN, samples_at([0.0, 950.0, 1950.0], ["mud", "sand", "gravel"])).soundings.messages
    assert any("calibrated on 3 bottom samples" in text for text in told)
    assert not any("relative" in text for text in told)
    assert any("relative" in text for text in read_hardness(lake, PLAIN).soundings.messages)
    one = read_hardness(lake, PLAIN, samples_at([0.0], ["mud"])).soundings.messages
    assert any("nearly relative: only 1 bottom sample near" in text for text in one)
    assert not any("calibrated on" in text for text in one)
