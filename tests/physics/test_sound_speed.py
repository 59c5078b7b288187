"""Speed of sound against published polynomials and check values; depths from times."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference_tables import rows

from lakemap.errors import InputError
from lakemap.physics.sound_speed import (
    SALINITY_OF,
    T68_PER_T90,
    fresh_water_sound_speed,
    harmonic_mean_speed,
    one_way_time_s,
    reached_depth_m,
    salt_water_sound_speed,
    sound_speed_mps,
    true_depth_m,
)

FRESH = rows("pure_water_sound_speed.csv")
OTHERS = [name for name in FRESH[0] if name not in ("T_degC", "c_marczak_1997")]
# Del Grosso & Mader 1972, rounded as in the pure-water part of Chen & Millero
DEL_GROSSO = (1402.388, 5.03711, -5.80852e-2, 3.3420e-4, -1.47800e-6, 3.1464e-9)
PROFILE_M, PROFILE_C = (0.0, 5.0, 8.0, 12.0, 20.0), (24.0, 23.5, 15.0, 9.0, 7.0)


@pytest.mark.parametrize("row", FRESH, ids=lambda row: f"{row['T_degC']:g}C")
def test_fresh_water_follows_its_polynomial(row):
    "Marczak's values come back to the last digit printed."
    assert fresh_water_sound_speed(row["T_degC"]) == pytest.approx(row["c_marczak_1997"], abs=1e-4)


@pytest.mark.parametrize("other", OTHERS)
def test_fresh_water_agrees_with_other_formulas(other):
    "No other formula is farther off than 0.06 m/s from 0 to 40 degC."
    t = np.array([row["T_degC"] for row in FRESH])
    assert fresh_water_sound_speed(t) == pytest.approx(np.array([row[other] for row in FRESH]), abs=0.06)


def test_fresh_water_agrees_with_del_grosso_and_mader():
    "The cross-check polynomial itself, 1482.343 m/s at 20 degC (its printed table), lies within 0.06 m/s."
    t = np.linspace(0.0, 30.0, 61)
    check = np.polynomial.polynomial.polyval(t, DEL_GROSSO)
    assert np.polynomial.polynomial.polyval(20.0, DEL_GROSSO) == pytest.approx(1482.343, abs=1e-3)
    assert np.max(np.abs(fresh_water_sound_speed(t) - check)) < 0.06


def test_fresh_water_is_fastest_near_74_degrees():
    "The maximum is 1555.1402 m/s at 74.174 degC."
    t = np.linspace(73.0, 75.5, 2501)
    c = fresh_water_sound_speed(t)
    assert c.max() == pytest.approx(1555.1402, abs=1e-3)
    assert t[c.argmax()] == pytest.approx(74.174, abs=0.02)


@pytest.mark.parametrize("row", rows("salt_water_sound_speed.csv"), ids=str)
def test_salt_water_check_values(row):
    "UNESCO 44's check value and three more; the table's temperatures are on the scale of 1968."
    c = salt_water_sound_speed(row["t68_degC"] / T68_PER_T90, row["salinity"], row["pressure_dbar"])
    assert c == pytest.approx(row["c_mps"], abs=row["tolerance_mps"])


def test_salt_water_without_salt_is_fresh_water():
    "At salinity 0 the two formulas agree to 0.06 m/s."
    t = np.linspace(0.0, 30.0, 31)
    assert salt_water_sound_speed(t, 0.0) == pytest.approx(fresh_water_sound_speed(t), abs=0.06)


def test_words_for_water_rise_in_speed_with_salt():
    "Fresh, brackish, salt: each faster than the one before, at any temperature."
    t = np.linspace(0.0, 30.0, 31)
    speeds = [sound_speed_mps(t, word) for word in ("fresh", "brackish", "salt")]
    assert np.all(np.diff(speeds, axis=0) > 0)
    assert list(SALINITY_OF) == ["fresh", "brackish", "salt"]


def test_unknown_water_is_refused():
    "The word and the words allowed stand in the error."
    with pytest.raises(InputError, match="'murky': must be one of fresh, brackish, salt"):
        sound_speed_mps(10.0, "murky")


@pytest.mark.parametrize("row", rows("depth_for_speed.csv"), ids=str)
def test_depth_for_true_speed(row):
    "A fixed-speed sounder's depth, corrected below the transducer and then given its draft."
    c = fresh_water_sound_speed(row["water_degC"])
    depth = row["draft_m"] + true_depth_m(row["shown_m"], row["nominal_mps"], c)
    assert depth == pytest.approx(row["depth_m"], abs=1e-5)


def test_profile_of_a_stratified_lake():
    "Layer time ln(c2/c1)/gradient: 13.6852720 ms to 20 m, mean 1461.42510 m/s, shown as 20.52791 m at 1500 m/s."
    c = fresh_water_sound_speed(PROFILE_C)
    assert c == pytest.approx([1494.0157, 1492.6308, 1465.9599, 1443.2676, 1434.9246], abs=1e-4)
    assert 1000 * one_way_time_s(PROFILE_M, c) == pytest.approx(13.6852720, abs=1e-7)
    assert harmonic_mean_speed(PROFILE_M, c) == pytest.approx(1461.42510, abs=1e-5)
    assert 1500 * one_way_time_s(PROFILE_M, c) == pytest.approx(20.52791, abs=1e-5)


@pytest.mark.parametrize(
    ("depth_m", "speed_mps"), [([0, 5, 5], [1, 2, 3]), ([5, 0], [1, 2]), ([0, 1], [1, 0]), ([0], [1]), ([0, 1], [1])]
)
def test_a_profile_out_of_order_is_refused(depth_m, speed_mps):
    "Depths that do not rise, a speed of 0, one node alone: one line that says the rule."
    with pytest.raises(InputError, match="two or more rising depths"):
        harmonic_mean_speed(depth_m, speed_mps)


@given(st.floats(1400, 1560), st.floats(-1e-4, 1e-4), st.floats(0.1, 100))
def test_a_nearly_uniform_layer_loses_no_digits(c, change, thickness):
    "However small the gradient, the layer's time lies between those of its two speeds."
    ends = np.array([c, c * (1 + change)])
    time = one_way_time_s([0.0, thickness], ends)
    assert thickness / ends.max() * (1 - 1e-12) <= time <= thickness / ends.min() * (1 + 1e-12)


@given(st.floats(0, 30), st.floats(0.1, 100), st.floats(1400, 1600))
def test_correcting_twice_over_is_undone(t, shown, nominal):
    "From nominal to true speed and back is the depth shown."
    c = fresh_water_sound_speed(t)
    assert true_depth_m(true_depth_m(shown, nominal, c), c, nominal) == pytest.approx(shown, rel=1e-12)


def test_sound_followed_down_the_reference_profile_reaches_20_m():
    "13.6852720 ms from the surface; one node alone is one speed; beyond the nodes their end speed."
    speeds = fresh_water_sound_speed(PROFILE_C)
    assert reached_depth_m(13.6852720e-3, 0.0, PROFILE_M, speeds) == pytest.approx(20.0, abs=2e-5)
    assert reached_depth_m(0.01, 0.5, [3.0], [1447.289]) == pytest.approx(14.97289)
    assert reached_depth_m(0.01, 20.0, PROFILE_M, speeds) == pytest.approx(20.0 + 0.01 * speeds[-1])


LAYERS = st.lists(st.tuples(st.floats(0.1, 20), st.floats(0, 35)), min_size=2, max_size=6)


@given(LAYERS, st.floats(0, 1), st.floats(0, 1))
def test_the_way_down_takes_the_time_of_the_profile(layers, a, b):
    "From any depth of a profile to any deeper one: the time of the part between brings sound there, to a micrometre."
    depth = np.cumsum([thick for thick, _ in layers])
    speed = fresh_water_sound_speed([t for _, t in layers])
    start, end = depth[0] + (depth[-1] - depth[0]) * np.sort([a, b])
    inside = (depth > start) & (depth < end)
    nodes = np.concatenate([[start], depth[inside], [end]])
    time = one_way_time_s(nodes, np.interp(nodes, depth, speed)) if end > start + 1e-9 else 0.0
    assert reached_depth_m(time, start, depth, speed) == pytest.approx(end if time else start, abs=1e-6)
