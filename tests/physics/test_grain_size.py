"""Grain size on the standard scale and the hardness that goes with it."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference_tables import rows

from lakemap.physics.grain_size import (
    GRAIN_CLASSES_PHI,
    hardness_of_doubtful_grain,
    hardness_of_grain,
    mm_from_phi,
    phi_from_mm,
)
from lakemap.physics.reflection import SEDIMENTS, bottom_loss_db, hardness_index

WENTWORTH = [row for row in rows("grain_size_classes.csv") if row["scheme"] == "Udden-Wentworth"]


@pytest.mark.parametrize("row", WENTWORTH, ids=lambda row: str(row["class"]))
def test_classes_have_the_printed_limits(row):
    "Limits in millimetres and in phi are those of the printed scale; the open ends are ours."
    finer, coarser = GRAIN_CLASSES_PHI[row["class"]][::-1]
    if "min_mm_inclusive" in row:
        assert mm_from_phi(finer) == pytest.approx(row["min_mm_inclusive"], rel=1e-9)
        assert phi_from_mm(row["min_mm_inclusive"]) == pytest.approx(row["phi_max_at_min_size"], abs=1e-4)
    if "max_mm_exclusive" in row:
        assert mm_from_phi(coarser) == pytest.approx(row["max_mm_exclusive"], rel=1e-9)


def test_classes_leave_no_gap():
    "Where one class ends the next begins."
    limits = list(GRAIN_CLASSES_PHI.values())
    assert all(one[1] == other[0] for one, other in itertools.pairwise(limits))


@pytest.mark.parametrize("name", list(SEDIMENTS))
def test_hardness_of_a_sediment_is_its_own(name):
    "On the rows of the table nothing is interpolated."
    one = SEDIMENTS[name]
    assert hardness_of_grain(one.mean_phi) == pytest.approx(float(hardness_index(bottom_loss_db(one.reflection))))


@given(st.floats(-9, 10), st.floats(-9, 10))
def test_finer_is_never_harder(one, other):
    "Hardness falls with phi, or stays."
    coarse, fine = hardness_of_grain(np.sort([one, other]))
    assert coarse >= fine - 1e-12


def test_a_doubtful_grain_is_wider():
    "The more doubt about the grain, the more about its hardness; none without."
    mean, spread = hardness_of_doubtful_grain(np.full(3, 2.0), np.array([0.0, 0.5, 1.5]))
    assert spread[0] == pytest.approx(0.0, abs=1e-12) and spread[1] < spread[2]
    assert mean[0] == pytest.approx(float(hardness_of_grain(2.0)))
