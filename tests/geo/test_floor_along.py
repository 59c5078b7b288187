"""The running floor along a pass: level on slopes, scatter deaf to cover, windows that never cross a break."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from sailed import flat, logged, sail, sounded, tilted

from lakemap.geo.floor_along import LEAST_SCATTER_M, running_floor, sailed_line, spread
from lakemap.geo.tracks import cut_passes


def line_of(soundings):
    "The line of all usable rows, passes cut."
    cut = cut_passes(soundings)
    return sailed_line(cut, cut.usable())


def test_level_and_slope_of_a_plane():
    "On a noise-free slope of 0.1 the level is the depth itself to the ends of the pass, and the slope is 0.1."
    x, y, sailed = sail(passes=1)
    line = line_of(logged(x, y, tilted(x, y), sailed))
    floor = running_floor(line)
    assert_allclose(floor.level_m, line.depth_m, atol=1e-9)
    assert_allclose(floor.slope, 0.1, atol=1e-6)


def test_level_does_not_follow_what_stands_on_a_slope():
    "A thing 3 m long and 1.5 m high on a slope of 0.1 moves the level by less than 0.1 m; a plain median: 0.14 m."
    x, y, sailed = sail(passes=1)
    bare = tilted(x, y)
    line = line_of(logged(x, y, np.where(np.abs(x - 150) < 1.5, bare - 1.5, bare), sailed))
    assert_allclose(running_floor(line).level_m, bare, atol=0.1)


@pytest.mark.parametrize("noise_m", [0.05, 0.2])
def test_scatter_is_the_noise_put_in(noise_m):
    "Normal errors come back within 25 %, and within 45 % where every 25th reading is off by a metre."
    soundings = sounded(flat, noise_m=noise_m, passes=8)
    depth = soundings.logged_depth_m.copy()
    depth[::25] -= 1.0
    assert np.median(running_floor(line_of(soundings)).scatter_m) == pytest.approx(noise_m, rel=0.25)
    spoiled = running_floor(line_of(soundings.with_columns(logged_depth_m=depth)))
    assert np.median(spoiled.scatter_m) == pytest.approx(noise_m, rel=0.45)


def test_scatter_never_falls_below_the_display_step():
    "A floor without any noise is trusted to LEAST_SCATTER_M only."
    x, y, sailed = sail(passes=1)
    assert_allclose(running_floor(line_of(logged(x, y, flat(x, y), sailed))).scatter_m, LEAST_SCATTER_M)


def test_windows_stop_at_a_break():
    "Two passes with a pause between, 4 m and 9 m deep: no level lies between the two."
    x, y, sailed = sail(passes=2)
    line = line_of(logged(x, y, np.where(sailed == 0, 4.0, 9.0), sailed))
    level = running_floor(line).level_m
    assert set(np.unique(level).tolist()) == {4.0, 9.0}
    assert len(np.unique(line.start)) == 2


def test_no_rows_no_floor():
    "An empty line gives empty columns."
    x, y, sailed = sail(passes=1)
    soundings = logged(x, y, np.full(len(x), np.nan), sailed)
    assert len(running_floor(sailed_line(soundings, soundings.usable())).level_m) == 0


@settings(max_examples=30, deadline=None)
@given(shift_m=st.floats(-3.0, 50.0))
def test_level_moves_with_the_depths(shift_m):
    "All depths shifted: level shifted alike, scatter and slope the same."
    soundings = sounded(tilted, passes=1, length_m=120.0)
    line = line_of(soundings)
    moved = line_of(soundings.with_columns(logged_depth_m=soundings.logged_depth_m + shift_m))
    before, after = running_floor(line), running_floor(moved)
    assert_allclose(after.level_m, before.level_m + shift_m, atol=1e-9)
    assert_allclose(after.scatter_m, before.scatter_m, atol=1e-9)


@given(low=st.integers(0, 50), size=st.integers(1, 80))
def test_spread_is_the_same_to_both_ends(low, size):
    "Samples of a window start and end with it and mirror about its middle."
    index = spread(np.array([low]), np.array([low + size]))[0]
    assert index[0] == low and index[-1] == low + size - 1
    assert sorted((2 * low + size - 1 - index).tolist()) == pytest.approx(sorted(index.tolist()), abs=1)


def test_window_kernels_equal_numpy():
    "Medians over windows by numpy, row by row: the same to the last bit."
    from lakemap.geo.floor_along import spread
    from lakemap.geo.floor_kernel import level_on_slope, lower_median_of_runs, median_about

    rng = np.random.default_rng(3)
    s, z = np.cumsum(rng.uniform(0, 2, 500)), rng.normal(5, 1, 500)
    low = np.maximum(np.arange(500) - rng.integers(0, 30, 500), 0)
    high = np.minimum(np.arange(500) + rng.integers(1, 30, 500), 500)
    at = spread(low, high, 25)
    run = np.median(s[at[:, -12:]] - s[:, None], axis=1) - np.median(s[at[:, :12]] - s[:, None], axis=1)
    fall = np.median(z[at[:, -12:]], axis=1) - np.median(z[at[:, :12]], axis=1)
    slope = np.where(run > 0, fall / np.where(run > 0, run, 1.0), 0.0)
    expected = np.median(z[at] - slope[:, None] * (s[at] - s[:, None]), axis=1)
    assert level_on_slope(s, z, low, high, 25).tolist() == expected.tolist()
    assert median_about(z, low, high, 16).tolist() == np.median(z[spread(low, high, 16)], axis=1).tolist()
    gappy, edges = np.where(rng.random(500) < 0.3, np.nan, z), np.array([0, 3, 40, 41, 500])
    gappy[40] = np.nan
    runs = [np.sort(part[np.isfinite(part)]) for part in np.split(gappy, edges[1:-1])]
    expected = [part[(len(part) - 1) // 2] if len(part) else 0.0 for part in runs]
    assert lower_median_of_runs(gappy, edges).tolist() == expected
