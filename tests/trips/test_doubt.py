"""Lines over unsure spots: what looks are worth, by enumeration and by drawing, and where the time goes."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from affine import Affine
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS

from lakemap.model.frame import GridFrame
from lakemap.trips.doubt import doubt_field, lines_over_spots
from lakemap.trips.route import Outing
from lakemap.trips.survey import plan_lines

OPEN = np.ones((100, 100), bool)
FRAME = GridFrame((100, 100), Affine(5, 0, 0, 0, -5, 500), CRS.from_epsg(32633), OPEN, True)


def doubts(*probabilities, radius_m=20.0):
    "Spots 60 m apart in a row; a wide beam covers them nearly always."
    count = len(probabilities)
    xy = np.column_stack([100.0 + 60.0 * np.arange(count), np.full(count, 250.0)])
    return doubt_field(xy, np.full(count, 2.0), np.array(probabilities), np.full(count, radius_m), 0.7, 0.02)


@pytest.mark.parametrize("looks", [0, 1, 2, 3])
def test_expected_doubt_is_that_of_every_outcome(looks):
    "Each sequence of shown and not shown, its chance and Bayes' answer to it, one after the other."
    field = doubts(0.6)
    variance = wrong = 0.0
    for seen in product([True, False], repeat=looks):
        there, bare = 0.6, 0.4
        for shown in seen:
            there *= field.shows[0] if shown else 1 - field.shows[0]
            bare *= field.false[0] if shown else 1 - field.false[0]
        after = there / (there + bare)
        variance += (there + bare) * after * (1 - after)
        wrong += (there + bare) * min(after, 1 - after)
    for _ in range(looks):
        field = field.after(np.array([0]))
    assert field.total == pytest.approx(variance) and field.judged_wrong == pytest.approx(wrong)


@given(st.floats(0.01, 0.99), st.floats(0.1, 30.0), st.integers(0, 4))
def test_a_look_never_adds_doubt(probability, radius_m, looks):
    "Gain is what total falls by, and is never below 0."
    field, node = doubts(probability, radius_m=radius_m), np.array([0])
    for _ in range(looks):
        field = field.after(node)
    assert field.gain(node) == pytest.approx(field.total - field.after(node).total, abs=1e-12)
    assert field.gain(node) >= -1e-12 and field.gains([node, node[:0]]) == pytest.approx([field.gain(node), 0.0])
    assert field.after(node).loss(node) == pytest.approx(field.gain(node), abs=1e-12)
    assert (field.after(node).without(node).looks == field.looks).all()


def test_a_narrow_beam_learns_little():
    "By 0.5 m to either side, placed to 2.8 m, a pass covers a spot in 14 % of cases: ndtr(.177) - ndtr(-.177)."
    narrow = doubts(0.5, radius_m=0.5)
    assert narrow.shows[0] == pytest.approx(0.7 * 0.140, abs=0.001)
    assert narrow.gain(np.array([0])) < 0.1 * doubts(0.5).gain(np.array([0]))


def test_time_goes_to_what_is_unsure():
    "With time for a few lines the coin-tosses are driven over, the spots that are all but sure are not."
    field = doubts(0.5, 0.94, 0.94, 0.94, 0.94, 0.5)
    lines = lines_over_spots(FRAME, OPEN, field)
    plan = plan_lines(field, lines, Outing(field.xy[0], 300.0, 3.0, None, crossed=False))
    looks = plan.after.looks
    assert plan.lasts_s <= 300.0 and looks[0] >= 1 and looks[5] >= 1
    assert plan.after.total < 0.7 * field.total and plan.after.judged_wrong < field.judged_wrong


def test_lines_keep_to_drivable_water_and_know_what_they_pass():
    "Through closed water none; along the row one line passes several spots, across it one."
    field = doubts(0.5, 0.6, 0.7)
    closed = OPEN.copy()
    closed[:, 25] = False
    lines = lines_over_spots(FRAME, OPEN, field)
    assert {len(line.nodes) for line in lines} == {1, 2, 3}
    for line in lines_over_spots(FRAME, closed, field):
        assert not (min(line.start[0], line.end[0]) < 130.0 and max(line.start[0], line.end[0]) > 125.0)
    assert len(lines_over_spots(FRAME, closed, field)) < len(lines)
