"""The invented boat goes where it was sent, stays afloat, and its GPS errs as told."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from numpy.testing import assert_allclose, assert_array_equal

from lakemap.demo import demo_lake, demo_recordings
from lakemap.demo.boat import GPS_DRIFT_M, GPS_JITTER_M, gps_error_m, sail
from lakemap.demo.faults import Fault, spoil_depths
from lakemap.demo.recording import DAY_2, record
from lakemap.demo.route import parallel_legs

SQUARE = shapely.box(0, 0, 400, 300)


@pytest.fixture(scope="module")
def days():
    "All days of the demo, with what was true."
    return demo_recordings(1)


def test_parallel_legs_run_to_and_fro_at_their_spacing():
    "Legs alternate in direction and lie the spacing apart."
    legs = parallel_legs(SQUARE, 0.0, 50.0)
    assert_allclose(np.diff([leg[0, 0] for leg in legs]), 50.0)
    assert_array_equal(np.sign([leg[1, 1] - leg[0, 1] for leg in legs]), [1, -1] * 4)


def test_legs_keep_their_heading():
    "A heading of 25 degrees from north is what the legs have, one way or the other."
    for leg in parallel_legs(SQUARE, 25.0, 60.0):
        dx, dy = leg[1] - leg[0]
        assert_allclose(np.degrees(np.arctan2(dx, dy)) % 180.0, 25.0, atol=1e-6)


def test_track_is_even_in_time_and_speed():
    "Steps of the track are as long as the speed says, corners and straying aside."
    track = sail([np.array([[20.0, 20.0], [20.0, 280.0]])], SQUARE, 2.0, 0.0, np.random.default_rng(1))
    step = np.hypot(np.diff(track.x_m), np.diff(track.y_m))[20:-20]
    assert_allclose(np.median(step) / 0.25, 2.0, rtol=0.05)


def test_recorder_pauses_where_the_way_leads_over_land():
    "Two legs in two ponds make two runs with a pause between them."
    ponds = shapely.MultiPolygon([shapely.box(0, 0, 50, 100), shapely.box(60, 0, 120, 100)])
    legs = [np.array([[25.0, 10.0], [25.0, 90.0]]), np.array([[90.0, 90.0], [90.0, 10.0]])]
    track = sail(legs, ponds, 2.0, 0.0, np.random.default_rng(1))
    assert track.run.max() == 1
    assert np.diff(track.time_s).max() > 100.0


def test_gps_errs_as_told():
    "The error's standard deviation is that of drift and jitter together, and it changes slowly."
    error = gps_error_m(40_000, np.random.default_rng(3))
    assert_allclose(error.std(axis=0), np.hypot(GPS_DRIFT_M, GPS_JITTER_M), rtol=0.1)
    assert np.diff(error, axis=0).std() < 0.5 * error.std()


def test_boat_stays_afloat(days):
    "Every ping was made over water deeper than the draft of 0.35 m."
    lake = demo_lake()
    shapely.prepare(lake.shoreline)
    for name, taken in days.items():
        assert shapely.contains_xy(lake.shoreline, taken.x_m, taken.y_m).all(), name
        assert taken.floor_m.min() > 0.45, name


def test_second_echo_lock_shows_twice_the_depth_and_the_draft(days):
    "Rows under that fault show the geometric place of the second echo, over hard and shallow floor."
    for taken in days.values():
        rows = taken.fault == Fault.second_echo
        good = taken.floor_m[rows] - 0.35
        shown = taken.shown_m[rows] - taken.leg_bias_m[rows]
        assert_allclose(shown, 2 * good * 1500 / 1476 + 0.35, atol=0.6)
        assert (good < 3.9).all()


def test_spoiling_leaves_the_rest_alone():
    "Rows without a fault are as they were."
    shown = np.full(10_000, 5.0)
    out, fault = spoil_depths(shown, np.zeros(10_000), 0.35, np.ones(10_000, bool), np.random.default_rng(1))
    assert_array_equal(out[fault == Fault.none], 5.0)
    assert {int(f) for f in fault} == set(map(int, Fault))
    assert 0.001 < np.mean(fault == Fault.spike) < 0.006


def test_depths_without_fault_are_right_but_for_bias_noise_and_slope(days):
    "Undone by hand - sound speed, draft, bias - good depths agree with the floor to some centimetres."
    taken = days["harrow_day1.nmea"]
    good = (taken.fault == Fault.none) & (taken.cover < 0)
    error = (taken.shown_m - taken.leg_bias_m) * 1475.95 / 1500 + 0.35 - taken.floor_m
    assert abs(np.median(error[good])) < 0.05
    assert np.std(error[good]) < 0.12


def test_depths_come_late_by_the_latency(days):
    "Along the course, pings lie behind where the boat was when their depth came out: 0.3 s at 1.8 m/s."
    taken = days["harrow_day1.nmea"]
    here = np.column_stack([np.interp(taken.time_s, taken.fix_time_s, taken.fix_xy[:, k]) for k in (0, 1)])
    ping = np.column_stack([taken.x_m, taken.y_m])
    course = np.gradient(ping, axis=0)
    behind = ((here - ping) * course).sum(axis=1) / np.hypot(*course.T)
    assert_allclose(np.median(behind), 0.3 * 1.8, atol=0.15)


def test_same_day_same_recording():
    "Two recordings of one day with one seed are equal; another seed gives another."
    first, again, other = (record(demo_lake(), DAY_2, seed) for seed in (1, 1, 2))
    assert_array_equal(first.shown_m, again.shown_m)
    assert_array_equal(first.fix_xy, again.fix_xy)
    assert not np.array_equal(first.fix_xy, other.fix_xy)


def test_cover_is_hit_often_enough_to_be_judged(days):
    "At least 20 things are hit by two pings, by the 0.9 m between pings and the 20 degree beam."
    count = np.bincount(np.concatenate([t.cover[(t.cover >= 0) & (t.fault == 0)] for t in days.values()]))
    assert (count >= 2).sum() >= 20
