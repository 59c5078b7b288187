"""Planted faults of depth on floors of known shape: each is flagged as what it is, and the floor itself is not."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from sailed import flat, hump, ledge, logged, sail, sounded, tilted

from lakemap.clean import CleanSettings, clean
from lakemap.model.flags import Flag
from lakemap.model.soundings import Soundings

FLOORS = pytest.mark.parametrize("floor", [flat, tilted, hump, ledge], ids=lambda f: f.__name__)
ROWS = np.arange(100, 112)


def spoiled(floor, rows, depth, facts=None, seed=0):
    "Four passes over a floor with other depths logged at some rows, cleaned."
    soundings = sounded(floor, facts=facts, seed=seed)
    planted = soundings.logged_depth_m.copy()
    planted[rows] = depth(planted[rows]) if callable(depth) else depth
    return clean(soundings.with_columns(logged_depth_m=planted), CleanSettings())


def flagged(soundings):
    "Rows with any fault."
    return np.flatnonzero(~soundings.usable()).tolist()


@FLOORS
@pytest.mark.parametrize("seed", range(3))
def test_good_rows_stay(floor, seed):
    "Nothing wrong, nothing flagged, on any shape of floor."
    assert flagged(clean(sounded(floor, seed=seed, passes=8), CleanSettings())) == []


@FLOORS
def test_zero_depths_are_lost_bottom(floor):
    "Twelve zeros: lost bottom."
    cleaned = spoiled(floor, ROWS, 0.0)
    assert flagged(cleaned) == ROWS.tolist() and cleaned.has(Flag.lost_bottom)[ROWS].all()


def test_a_sentinel_is_lost_bottom():
    "99.9 twelve times over: lost bottom."
    assert spoiled(flat, ROWS, 99.9).has(Flag.lost_bottom)[ROWS].all()


def test_a_display_that_held_its_depth():
    "The last depth held for 30 rows on a slope: lost bottom but for the first, which was true."
    x, y, sailed = sail(passes=2)
    depth = np.round(tilted(x, y) + np.random.default_rng(1).normal(0, 0.05, len(x)), 1)
    depth[100:130] = depth[100]
    cleaned = clean(logged(x, y, depth, sailed), CleanSettings())
    assert np.flatnonzero(cleaned.has(Flag.lost_bottom)).tolist() == list(range(101, 130))


def test_a_display_that_held_its_depth_over_a_flat_floor():
    "No leap tells it there, only a run of 30 that noise of 15 cm on a 0.1 m display would not bring."
    x, y, sailed = sail(passes=4)
    depth = np.round(flat(x, y) + 0.04 + np.random.default_rng(1).normal(0, 0.15, len(x)), 1)
    depth[100:130] = depth[100]
    cleaned = clean(logged(x, y, depth, sailed), CleanSettings())
    assert set(range(101, 130)) <= set(np.flatnonzero(cleaned.has(Flag.lost_bottom)).tolist())
    assert np.count_nonzero(~cleaned.usable()) <= 31


def test_a_still_floor_on_a_coarse_display_is_not_lost():
    "The same depth in every row of a flat floor: nothing wrong."
    x, y, sailed = sail(passes=2)
    assert flagged(clean(logged(x, y, flat(x, y), sailed), CleanSettings())) == []


@pytest.mark.parametrize("reference, extra_m", [("surface", 0.0), ("transducer", 0.4)])
def test_a_run_on_the_second_echo(reference, extra_m):
    "2 d below the surface, 2 d + draft below the transducer: flagged as second echo, nothing else."
    facts = {"depth_reference": reference, "draft_m": 0.4}
    cleaned = spoiled(hump, ROWS, lambda depth: 2 * depth + extra_m, facts)
    assert flagged(cleaned) == ROWS.tolist() and cleaned.has(Flag.second_echo_lock)[ROWS].all()


def test_a_trench_is_not_the_second_echo():
    "A run at 1.6 times the depth is a trench; so is one that comes and goes over many rows."
    assert not spoiled(flat, ROWS, lambda depth: 1.6 * depth).has(Flag.second_echo_lock).any()
    trench = sounded(lambda x, y: 5.0 + 5.0 * np.exp(-(((x - 150) / 20.0) ** 2)), passes=2)
    assert flagged(clean(trench, CleanSettings())) == []


@pytest.mark.parametrize("size", [2, 6])
def test_two_false_shallows_do_not_make_the_floor_between_them_a_lock(size):
    "A few readings at half the depth, twice, 60 rows apart: the floor between stays."
    rows = np.concatenate([np.arange(100, 100 + size), np.arange(160, 160 + size)])
    cleaned = spoiled(flat, rows, lambda depth: depth / 2)
    assert not cleaned.has(Flag.second_echo_lock).any()


def test_a_whole_pass_on_the_second_echo_is_seen_by_those_that_cross_it():
    "One pass logs twice the depth from end to end; five cross it: the pass is flagged, and no row of the others."
    x, y = np.arange(0.0, 200.0, 0.9), np.full(223, 50.0)
    parts = [logged(x, y, 2 * flat(x, y), log=0)]
    for number in range(5):
        y_across = np.arange(0.0, 100.0, 0.9)
        x_across = np.full(len(y_across), 20.0 + 40.0 * number)
        parts.append(logged(x_across, y_across, flat(x_across, y_across), log=number + 1))
    for number in range(2):
        parts.append(logged(x, y + 8.0 * (2 * number - 1), flat(x, y), log=number + 6))
    joined = Soundings.concatenate(parts)
    noise = np.random.default_rng(2).normal(0, 0.04, len(joined))
    cleaned = clean(joined.with_columns(logged_depth_m=joined.logged_depth_m + noise), CleanSettings())
    locked = cleaned.has(Flag.second_echo_lock)
    assert locked[: len(x)].mean() > 0.95 and not locked[len(x) :].any()


@FLOORS
@pytest.mark.parametrize("factor", [1.4, 2.0, 3.0])
def test_single_depths_below_the_floor_are_spikes(floor, factor):
    "Lone deep readings, well apart: spikes, and nothing else."
    rows = np.array([40, 120, 200, 280])
    cleaned = spoiled(floor, rows, lambda depth: factor * depth)
    assert flagged(cleaned) == rows.tolist()


def test_a_single_high_rise_is_a_spike_and_a_low_one_a_note():
    "5.5 m up in 6 m of water by one ping is a spike; 0.8 m up is a rise that stays in use; so are two at 1 m."
    cleaned = spoiled(flat, np.array([50, 150, 250, 251]), np.array([0.5, 5.2, 5.0, 5.0]))
    assert np.flatnonzero(cleaned.has(Flag.spike)).tolist() == [50]
    assert np.flatnonzero(cleaned.has(Flag.rise)).tolist() == [150, 250, 251]
    assert cleaned.usable()[[150, 250, 251]].all()


def test_what_no_cover_can_be_is_a_spike():
    "One ping 3.5 m up, and two pings that leave 0.3 m of 6 m: spikes; two pings 3.5 m up may be standing timber."
    cleaned = spoiled(lambda x, y: 2 * flat(x, y), np.array([50]), 8.5)
    assert np.flatnonzero(cleaned.has(Flag.spike)).tolist() == [50]
    cleaned = spoiled(flat, np.array([150, 151, 250, 251]), np.array([0.3, 0.3, 2.5, 2.5]))
    assert np.flatnonzero(cleaned.has(Flag.spike)).tolist() == [150, 151]
    assert np.flatnonzero(cleaned.has(Flag.rise)).tolist() == [250, 251]


def test_a_depth_that_no_other_pass_supports():
    "A stretch 40 rows long at 30 m in a lake of 6 m, crossed by others: far outlier."
    x, y, sailed = sail(passes=7, apart_m=8.0)
    depth = flat(x, y) + np.random.default_rng(3).normal(0, 0.04, len(x))
    rows = np.flatnonzero((sailed == 3) & (x > 100) & (x < 140))
    depth[rows] += 24.0
    cleaned = clean(logged(x, y, depth, sailed), CleanSettings())
    assert flagged(cleaned) == rows.tolist() and cleaned.has(Flag.far_outlier)[rows].all()


def test_gathered_points_are_judged_by_those_around_them():
    "Points in no order and without times: one that is 20 m deep among 6 m is a spike; nothing else is flagged."
    rng = np.random.default_rng(5)
    x, y = rng.uniform(0, 200, 300), rng.uniform(0, 200, 300)
    depth = 5.0 + 0.01 * x + rng.normal(0, 0.05, 300)
    depth[77] = 20.0
    cleaned = clean(logged(x, y, depth, has_time=False), CleanSettings())
    assert flagged(cleaned) == [77] and cleaned.has(Flag.spike)[77]


def test_sigma_grows_with_depth_slope_and_scatter():
    "Flat: 0.04 m, 0.65 % and 0.03 m of draft; slope 0.1 with a 2.5 m fix adds sqrt(2) x 0.25; scatter says so itself."
    still = clean(sounded(flat, noise_m=0.01), CleanSettings())
    assert_allclose(np.median(still.depth_sigma_m), np.sqrt(0.04**2 + 0.039**2 + 0.03**2), rtol=0.02)
    slope = clean(sounded(tilted, noise_m=0.01), CleanSettings())
    middle = (slope.x_m - 500_000 > 140) & (slope.x_m - 500_000 < 160)
    beam = 0.5 * 19.0 * (1.0 - np.cos(np.arctan(np.sqrt(2) * 0.1)))
    expected = np.sqrt(0.04**2 + 0.1235**2 + 0.03**2 + beam**2 + 2 * 0.25**2)
    assert_allclose(np.median(slope.depth_sigma_m[middle]), expected, rtol=0.05)
    assert_allclose(np.median(clean(sounded(flat, noise_m=0.3), CleanSettings()).depth_sigma_m), 0.3, rtol=0.25)
