"""Hardness from the levels of both echoes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lakemap.hardness import HardnessSettings, add_hardness
from lakemap.model.flags import Flag
from lakemap.model.log_facts import LogFacts
from lakemap.physics.reflection import SEDIMENTS, bottom_loss_db, hardness_index

PLAIN = HardnessSettings(wind_mps=0.0)
LAWS = ("none", "20logR", "40logR")
REUSE = settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=60)


@REUSE
@given(
    depth=st.floats(1, 60), reflection=st.floats(0.06, 0.72), law=st.sampled_from(LAWS),
    khz=st.sampled_from([50, 200, 800]), draft=st.floats(0, 0.9), water_c=st.integers(2, 28),
    source=st.floats(-40, 200),
)
def test_hardness_put_in_comes_out(echoes, depth, reflection, law, khz, draft, water_c, source):
    "Any depth, floor, gain law, frequency, draft, water and fixed gain: the floor's own hardness is read."
    facts = LogFacts("log.csv", gain_law=law, frequency_khz=khz, draft_m=draft)
    found = add_hardness(echoes(depth, reflection, facts, source, water_c=float(water_c)), PLAIN)
    assert found.hardness[0] == pytest.approx(float(hardness_index(bottom_loss_db(reflection))), abs=2e-5)


def test_order_of_floors(echoes):
    "Rock reads harder than gravel, gravel than sand, sand than silt, silt than clay."
    floors = [SEDIMENTS[name].reflection for name in ("rock", "cobble, gravel, pebble", "medium sand", "silt", "clay")]
    found = add_hardness(echoes(np.full(5, 6.0), np.array(floors)), PLAIN)
    assert np.all(np.diff(found.hardness) < 0)


def test_the_same_floor_reads_the_same_at_any_depth(echoes):
    "Depth alone makes no floor softer."
    found = add_hardness(echoes(np.array([1.0, 3.0, 10.0, 30.0]), 0.2), PLAIN)
    assert np.ptp(found.hardness) < 1e-5


def test_a_soft_basin_stays_soft(echoes):
    "Where deep floors really are softer, that stays: no trend with depth is taken out."
    depth = np.linspace(2.0, 12.0, 21)
    loss = np.linspace(6.0, 24.0, 21)
    found = add_hardness(echoes(depth, 10 ** (-loss / 20)), PLAIN)
    assert found.hardness == pytest.approx(hardness_index(loss), abs=2e-5)


def test_sigma_follows_the_error_budget(echoes):
    "1.5 dB for each level, 1 dB for the surface, a quarter of the absorption over 2 d; 22 dB are one unit."
    facts = LogFacts("log.csv", gain_law="none", frequency_khz=800.0)
    found = add_hardness(echoes(np.array([5.0, 40.0]), 0.2, facts), PLAIN)
    absorbed = 2 * np.array([5.0, 40.0]) * 0.166112 * 0.25  # F & G 1982, 800 kHz, fresh, 15 degC
    assert found.hardness_sigma == pytest.approx(np.sqrt(2 * 1.5**2 + 1 + absorbed**2) / 22, rel=1e-4)


def test_sigma_is_honest_for_noisy_levels(echoes):
    "With the noise of the budget, the truth lies within 1.96 sigma about 95 times in 100."
    quiet = HardnessSettings(wind_mps=0.0, surface_loss_sigma_db=0.0, floor_sigma_db=0.0, absorption_sigma_share=0.0)
    found = add_hardness(echoes(np.full(4000, 8.0), 0.25, noise_db=1.5), quiet)
    off = np.abs(found.hardness - hardness_index(bottom_loss_db(0.25)))
    assert np.mean(off < 1.96 * found.hardness_sigma) == pytest.approx(0.95, abs=0.015)


@pytest.mark.parametrize(("rough_db", "spacing_m"), [(0.0, 2.0), (2.0, 2.0), (0.0, 12.0)])
def test_roughness_is_learnt_from_readings_beside_each_other(echoes, rough_db, spacing_m):
    "A loss that changes by 2 dB from ping to ping is in sigma; an even floor's is not; pings far apart take 1 dB."
    n = 400
    loss = 10.0 + rough_db * np.random.default_rng(3).standard_normal(n)
    lake = echoes(np.full(n, 8.0), 10 ** (-loss / 20), noise_db=1.0, x_m=spacing_m * np.arange(n), pass_id=0)
    found = add_hardness(lake, HardnessSettings(wind_mps=0.0, surface_loss_sigma_db=0.0, absorption_sigma_share=0.0))
    echo_db, level_db = 1.0 / np.sqrt(5.0), 0.3
    floor_db = rough_db if spacing_m < 4 else 1.0
    told = float(np.median(found.hardness_sigma)) * 22.0
    assert told == pytest.approx(np.sqrt(echo_db**2 + level_db**2 * 0.36 + floor_db**2), abs=0.2)
    given = add_hardness(lake, HardnessSettings(wind_mps=0.0, floor_sigma_db=3.0))
    assert np.all(given.hardness_sigma * 22.0 > 3.0)


def test_surface_loss_is_given_back(echoes):
    "Loss at a rough surface is a setting, and makes the floor read as hard as it is."
    lake = echoes(6.0, 0.3)
    lake = lake.with_columns(second_echo_db=lake.second_echo_db - 3.0)
    found = add_hardness(lake, HardnessSettings(surface_loss_db=3.0, wind_mps=0.0))
    assert found.hardness[0] == pytest.approx(float(hardness_index(bottom_loss_db(0.3))), abs=2e-5)


def _with_lost_seconds(echoes, display_range_m, depth_m=10.0, lost=0.06, facts=None):
    "Twenty rows over floors of 0.1 to 0.4 and one of which the second echo is below what was ever heard."
    lake = echoes(np.broadcast_to(depth_m, 21), np.append(np.linspace(0.1, 0.4, 20), lost), facts)
    second = lake.second_echo_db.copy()
    second[20] = np.nan
    return lake.with_columns(second_echo_db=second, display_range_m=np.full(21, display_range_m))


def test_an_unheard_second_echo_is_an_upper_bound(echoes):
    "The range could show it, and over a hard floor it would have been heard: at most so hard, with a wide sigma."
    found = add_hardness(_with_lost_seconds(echoes, 25.0), PLAIN)
    truth = float(hardness_index(bottom_loss_db(0.06)))
    assert truth <= found.hardness_high[20] <= hardness_index(PLAIN.hard_at)
    assert found.hardness[20] == pytest.approx(found.hardness_high[20] / 2)
    assert found.hardness_sigma[20] > found.hardness_sigma[0]
    assert np.isnan(found.hardness_high[:20]).all()


def test_upper_bounds_do_not_hang_on_the_gain_law(echoes):
    "Gain lifts noise and echo alike, so what was heard at 10 m is compared at equal gain with what is heard at 20 m."
    bounds = []
    for law in LAWS:
        lake = _with_lost_seconds(echoes, 60.0, np.append(np.full(20, 10.0), 20.0), facts=LogFacts("a", gain_law=law))
        bounds.append(add_hardness(lake, HardnessSettings(hard_at=4.0, wind_mps=0.0)).hardness_high[20])
    assert np.isfinite(bounds).all()
    assert np.ptp(bounds) < 1e-5


@pytest.mark.parametrize(("display_range_m", "why"), [(18.0, "too short"), (20.2, "too short"), (np.nan, "not known")])
def test_a_second_echo_off_the_screen_is_not_observed(echoes, display_range_m, why):
    "A range that ends before twice the depth, or is not known: nothing is said, least of all soft."
    found = add_hardness(_with_lost_seconds(echoes, display_range_m), PLAIN)
    assert np.isnan(found.hardness[20]) and np.isnan(found.hardness_high[20])
    assert any("not observed in 1 rows" in text and why in text for text in found.messages)


def test_the_range_must_reach_twice_the_depth_and_the_draft(echoes):
    "10 m below a transducer 1 m deep: 21 m and its tolerance are needed, below the transducer."
    facts = LogFacts("log.csv", gain_law="none", depth_reference="transducer", draft_m=1.0)
    short = add_hardness(_with_lost_seconds(echoes, 21.0, 11.0, facts=facts), PLAIN)
    enough = add_hardness(_with_lost_seconds(echoes, 21.7, 11.0, facts=facts), PLAIN)
    assert np.isnan(short.hardness[20])
    assert np.isfinite(enough.hardness[20])


def test_a_second_echo_too_deep_to_hear_is_not_observed(echoes):
    "Where even rock's second echo would drown, its absence says nothing."
    lake = _with_lost_seconds(echoes, 300.0)
    depth, first = lake.depth_m.copy(), lake.first_echo_db.copy()
    depth[20], first[20] = 120.0, -70.0
    found = add_hardness(lake.with_columns(depth_m=depth, logged_depth_m=depth, first_echo_db=first), PLAIN)
    assert np.isnan(found.hardness[20])
    assert any("too weak to be heard" in text for text in found.messages)


def test_a_log_without_second_levels_says_nothing(rows):
    "First levels alone are no reading of hardness."
    found = add_hardness(rows(np.full(5, 4.0), first_echo_db=-30.0, display_range_m=20.0), PLAIN)
    assert np.isnan(found.hardness).all()
    assert found.messages == ("no reading of the second bottom: no hardness",)


def test_counts_instead_of_decibels_are_not_believed(rows):
    "A second echo as strong as the first: saturated or no dB; counted, not mapped."
    found = add_hardness(rows(np.full(3, 6.0), first_echo_db=200.0, second_echo_db=210.0), PLAIN)
    assert np.isnan(found.hardness).all()
    assert any("levels that are not dB" in text for text in found.messages)


def test_held_out_rows_get_no_hardness(echoes):
    "A row with a fault, or a top of weed, stays NaN; a rise keeps its reading."
    lake = echoes(np.full(4, 6.0), 0.3)
    for row, flag in enumerate((Flag.spike, Flag.weed_top, Flag.rise)):
        lake = lake.with_flag(flag, np.arange(4) == row)
    found = add_hardness(lake, PLAIN)
    assert np.isfinite(found.hardness).tolist() == [False, False, True, True]


def test_unknown_gain_law_is_said_and_taken_from_the_settings(echoes):
    "The log does not say; the setting does, and the message tells what that may cost."
    facts = LogFacts("trip.csv", gain_law="20logR")
    lake = echoes(6.0, 0.3, facts)
    silent = lake.take(np.array([0]))
    object.__setattr__(silent, "logs", (LogFacts("trip.csv"),))
    right = add_hardness(silent, HardnessSettings(gain_law="20logR", wind_mps=0.0))
    wrong = add_hardness(silent, PLAIN)
    assert right.hardness[0] == pytest.approx(float(hardness_index(bottom_loss_db(0.3))), abs=2e-5)
    assert wrong.hardness[0] - right.hardness[0] == pytest.approx(6.0206 / 22, abs=1e-4)
    assert any("gain law of trip.csv not known, taken as none" in text for text in wrong.messages)
    assert not any("gain law" in text for text in add_hardness(lake, PLAIN).messages)


def test_levels_are_called_relative(echoes):
    "Without bottom samples the scale only orders floors, and that is said."
    assert any(text.startswith("hardness is relative") for text in add_hardness(echoes(6.0, 0.3), PLAIN).messages)


def test_raw_readings_stay(echoes):
    "Nothing but the four columns of hardness changes."
    lake = echoes(np.full(4, 6.0), 0.3)
    found = add_hardness(lake, PLAIN)
    for name in ("first_echo_db", "second_echo_db", "logged_depth_m", "depth_m", "flags"):
        assert np.array_equal(getattr(lake, name), getattr(found, name))


def test_no_rows_at_all(rows):
    "An empty lake gives an empty answer."
    assert len(add_hardness(rows(np.empty(0)), PLAIN)) == 0
