"Where a screen's gaps part hard from soft, told by bottom samples."

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lakemap.hardness import HardnessSettings, read_hardness
from lakemap.hardness.calibrate import readings_beside
from lakemap.hardness.cut_points import cut_points
from lakemap.hardness.reading import Reading
from lakemap.model.samples import BottomSamples
from lakemap.physics.grain_size import hardness_of_doubtful_grain, hardness_of_grain
from lakemap.physics.reflection import bottom_class

PLAIN = HardnessSettings()
WORDS = {"gravel": -3.0, "sand": 3.0, "mud": 7.5}
HARD_AT, SOFT_AT = 0.45, 0.8
"Where this screen's gaps part: both far from the trade's 0.25 and 0.5."


def screen_lake(seed, n=600):
    "Notes along a line over patches of three floors: gap as a share of depth, its place, the floor's word."
    rng = np.random.default_rng(seed)
    x = np.linspace(0.0, 6000.0, n)
    word = np.array(list(WORDS))[(x // 200).astype(int) % 3]
    between = {"gravel": (0.1, HARD_AT), "sand": (HARD_AT, SOFT_AT), "mud": (SOFT_AT, 0.95)}
    return x, np.array([rng.uniform(*between[one]) for one in word]), word


def samples_at(x_m, words):
    n, nowhere = len(words), np.full(len(words), np.nan)
    phi = np.array([WORDS[word] for word in words])
    made = BottomSamples.of((nowhere, nowhere), tuple(words), ("pole",) * n, (phi, np.full(n, 0.5)), np.arange(n) + 2)
    return dataclasses.replace(made, x_m=np.asarray(x_m, float), y_m=np.zeros(n))


def told(seed, count):
    x, gap, word = screen_lake(seed)
    at = np.random.default_rng(seed + 50).choice(len(x), count, replace=False)
    xy = np.column_stack([x, np.zeros(len(x))])
    return cut_points(gap, np.ones(len(x), dtype=bool), xy, samples_at(x[at], word[at]), PLAIN)


@pytest.mark.parametrize("seed", range(5))
def test_many_samples_find_where_this_screen_parts(seed):
    "Thirty samples bring both lines half of the way from the trade's figures at least: each is a word of one place."
    made = told(seed, 30)
    assert made.samples == 30
    assert abs(made.hard_at - HARD_AT) < (HARD_AT - 0.25) / 2
    assert abs(made.soft_at - SOFT_AT) < (SOFT_AT - 0.5) / 2


@pytest.mark.parametrize("seed", range(5))
def test_few_samples_move_them_less_and_fewer_not_at_all(seed):
    few, none = told(seed, 6), told(seed, 3)
    assert few.samples == 6 and 0.2 < few.hard_at < few.soft_at
    assert (none.hard_at, none.soft_at, none.samples) == (PLAIN.gap_hard_at, PLAIN.gap_soft_at, 0)


@given(st.integers(0, 200), st.integers(4, 40))
def test_the_lines_never_change_places(seed, count):
    made = told(seed, count)
    assert 0 < made.hard_at < made.soft_at


def test_a_lake_of_notes_is_read_by_them(rows):
    "More floors are told right with samples than by the trade's figures, away from the samples too; it is said."
    x, gap, word = screen_lake(7)
    depth = 8.0
    lake = rows(np.full(len(x), depth), x_m=x, second_bottom_m=depth * (1 + gap))
    truth = bottom_class(hardness_of_grain(np.array([WORDS[one] for one in word])))
    at = np.arange(10, len(x), 20)
    plain = read_hardness(lake, PLAIN).soundings
    made = read_hardness(lake, PLAIN, samples_at(x[at], word[at])).soundings
    shares = [np.mean(bottom_class(one.hardness) == truth) for one in (plain, made)]
    assert shares[1] > shares[0] + 0.25 and shares[1] > 0.8, shares
    assert any("as 30 bottom samples beside such notes tell" in text for text in made.messages)
    assert any("no source" in text for text in plain.messages)


@pytest.mark.parametrize("seed", [704, 709, 710])
def test_samples_left_out_are_told_with_all_learnt_anew(rows, seed):
    "As many are told right as when each is taken out of the file and the whole stage run again."
    x, gap, word = screen_lake(seed)
    lake = rows(np.full(len(x), 8.0), x_m=x, second_bottom_m=8.0 * (1 + gap))
    at = np.arange(10, len(x), 40)
    samples = samples_at(x[at], word[at])
    truth = bottom_class(hardness_of_doubtful_grain(samples.phi, samples.phi_sigma)[0])
    xy, right = np.column_stack([x, np.zeros(len(x))]), 0
    for i in range(len(at)):
        rest = samples_at(np.delete(x[at], i), np.delete(word[at], i))
        told = read_hardness(lake, PLAIN, rest).soundings
        there, _ = readings_beside(Reading.of(told.hardness, told.hardness_sigma), xy, samples, PLAIN.join_m)
        right += int(bottom_class(there)[i] == truth[i])
    assert read_hardness(lake, PLAIN, samples).calibration.told_right == pytest.approx(right, abs=1)
