"""Lever arm, latency and the error of fixes: what is known is applied, what passes tell is found, the rest is said."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from late_lake import late_lake
from numpy.testing import assert_allclose
from sailed import CORNER_M, UTM_33, logged, sail, sounded, tilted

from lakemap.clean import CleanSettings, clean
from lakemap.clean.latency import shifted
from lakemap.clean.lever_arm import at_transducer
from lakemap.clean.position_error import rounding_step_m
from lakemap.geo.crossovers import find_crossovers
from lakemap.geo.crs import convergence_deg, unproject
from lakemap.geo.heading import grid_heading_deg
from lakemap.geo.motion import motion
from lakemap.geo.pass_bias import solve_pass_bias
from lakemap.model.log_facts import LogFacts
from lakemap.model.soundings import Soundings

# standard rigid-body geometry, antenna at (1000, 2000), transducer 3 m aft and 0.5 m to starboard; computed
LEVER_ARM = [(0, 1000.5, 1997.0), (90, 997.0, 1999.5), (180, 999.5, 2003.0), (270, 1003.0, 2000.5),
             (30, 998.933013, 1997.151924)]


@pytest.mark.parametrize("heading, east, north", LEVER_ARM)
def test_lever_arm_by_heading(heading, east, north):
    "E_T = E_A + f sin h + s cos h; N_T = N_A + f cos h - s sin h."
    found = at_transducer(*(np.array([float(v)]) for v in (1000, 2000, heading, -3.0, 0.5)))
    assert_allclose(np.ravel(found), [east, north], atol=1e-6)


@given(heading=st.floats(0, 360), forward=st.floats(-20, 20), starboard=st.floats(-5, 5))
def test_a_lever_arm_keeps_its_length(heading, forward, starboard):
    "Whatever the heading, the transducer is as far from the antenna as the arm is long."
    east, north = at_transducer(*(np.array([v]) for v in (0.0, 0.0, heading, forward, starboard)))
    assert np.hypot(east, north)[0] == pytest.approx(np.hypot(forward, starboard), abs=1e-9)


def facts(soundings, **known):
    "The same rows with facts of their log known."
    return replace(soundings, logs=tuple(replace(log, **known) for log in soundings.logs))


def test_lever_arm_is_applied_along_the_course_and_can_be_switched_off():
    "Transducer 5 m ahead: eastward passes move 5 m east, westward ones 5 m west; off is off; lon and lat stay."
    plain = sounded(tilted, passes=2)
    arm = facts(plain, forward_m=5.0, latency_s=0.0)
    moved = clean(arm, CleanSettings())
    east = motion(plain, 3.0).vx_mps > 0
    assert_allclose((moved.x_m - plain.x_m)[5:-5], np.where(east, 5.0, -5.0)[5:-5], atol=0.05)
    assert_allclose(moved.lon_deg, plain.lon_deg)
    off = clean(arm, CleanSettings(off=("lever arm",)))
    assert_allclose(off.x_m, plain.x_m, atol=1e-9)


def test_a_compass_is_turned_by_the_grids_convergence():
    "Far from the central meridian grid north is not true north: heading less convergence."
    x, y = np.arange(50) * 1.0 + 250_000.0, np.full(50, 7_000_000.0)
    lon, lat = unproject(UTM_33, x, y)
    rows = Soundings.build(50, [LogFacts("a")], x_m=x, y_m=y, lon_deg=lon, lat_deg=lat,
                           time_s=np.arange(50.0), heading_deg=np.full(50, 90.0), logged_depth_m=np.ones(50))
    found = grid_heading_deg(replace(rows, crs=UTM_33))
    turn = convergence_deg(UTM_33, lon, lat)
    assert abs(turn[0]) > 2.0
    assert_allclose(found, (90.0 - turn) % 360.0, atol=1e-4)


def test_below_a_knot_a_course_is_no_heading():
    "A boat at anchor without a compass: no heading, nothing moves, and the place is that much less sure."
    rng = np.random.default_rng(1)
    x, y = rng.normal(0, 0.3, (2, 400)).cumsum(axis=1) * 0.05
    still = facts(logged(x, y, np.full(400, 6.0) + rng.normal(0, 0.05, 400), step_s=1.0), forward_m=4.0)
    cleaned = clean(still, CleanSettings())
    assert_allclose(cleaned.x_m, still.x_m)
    assert np.median(cleaned.position_sigma_m) == pytest.approx(np.hypot(2.5, 4.0 / np.sqrt(2.0)), rel=0.01)
    assert any("below a knot" in text for text in cleaned.messages)


def test_latency_times_velocity_is_taken_off_the_place():
    "2.5 m/s on 030 for 0.8 s: 1.000 m east and 1.732 m north."
    t = np.arange(60.0)
    x, y = CORNER_M[0] + 1.25 * t, CORNER_M[1] + 2.5 * np.cos(np.radians(30)) * t
    rows = Soundings.build(60, [LogFacts("a")], x_m=x, y_m=y, time_s=t, logged_depth_m=np.ones(60))
    moved = shifted(rows, np.array([0.8]), motion(rows, 2.5))
    assert_allclose((x - moved.x_m)[10], 1.0, atol=1e-3)
    assert_allclose((y - moved.y_m)[10], 1.732, atol=1e-3)


@pytest.mark.parametrize("seed", range(3))
def test_latency_recovered_within_its_error(seed):
    "0.8 s put in on one day and 0.3 s on the next; each comes back within 3 sigma, and the crossovers agree better."
    lake = late_lake(seed, latency_s=(0.8, 0.3), fix_m=0.5, apart_m=20.0)
    cleaned = clean(lake.soundings, CleanSettings())
    found = next(text for text in cleaned.messages if "come later than their fixes" in text)
    for day, late in (("day1.nmea", 0.8), ("day2.nmea", 0.3)):
        if day in found:
            said = found.split(day + " (")[1]
            value, error = float(said.split(" s")[0]), float(said.split("give or take ")[1].split(" s")[0])
            assert abs(value - late) <= 3 * error + 0.005 and error < 0.15
    assert "day1.nmea" in found
    raw = clean(lake.soundings, CleanSettings(off=("latency",)))
    assert find_crossovers(cleaned).median_abs_m < find_crossovers(raw).median_abs_m


@pytest.mark.parametrize("lakes, least, how", [
    (12, 21, {}), (8, 14, {"fix_m": 2.5, "apart_m": 20.0, "wrong": (), "size_m": 300.0}),
], ids=["usual", "wandering fixes, many crossings"])
def test_latency_within_two_sigma_in_nine_of_ten(monkeypatch, lakes, least, how):
    "Two latencies a lake, nearly nine in ten within 2 sigma, also where many meetings share one wandering fix; of all "
    "pass errors at least 90 %."
    from lakemap.clean import placing

    seen = []
    decide = placing.decide
    monkeypatch.setattr(placing, "decide", lambda s, late, *more: (seen.append(late), decide(s, late, *more))[1])
    off, bias_off = [], []
    for seed in range(100, 100 + lakes):
        lake = late_lake(seed, **how)
        cleaned = clean(lake.soundings, CleanSettings())
        off += np.abs((seen[-1].latency_s - lake.latency_s) / seen[-1].sigma_s).tolist()
        solved = solve_pass_bias(find_crossovers(cleaned))
        truth = [np.median(lake.bias_m[lake.leg[cleaned.pass_id == number]]) for number in solved.pass_id]
        bias_off += np.abs((solved.bias_m - truth) / solved.sigma_m).tolist()
    assert np.sum(np.array(off) <= 2.0) >= least
    assert np.mean(np.array(bias_off) <= 2.0) >= 0.9


def test_one_way_passes_cannot_tell_latency_from_lever_arm():
    "All passes one way on one day: nothing is moved, and that is said."
    lake = late_lake(3, latency_s=(0.8,), one_way=True)
    cleaned = clean(lake.soundings, CleanSettings())
    assert_allclose(cleaned.x_m, lake.soundings.x_m)
    assert any("run one way" in text for text in cleaned.messages)


def test_a_given_latency_is_applied_and_doubted_where_passes_speak_against_it():
    "Given 0.8 s where 0.8 s is true: no word; given 0.0 s: used, and said to disagree."
    lake = late_lake(5, fix_m=0.5, apart_m=20.0)
    right = clean(facts(lake.soundings, latency_s=0.8), CleanSettings())
    assert not any("latency is given" in text for text in right.messages)
    wrong = clean(facts(lake.soundings, latency_s=0.0), CleanSettings())
    assert_allclose(wrong.x_m, lake.soundings.x_m)
    assert any("latency is given as 0 s, but the passes say 0." in text for text in wrong.messages)


def test_logs_without_times_say_so():
    "Neither found nor put right, and nothing moves."
    x, y, sailed = sail(passes=4)
    rows = logged(x, y, tilted(x, y), sailed, has_time=False)
    cleaned = clean(rows, CleanSettings())
    assert any("without times latency" in text for text in cleaned.messages)
    assert_allclose(cleaned.x_m, rows.x_m)


@pytest.mark.parametrize("fix_m", [0.6, 1.5, 4.0])
def test_the_error_of_fixes_shows_where_passes_meet(fix_m):
    "Fixes that wander by 0.6, 1.5 or 4 m: the mean of five lakes' estimates lies within 35 % of it."
    found = [np.median(clean(late_lake(seed, fix_m=fix_m, apart_m=20.0, wrong=()).soundings,
                             CleanSettings()).position_sigma_m) for seed in range(5)]
    assert np.mean(found) == pytest.approx(fix_m, rel=0.35)


@pytest.mark.parametrize("step, scale", [(1e-4, 1.0), (1e-5, 1.0), (1e-3 / 60, 1.0)])
def test_rounding_is_read_off_the_decimals(step, scale):
    "Positions to 4 or 5 decimals of a degree, or 3 of a minute."
    rng = np.random.default_rng(2)
    lon, lat = (np.round(v / step) * step for v in (7 + rng.uniform(0, 0.01, 300), 45 + rng.uniform(0, 0.01, 300)))
    assert rounding_step_m(lon, lat) == pytest.approx(step * 111_195, rel=1e-6)
    assert rounding_step_m(7 + rng.uniform(0, 0.01, 300), lat) == 0.0


def test_coarse_positions_count_as_less_sure():
    "Four decimals are steps of 11 m: 3.2 m of error on top of the usual 2.5 m."
    rows = sounded(tilted, passes=2)
    coarse = rows.with_columns(lon_deg=rows.lon_deg.round(4), lat_deg=rows.lat_deg.round(4))
    cleaned = clean(coarse, CleanSettings())
    assert np.median(cleaned.position_sigma_m) == pytest.approx(np.hypot(2.5, 11.1195 / np.sqrt(12)), rel=0.02)
