"""What leaves the floor and comes back; shapes of the floor do not."""

from __future__ import annotations

import numpy as np
import pytest
from sailed import flat, hump, ledge, logged, sail, sounded, tilted

from lakemap.geo.excursions import find_excursions
from lakemap.geo.floor_along import running_floor, sailed_line
from lakemap.geo.tracks import cut_passes


def excursions(soundings, upward=True):
    "The line, and the runs found along it."
    cut = cut_passes(soundings)
    line = sailed_line(cut, cut.usable())
    return line, find_excursions(line, running_floor(line), upward)


@pytest.mark.parametrize("floor", [flat, tilted, hump, ledge], ids=lambda f: f.__name__)
@pytest.mark.parametrize("seed", range(3))
def test_shapes_of_the_floor_are_no_rises(floor, seed):
    "Plane, slope, hump and ledge, sailed with 4 cm of noise: nothing of two pings or more stands up."
    found = excursions(sounded(floor, seed=seed, passes=8))[1]
    assert np.count_nonzero(found.pings > 1) == 0


@pytest.mark.parametrize("step_m", [1.0, 2.0, 2.5])
@pytest.mark.parametrize("run_m", [2.0, 3.0, 5.0])
def test_the_lip_of_a_drop_off_is_no_rise_however_few_readings_tell_it(step_m, run_m):
    "A fall of 2.8 m within three readings or thirty; at 0.3 of its height all of 40 lips at 2 m were things."
    for seed in range(20):
        rng = np.random.default_rng(seed)
        x = np.arange(rng.uniform(0.0, step_m), 300.0, step_m)
        fall = 1.4 * np.tanh((x - 150.0) / run_m) * (-1 if seed % 2 else 1)
        depth = 5.0 + fall + 0.01 * x + rng.normal(0.0, 0.04, len(x))
        found = excursions(logged(x, 0.0 * x, depth))[1]
        assert np.count_nonzero(found.pings > 1) == 0


@pytest.mark.parametrize("floor", [flat, tilted], ids=lambda f: f.__name__)
@pytest.mark.parametrize("height_m", [0.6, 1.5])
def test_a_thing_on_the_floor_is_found_with_its_height(floor, height_m):
    "A thing 3 m long is found once, at its place, its height and the floor's depth within 0.15 m."
    x, y, sailed = sail(passes=1)
    noise = np.random.default_rng(4).normal(0, 0.04, len(x))
    depth = floor(x, y) + noise - np.where(np.abs(x - 150) < 1.5, height_m, 0.0)
    line, found = excursions(logged(x, y, depth, sailed))
    assert len(found) == 1
    assert abs(line.s_m[found.peak[0]] - 150) <= 1.5
    assert found.height_m[0] == pytest.approx(height_m, abs=0.15)
    assert found.floor_m[0] == pytest.approx(float(floor(150.0, 0.0)), abs=0.15)
    assert found.pings[0] in (3, 4)


def test_noise_beside_a_false_echo_does_not_make_a_run():
    "One reading 4 m up with a neighbour that is 0.2 m up stays one ping."
    x, y, sailed = sail(passes=1)
    depth = flat(x, y)
    depth[150], depth[151] = 2.0, 5.8
    found = excursions(logged(x, y, depth, sailed))[1]
    assert found.pings.tolist() == [1]


def test_longer_than_the_limit_is_floor():
    "A bank 25 m long with steep ends is the floor's shape."
    x, y, sailed = sail(passes=1)
    depth = flat(x, y) - np.where(np.abs(x - 150) < 12.5, 1.0, 0.0)
    assert len(excursions(logged(x, y, depth, sailed))[1]) == 0


def test_downward_is_the_mirror_of_upward():
    "Depths mirrored about 10 m: the same runs downward."
    soundings = sounded(flat, seed=7, passes=2)
    depth = soundings.logged_depth_m.copy()
    depth[[60, 200, 201]] -= 1.0
    up = excursions(soundings.with_columns(logged_depth_m=depth))[1]
    down = excursions(soundings.with_columns(logged_depth_m=20.0 - depth), upward=False)[1]
    assert up.first.tolist() == down.first.tolist() == [60, 200]
    np.testing.assert_allclose(up.height_m, down.height_m, atol=1e-9)
