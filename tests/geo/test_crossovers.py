from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from worlds_of_lines import GRID, lines

from lakemap.geo.crossovers import find_crossovers
from lakemap.geo.pass_bias import solve_pass_bias
from lakemap.model.log_facts import LogFacts
from lakemap.model.soundings import Soundings


def test_every_crossing_is_found_and_differs_by_the_biases():
    "Nine lines over eight: 72 crossings, each differing by exactly bias a minus bias b on a plane."
    bias = np.linspace(-0.2, 0.2, len(GRID))
    found = find_crossovers(lines(GRID, bias=bias))
    assert len(found) == 72
    assert found.difference_m == pytest.approx(bias[found.pass_a] - bias[found.pass_b], abs=1e-9)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_crossings_are_those_that_shapely_finds(seed):
    "Random lines: the places equal those of shapely's intersection of the whole lines."
    rng = np.random.default_rng(seed)
    ends = [tuple(map(tuple, rng.uniform(0, 200, (2, 2)))) for _ in range(8)]
    ends = [pair for pair in ends if np.hypot(*np.subtract(*pair)) > 20]
    found = find_crossovers(lines(ends))
    course = [np.subtract(b, a) / np.hypot(*np.subtract(b, a)) for a, b in ends]
    expected = [
        shapely.get_coordinates(shapely.intersection(shapely.linestrings(ends[i]), shapely.linestrings(ends[j])))[0]
        for i in range(len(ends)) for j in range(i + 1, len(ends))
        if shapely.intersects(shapely.linestrings(ends[i]), shapely.linestrings(ends[j]))
        and abs(course[i][0] * course[j][1] - course[i][1] * course[j][0]) > 0.25
    ]
    got = sorted(zip(found.x_m.round(4), found.y_m.round(4), strict=True))
    assert got == sorted((round(float(x), 4), round(float(y), 4)) for x, y in expected)


def test_pass_bias_comes_back_with_an_error_that_is_true():
    "40 seeds of known biases: recovered (less their mean) within 1.96 sigma in 90-99 % of passes."
    inside, left = [], []
    for seed in range(40):
        truth = np.random.default_rng(seed).normal(0, 0.15, len(GRID))
        solved = solve_pass_bias(find_crossovers(lines(GRID, bias=truth, noise_m=0.05, seed=seed)))
        error = (solved.bias_m - solved.bias_m.mean()) - (truth - truth.mean())
        inside.append(np.mean(np.abs(error) <= 1.96 * solved.sigma_m))
        left.append(np.std(error))
    assert 0.90 <= np.mean(inside) <= 1.0
    assert np.mean(left) < 0.03


def test_one_gross_crossover_moves_no_bias_much():
    "A wild difference of 3 m at one crossing changes no bias by more than 3 cm."
    import dataclasses

    clean = find_crossovers(lines(GRID, noise_m=0.05))
    wild = dataclasses.replace(clean, difference_m=np.where(np.arange(len(clean)) == 20, 3.0, clean.difference_m))
    assert solve_pass_bias(wild).bias_m == pytest.approx(solve_pass_bias(clean).bias_m, abs=0.03)


def test_a_lone_pass_has_no_bias():
    "Without crossings there is nothing to solve, and nothing is invented."
    assert len(solve_pass_bias(find_crossovers(lines(GRID[:1]))).pass_id) == 0


def test_crossing_kernel_equals_the_plain_search():
    "All pairs of segments of 30 wandering passes, by numpy: the same pairs and shares, to the last bit."
    from lakemap.geo.crossing_kernel import meet

    rng = np.random.default_rng(4)
    xy = np.cumsum(rng.normal(0, 2, (30, 41, 2)), axis=1) + rng.uniform(0, 30, (30, 1, 2))
    ends = np.concatenate([xy[:, :-1], xy[:, 1:]], axis=2).reshape(-1, 4)
    first, (a, b) = np.arange(31) * 40, np.triu_indices(30, 1)
    count, *found = meet(ends, first, a, b, 0.25, 10_000)
    i, j = np.triu_indices(len(ends), 1)
    i, j = i[i // 40 != j // 40], j[i // 40 != j // 40]
    u, v, w = ends[i, 2:] - ends[i, :2], ends[j, 2:] - ends[j, :2], ends[j, :2] - ends[i, :2]
    cross = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    with np.errstate(divide="ignore"):
        s = (w[:, 0] * v[:, 1] - w[:, 1] * v[:, 0]) / cross
        t = (w[:, 0] * u[:, 1] - w[:, 1] * u[:, 0]) / cross
    hit = (np.abs(cross) > 0.25 * np.hypot(*u.T) * np.hypot(*v.T)) & (s >= 0) & (s < 1) & (t >= 0) & (t < 1)
    expected = sorted(zip(i[hit], j[hit], s[hit], t[hit], strict=True))
    got = sorted(zip(*(column[:count] for column in found), strict=True))
    assert count == hit.sum() > 50
    assert got == expected
    assert meet(ends, first, a, b, 0.25, 5)[0] == count


def test_thinning_kernel_equals_the_plain_walk():
    "Row by row in plain Python: the same rows are kept."
    from lakemap.geo.crossing_kernel import thin

    rng = np.random.default_rng(5)
    xy, part = np.cumsum(rng.normal(0, 0.3, (400, 2)), axis=0), np.repeat(np.arange(4), 100)
    kept, last = [], None
    for row in range(400):
        new = row % 100 == 0
        if new or row % 100 == 99 or np.hypot(*(xy[row] - xy[last])) >= 0.5:
            kept.append(row)
            last = row
    assert np.flatnonzero(thin(xy[:, 0], xy[:, 1], part, 0.5)).tolist() == kept


def test_a_boat_at_anchor_is_met_once_by_a_pass():
    "2000 rows that jitter about a place, two passes through them: a few crossovers, not hundreds."
    rng = np.random.default_rng(6)
    still = rng.normal(0, 3, (2000, 2)) + (50, 50)
    through = lines([((0, 50), (100, 50)), ((50, 0), (50, 100))])
    anchored = Soundings.build(2000, [LogFacts("b")], x_m=still[:, 0], y_m=still[:, 1], depth_m=np.full(2000, 5.5),
                               depth_sigma_m=np.full(2000, 0.05), pass_id=np.full(2000, 2))
    found = find_crossovers(Soundings.concatenate([through, anchored]))
    with_anchor = (found.pass_a == 2) | (found.pass_b == 2)
    assert 2 <= with_anchor.sum() <= 8
