"""Faults of position: the bad fix is flagged, not its neighbours."""

from __future__ import annotations

import numpy as np
import pytest
from sailed import flat, logged, sail

from lakemap.clean.positions import flag_duplicates, flag_far_groups, flag_frozen, flag_jumps
from lakemap.clean.settings import CleanSettings
from lakemap.model.flags import Flag
from lakemap.model.soundings import Soundings

SETTINGS = CleanSettings()


def at(x, y, step_s=0.5, **facts):
    "Soundings of a flat floor at these places."
    return logged(x, y, flat(x, y) + 0.01 * np.arange(len(x)), step_s=step_s, **facts)


def way(n=400):
    "A straight way of n rows at 1.8 m/s, two rows a second."
    return 0.9 * np.arange(n), np.zeros(n)


@pytest.mark.parametrize("rows", [1, 2, 20])
def test_only_the_bad_fixes_are_jumps(rows):
    "A stretch 500 m aside: its rows are flagged, the ones before and after stay."
    x, y = way()
    y[150 : 150 + rows] += 500.0
    assert np.flatnonzero(flag_jumps(at(x, y), SETTINGS).has(Flag.position_jump)).tolist() == list(
        range(150, 150 + rows)
    )


@pytest.mark.parametrize(("still", "pause_s"), [(60, 180.0), (400, 0.0)])
def test_a_fix_that_stood_still_does_not_condemn_what_came_before(still, pause_s):
    """A receiver that hangs while the boat goes on, over a pause of the recorder or for minutes, and then leaps 800 m:
    its rows are held out as such, but for the first, and none before and after."""
    x, y = way(1000)
    x[380:] += pause_s * 4.0 + (0.0 if pause_s else 1000.0)
    x[350 : 350 + still] = x[350]
    soundings = at(x, y)
    soundings = soundings.with_columns(time_s=soundings.time_s + np.where(np.arange(1000) >= 380, pause_s, 0.0))
    judged = flag_frozen(flag_jumps(soundings, SETTINGS), SETTINGS)
    held = np.flatnonzero(~judged.usable())
    assert held.tolist() == list(range(351, 350 + still)) and judged.has(Flag.frozen_fix)[held].all()


def test_a_bad_first_fix_does_not_condemn_the_rest():
    "The first three rows on another continent: those three are flagged."
    x, y = way()
    x[:3] += 50_000.0
    assert np.flatnonzero(flag_jumps(at(x, y), SETTINGS).has(Flag.position_jump)).tolist() == [0, 1, 2]


def test_a_short_jump_is_judged_by_the_logs_own_speed():
    "40 m aside within a second is a boat at full speed, but not for a boat that trolls."
    x, y = way()
    assert not flag_jumps(at(x, y), SETTINGS).has(Flag.position_jump).any()
    y[200:202] += 40.0
    assert np.flatnonzero(flag_jumps(at(x, y), SETTINGS).has(Flag.position_jump)).tolist() == [200, 201]


def test_noise_within_a_tiny_time_is_no_jump():
    "Ten rows a second with 1.5 m of GPS noise: 15 m/s and more between rows, and nobody jumped."
    rng = np.random.default_rng(3)
    x, y = 0.2 * np.arange(2000), np.zeros(2000)
    noisy = at(x + rng.normal(0, 1.5, 2000), y + rng.normal(0, 1.5, 2000), step_s=0.1)
    assert not flag_jumps(noisy, SETTINGS).has(Flag.position_jump).any()


def test_rows_at_almost_the_same_time_say_nothing_of_speed():
    "Two rows a metre and the least float apart in time: no overflow, and the bad fix elsewhere is still found."
    x, y = way()
    y[200:202] += 40.0
    soundings = at(x, y)
    time_s = soundings.time_s.copy()
    time_s[1] = time_s[0] + 5e-324
    found = flag_jumps(soundings.with_columns(time_s=time_s), SETTINGS).has(Flag.position_jump)
    assert np.flatnonzero(found).tolist() == [200, 201]


def test_a_fast_transit_is_no_jump():
    "Trolling, then 15 m/s to the next bay, then trolling again."
    x = np.cumsum(np.repeat([0.9, 7.5, 0.9], [300, 30, 300]))
    assert not flag_jumps(at(x, np.zeros(len(x))), SETTINGS).has(Flag.position_jump).any()


def test_two_recordings_in_one_log_both_stay():
    "A clock that starts anew 5 km away is another recording, not a jump."
    x, y = way(200)
    soundings = at(np.concatenate([x, x + 5000.0]), np.concatenate([y, y]))
    soundings = soundings.with_columns(time_s=np.tile(np.arange(200) * 0.5, 2))
    assert not flag_jumps(soundings, SETTINGS).has(Flag.position_jump).any()


def test_a_bad_fix_before_the_clock_starts_anew():
    "The last row of the first recording lies 5 km aside: that row alone is flagged, neither recording is lost."
    x, y = way(200)
    x, y = np.concatenate([x, x + 900.0]), np.concatenate([y, y])
    y[199] += 5000.0
    soundings = at(x, y).with_columns(time_s=np.tile(np.arange(200) * 0.5, 2))
    assert np.flatnonzero(flag_jumps(soundings, SETTINGS).has(Flag.position_jump)).tolist() == [199]


def test_out_and_back_without_times():
    "A table without times: one row 2 km aside is flagged."
    x, y = way(100)
    y[40] += 2000.0
    assert np.flatnonzero(flag_jumps(at(x, y, has_time=False), SETTINGS).has(Flag.position_jump)).tolist() == [40]


def test_a_frozen_fix_is_flagged_and_its_leap():
    "The place stands still for 20 s and then leaps 36 m: all but the first row of the freeze."
    x, y = way()
    x[101:140] = x[100]
    found = np.flatnonzero(flag_frozen(at(x, y), SETTINGS).has(Flag.frozen_fix))
    assert found.tolist() == list(range(101, 140))


def test_a_boat_at_anchor_is_not_frozen():
    "Standing still for 20 s and sailing off at the usual step is a boat that stopped."
    x = np.concatenate([0.9 * np.arange(100), np.full(40, 89.1), 89.1 + 0.9 * np.arange(1, 100)])
    assert not flag_frozen(at(x, np.zeros(len(x))), SETTINGS).has(Flag.frozen_fix).any()


def test_slow_fixes_are_not_frozen():
    "Fixes every 5 s, held in between: each run of ten rows leaps 9 m, as all do."
    x, y = way()
    assert not flag_frozen(at(x[np.arange(400) // 10 * 10], y), SETTINGS).has(Flag.frozen_fix).any()


def test_a_few_rows_far_from_all_others_are_flagged():
    "Six of 1000 rows lie 4 km away; half of the rows 4 km away would be a second bay."
    x, y, _ = sail(passes=3)
    far = x.copy()
    far[:6] += 4000.0
    assert np.flatnonzero(flag_far_groups(at(far, y), SETTINGS).has(Flag.far_outlier)).tolist() == list(range(6))
    far[: len(x) // 2] = x[: len(x) // 2] + 4000.0
    assert not flag_far_groups(at(far, y), SETTINGS).has(Flag.far_outlier).any()


def test_the_second_of_two_equal_rows_is_the_duplicate():
    "Without times, place and depth decide; with times, the same place and depth a second later is another reading."
    x, y = np.array([0.0, 1.0, 0.0, 2.0, 0.0]), np.zeros(5)
    untimed = logged(x, y, [5.0, 5.0, 5.0, 5.0, 5.1], has_time=False)
    assert np.flatnonzero(flag_duplicates(untimed).has(Flag.duplicate)).tolist() == [2]
    timed = logged(x, y, [5.0, 5.0, 5.0, 5.0, 5.1])
    assert not flag_duplicates(timed).has(Flag.duplicate).any()


def test_one_reading_in_two_dated_logs_counts_once():
    "The same UTC time, place and depth in two logs: the second is the duplicate; undated logs are left apart."
    x, y = way(20)
    one, two = at(x, y), at(x, y)
    assert not flag_duplicates(Soundings.concatenate([one, two])).has(Flag.duplicate).any()
    dated = (1_700_000_000_000 + 500 * np.arange(20)).astype("datetime64[ms]")
    both = Soundings.concatenate([one.with_columns(time_utc=dated), two.with_columns(time_utc=dated)])
    assert np.flatnonzero(flag_duplicates(both).has(Flag.duplicate)).tolist() == list(range(20, 40))
