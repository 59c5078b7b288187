"""One invented lake of tests/bench, whole: two sounders, a slope, a short range, twelve samples; the bench has 20."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))

from bench_hardness import balanced, judge, sailed
from hardness_world import make_world, record

from lakemap.hardness import HardnessSettings, add_hardness
from lakemap.physics.reflection import bottom_loss_db, hardness_index


@pytest.fixture(scope="module")
def lake():
    "Lake 1 of the reported kind; figures are fitted to others."
    return sailed(1, False, "kriging")


def test_hard_floors_are_told_within_twenty_metres(lake):
    "Balanced accuracy of 90 % with twelve samples, and hardly less with none."
    assert balanced(judge(lake, 12)) >= 0.90
    assert balanced(judge(lake, 0)) >= 0.88


def test_neither_the_slope_nor_the_short_range_makes_soft_floors():
    "Readings on the slope, and on the day whose screen ended at 8 m, are no softer than the floor."
    world = make_world(1)
    rows = record(world, 1)
    slope = world.at(world.slope_deg, rows.x_m, rows.y_m)
    found = add_hardness(rows, HardnessSettings(), None, slope)
    truth = hardness_index(bottom_loss_db(world.at(world.reflection, rows.x_m, rows.y_m)))
    off, measured = found.hardness - truth, np.isfinite(found.hardness) & np.isnan(found.hardness_low)
    for group in (slope > 5.0, rows.log == 2, (rows.log == 2) & np.isnan(rows.second_echo_db)):
        assert np.median(off[group & measured]) > -0.08
    lost = np.isnan(rows.second_echo_db) & (rows.log == 2) & np.isnan(found.hardness)
    assert any("display range was too short" in text for text in found.messages)
    assert lost.sum() < (rows.log == 2).sum()


def test_two_sounders_agree(lake):
    "Where they went over the same floor their hardness differs by no more than its error, gain law untold and all."
    found = add_hardness(lake.soundings, HardnessSettings(), None, lake.slope_deg)
    truth = hardness_index(bottom_loss_db(lake.world.at(lake.world.reflection, found.x_m, found.y_m)))
    flat = (lake.slope_deg < 2) & np.isfinite(found.hardness)
    bias = [np.median((found.hardness - truth)[flat & (found.log == log)]) for log in (0, 1)]
    assert abs(bias[0] - bias[1]) < 0.03
    assert any("july.csv 40logR" in text for text in found.messages)
