"What check depths leave of what was believed, beside sums over a fine grid and over all ways to be right or wrong."

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import multivariate_normal, norm

from lakemap.clean.check_belief import Belief, after_checks
from lakemap.clean.check_fit import Equations, fit_groups

PRIOR = np.array([[0.05, 0.003]])
DEPTHS_M = np.array([3.0, 4.0, 6.0, 9.0, 12.0])


def equations(off_m, sigma_m=0.1, below_m=DEPTHS_M):
    design = np.column_stack([np.ones(len(below_m)), below_m])
    return design.T @ design / sigma_m**2, design.T @ np.full(len(below_m), off_m) / sigma_m**2


def on_a_grid(normal, right, belief):
    "Mean and standard deviation of the constant, summed over a grid of constants and scales."
    off, scale = np.meshgrid(np.linspace(-1.5, 1.5, 1501), np.linspace(-0.08, 0.08, 801), indexing="ij")
    height = right[0] * off + right[1] * scale
    height -= 0.5 * (normal[0, 0] * off**2 + 2 * normal[0, 1] * off * scale + normal[1, 1] * scale**2)
    for at, value in enumerate((off, scale)):
        ways = zip((belief.right[at], belief.wrong[at]), (1 - belief.share[at], belief.share[at]), strict=True)
        height += np.log(sum(share * norm.pdf(value, scale=sigma) for sigma, share in ways))
    weight = np.exp(height - height.max())
    weight /= weight.sum()
    mean = float((weight * off).sum())
    return mean, float(np.sqrt((weight * (off - mean) ** 2).sum()))


@pytest.mark.parametrize("off_m", [0.0, 0.05, 0.1, 0.2, 0.3, 0.6])
def test_mean_and_error_of_a_constant_are_those_of_its_whole_law(off_m):
    belief, told = Belief.of(PRIOR), equations(off_m)
    mean, error = after_checks(*told, belief)
    true_mean, true_error = on_a_grid(*told, belief)
    assert mean[0] == pytest.approx(true_mean, abs=0.006)
    assert error[0] == pytest.approx(true_error, rel=0.12)


def over_all_ways(normal, right, belief):
    "Means of n quantities, summed over the 2^n ways in which each is right or wrong."
    heights, means = [], []
    for way in product((0, 1), repeat=len(right)):
        wrong = np.array(way, dtype=bool)
        before = np.diag(np.where(wrong, belief.wrong, belief.right) ** 2)
        after = np.linalg.inv(normal + np.linalg.inv(before))
        seen = np.linalg.solve(normal, right)
        spread = before + np.linalg.inv(normal)
        odds = np.log(np.where(wrong, belief.share, 1 - belief.share)).sum()
        heights.append(odds + multivariate_normal(np.zeros(len(right)), spread).logpdf(seen))
        means.append(after @ right)
    weight = np.exp(np.array(heights) - max(heights))
    return weight @ np.array(means) / weight.sum()


def test_two_sounders_that_cross_share_what_checks_of_one_say():
    "The second is checked nowhere; crossings tie it to the first, whose draft is wrong by 0.4 m."
    own, right = equations(0.4)
    normal, told = np.zeros((4, 4)), np.concatenate([right, np.zeros(2)])
    normal[:2, :2] = own
    for below_m in DEPTHS_M:
        row = np.array([1.0, below_m, -1.0, -below_m])
        normal += np.outer(row, row) / 0.1**2
    normal += 1e-6 * np.eye(4)
    belief = Belief.of(np.tile(PRIOR, (2, 1)))
    mean, _ = after_checks(normal, told, belief)
    assert mean == pytest.approx(over_all_ways(normal, told, belief), abs=0.02)


def test_silence_leaves_the_error_that_was_believed():
    mean, error = after_checks(np.zeros((2, 2)), np.zeros(2), Belief.of(PRIOR))
    assert mean == pytest.approx([0.0, 0.0], abs=1e-12)
    assert error == pytest.approx(PRIOR[0], rel=1e-6)


def test_a_draft_that_may_be_right_or_wrong_has_an_error_that_spans_both():
    "Checks of 0.2 m that tell right from wrong poorly: the error is more than either way has by itself."
    told = equations(0.17, sigma_m=0.15)
    belief = Belief.of(PRIOR)
    _, error = after_checks(*told, belief)
    apart = [
        after_checks(*told, Belief(belief.right, belief.wrong, np.full(2, share)))[1][0] for share in (1e-12, 1 - 1e-12)
    ]
    assert error[0] > 1.1 * apart[0]


@given(st.floats(-1.0, 1.0), st.floats(0.02, 0.5))
def test_turning_all_signs_turns_the_answer(off_m, sigma_m):
    design = np.column_stack([np.ones(len(DEPTHS_M)), DEPTHS_M])
    checks = np.ones(len(DEPTHS_M), dtype=bool)
    one, other = (
        fit_groups(Equations(sign * np.full(5, off_m), np.full(5, sigma_m), design, checks), PRIOR) for sign in (1, -1)
    )
    assert one.found == pytest.approx(-other.found, abs=1e-9)
    assert one.sigma == pytest.approx(other.sigma, rel=1e-6)


def test_far_checks_of_a_draft_that_is_off_are_no_outliers():
    "Checks agree with each other, not with the draft that was believed: none of them weighs less for it."
    design = np.column_stack([np.ones(7), np.linspace(4, 12, 7)])
    told = Equations(np.full(7, 0.6), np.full(7, 0.15), design, np.ones(7, dtype=bool))
    found = fit_groups(told, np.array([[0.05, 0.0005]])).found[0]
    assert found[0] + 8.0 * found[1] == pytest.approx(0.6, abs=0.08)
