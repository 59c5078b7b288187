"""Reflection, bottom loss, both echoes and hardness."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference_tables import rows

from lakemap.errors import InputError
from lakemap.physics.reflection import (
    BOTTOM_CLASSES,
    SEDIMENTS,
    bottom_class,
    bottom_loss_db,
    bottom_loss_from_echoes,
    geometric_second_bottom_m,
    hardness_index,
    loss_from_hardness,
    reflection_coefficient,
    reflection_from_loss,
    two_echo_levels_db,
)

ALPHA = 10.382e-3  # dB/m, Francois & Garrison 1982, 200 kHz, fresh, 15 degC
LAWS = ("none", "20logR", "40logR", "20logR+absorption", "40logR+absorption")
depths, losses, reflections = st.floats(0.5, 200), st.floats(1.0, 40.0), st.floats(0.001, 1.0)


@pytest.mark.parametrize("row", rows("sediments_apluw.csv"), ids=lambda row: row["sediment"])
def test_handbook_sediments(row):
    "R to 1e-4 and bottom loss to 0.01 dB from the handbook's ratios."
    r = reflection_coefficient(row["density_ratio"], row["sound_speed_ratio"])
    assert r == pytest.approx(row["R_normal_lossless"], abs=6e-5)
    assert bottom_loss_db(r) == pytest.approx(row["bottom_loss_dB_lossless"], abs=6e-3)


def test_own_table_is_the_handbooks():
    "SEDIMENTS holds the same 22 rows in the same order."
    own = [(s.mean_phi, s.density_ratio, s.speed_ratio) for s in SEDIMENTS.values()]
    columns = ("Mz_phi", "density_ratio", "sound_speed_ratio")
    assert own == [tuple(row[name] for name in columns) for row in rows("sediments_apluw.csv")]


@pytest.mark.parametrize("row", rows("sediments_jensen.csv"), ids=lambda row: row["bottom"])
def test_second_table_of_bottoms(row):
    "The other table, to the same digits; its levels for mud differ, so no class comes from a level alone."
    r = reflection_coefficient(row["density_ratio"], row["cp_over_cw"])
    assert r == pytest.approx(row["R_normal_lossless"], abs=6e-5)
    assert bottom_loss_db(r) == pytest.approx(row["bottom_loss_dB_lossless"], abs=6e-3)


def test_published_single_values():
    "Three values from the tests of a public library of underwater acoustics, with its tolerances."
    assert reflection_coefficient(1200 / 1023, 1600 / 1540) == pytest.approx(0.0986, abs=1e-4)
    assert -bottom_loss_db(reflection_coefficient(2.5, 2.5)) == pytest.approx(-2.8, abs=0.1)
    assert -bottom_loss_db(reflection_coefficient(2.492, 1.3370)) == pytest.approx(-5.0, abs=0.5)
    assert -bottom_loss_db(reflection_coefficient(1.195, 1.0179)) == pytest.approx(-20.0, abs=0.5)


def test_order_of_bottoms():
    "Rock gives back more than gravel, gravel more than sand, sand more than silt, silt more than clay."
    all_of_them = [sediment.reflection for sediment in SEDIMENTS.values()]
    assert np.all(np.diff(all_of_them) < 0)
    names = ("rock", "cobble, gravel, pebble", "medium sand", "silt", "clay")
    hardness = [float(hardness_index(SEDIMENTS[name].bottom_loss_db)) for name in names]
    assert hardness == sorted(hardness, reverse=True)


def test_reflection_at_its_ends():
    "Equal impedance gives nothing back, endless impedance everything; turned about, the sign turns."
    assert reflection_coefficient(2.0, 0.5) == 0.0
    assert bottom_loss_db(0.0) == np.inf
    assert reflection_coefficient(1e12, 1.0) == pytest.approx(1.0)


@given(st.floats(1.01, 100))
def test_reflection_changes_sign_from_the_other_side(impedance):
    "R(1/z) = -R(z)."
    assert reflection_coefficient(1 / impedance, 1.0) == pytest.approx(-reflection_coefficient(impedance, 1.0))


@pytest.mark.parametrize("row", rows("two_echo_levels.csv"), ids=str)
def test_two_echo_levels(row):
    "Worked levels of both echoes, to 0.001 dB."
    first, second = two_echo_levels_db(row["depth_m"], row["reflection"], ALPHA)
    assert bottom_loss_db(row["reflection"]) == pytest.approx(row["bottom_loss_dB"], abs=1e-3)
    assert first == pytest.approx(row["first_less_SL_dB"], abs=1e-3)
    assert second == pytest.approx(row["second_less_SL_dB"], abs=1e-3)
    assert first - second == pytest.approx(row["difference_dB"], abs=1e-3)


@pytest.mark.parametrize(("reflection", "difference_db"), [(0.3698, 14.661), (0.7241, 8.825), (0.0575, 30.827)])
def test_difference_without_absorption(reflection, difference_db):
    "Amplitude ratio R/2 without absorption: 14.661, 8.825 and 30.827 dB (recomputed)."
    first, second = two_echo_levels_db(10.0, reflection, 0.0)
    assert first - second == pytest.approx(difference_db, abs=1e-3)


def test_20_log_r_removes_the_spreading_and_40_overdoes_it():
    "The difference falls by 6.0206 dB with each 20 log r."
    told = [two_echo_levels_db(10.0, 0.3, 0.0, gain_law=law) for law in LAWS[:3]]
    differences = [first - second for first, second in told]
    assert np.diff(differences) == pytest.approx([-6.0206, -6.0206], abs=1e-4)
    assert differences[1] == pytest.approx(bottom_loss_db(0.3))


@given(depths, reflections, st.floats(0, 0.3), st.floats(0, 6), st.sampled_from(LAWS), st.floats(-50, 250))
def test_loss_comes_back_from_levels(depth, reflection, alpha, surface, law, source):
    "Whatever the source level, gain law, absorption and surface: the loss put in comes out."
    first, second = two_echo_levels_db(depth, reflection, alpha, surface, law)
    found = bottom_loss_from_echoes(first + source, second + source, depth, alpha, law, surface)
    assert found == pytest.approx(float(bottom_loss_db(reflection)), abs=1e-9)


def test_unknown_gain_law_is_refused():
    "The word and the words allowed stand in the error."
    with pytest.raises(InputError, match="'30logR': must be one of none, 20logR, 40logR"):
        bottom_loss_from_echoes(0.0, -10.0, 5.0, 0.0, "30logR")


def test_place_of_the_second_bottom():
    "10 m below a transducer 0.4 m deep: 20.4 m below it, which is 20.8 = 2 x 10.4 m below the surface."
    assert geometric_second_bottom_m(10.0, 0.4) == pytest.approx(20.4)
    assert geometric_second_bottom_m(10.0, 0.4) + 0.4 == pytest.approx(2 * 10.4)


def test_hardness_scale():
    "25 dB is 0 and 3 dB is 1, clipped beyond; 10.5 and 20 dB bound the classes."
    assert hardness_index([30.0, 25.0, 14.0, 3.0, 1.0]) == pytest.approx([0.0, 0.0, 0.5, 1.0, 1.0])
    words = [BOTTOM_CLASSES[i] for i in bottom_class(hardness_index([10.5, 10.6, 20.0, 20.1]))]
    assert words == ["hard", "medium", "medium", "soft"]
    assert bottom_class([np.nan])[0] == -1


def test_handbook_classes():
    "Medium sand and coarser is hard, coarse silt and finer is soft, fine sand between."
    words = {name: BOTTOM_CLASSES[bottom_class(hardness_index(s.bottom_loss_db))] for name, s in SEDIMENTS.items()}
    assert words["medium sand"] == "hard"
    assert words["fine sand"] == "medium"
    assert words["coarse silt"] == words["clay"] == "soft"


@given(losses, losses)
def test_less_loss_is_never_softer(one, other):
    "Hardness falls, or stays at an end, as bottom loss grows; reflection falls."
    low, high = min(one, other), max(one, other)
    assert hardness_index(low) >= hardness_index(high)
    assert reflection_from_loss(low) >= reflection_from_loss(high)


@given(st.floats(3.0, 25.0))
def test_scales_turn_back(loss):
    "Loss to hardness and back, and loss to reflection and back."
    assert loss_from_hardness(hardness_index(loss)) == pytest.approx(loss)
    assert bottom_loss_db(reflection_from_loss(loss)) == pytest.approx(loss)


def test_a_gain_for_absorption_takes_its_term_away():
    "With 2 alpha r added at each echo's own range both levels are those of water that absorbs nothing."
    for law in ("20logR", "40logR"):
        with_it = two_echo_levels_db(25.0, 0.3, 0.166, gain_law=f"{law}+absorption")
        without = two_echo_levels_db(25.0, 0.3, 0.0, gain_law=law)
        assert np.array(with_it) == pytest.approx(np.array(without))
