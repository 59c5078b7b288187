"""Absorption against the published formula's values."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference_tables import rows

from lakemap.physics.absorption import absorption_db_per_m


@pytest.mark.parametrize("row", rows("absorption_fresh.csv"), ids=lambda row: f"{row['f_kHz']:g}kHz-{row['T_degC']:g}C")
def test_fresh_water_table(row):
    "Every value of the fresh-water table, to its last digit; the other formula lies within 13 %."
    found = 1000 * absorption_db_per_m(row["f_kHz"], row["T_degC"])
    assert found == pytest.approx(row["alpha_dB_per_km_francois_garrison_S0"], abs=6e-5)
    assert found == pytest.approx(row["alpha_dB_per_km_ainslie_mccolm_S0"], rel=0.13)


@pytest.mark.parametrize(
    ("khz", "celsius", "salinity", "ph", "db_per_km", "tolerance"),
    # 40 +- 0.5 dB/km printed in a public test of underwater acoustics; the others recomputed from the formula
    [(100, 14, 38.5, 7.7, 39.8, 0.05), (200, 10, 35, 8.0, 54.446, 1e-3)],
)
def test_sea_water_anchors(khz, celsius, salinity, ph, db_per_km, tolerance):
    "Two values at sea."
    found = 1000 * absorption_db_per_m(khz, celsius, salinity, ph=ph)
    assert found == pytest.approx(db_per_km, abs=tolerance)


def test_branches_meet_at_20_degrees():
    "With the first coefficient 4.937e-4 the cold and the warm branch differ by 0.05 % at 20 degC."
    cold, warm = absorption_db_per_m(200.0, [20.0, 20.0 + 1e-9])
    assert cold == pytest.approx(warm, rel=1e-3)


def test_two_way_loss_in_a_shallow_lake():
    "10 m at 15 degC: 0.21 dB both ways at 200 kHz, 3.3 dB at 800 kHz."
    assert 20 * absorption_db_per_m([200.0, 800.0], 15.0) == pytest.approx([0.21, 3.3], abs=0.03)


@given(st.floats(20, 1000), st.floats(0, 25))
def test_fresh_water_grows_with_the_square_of_frequency(khz, celsius):
    "In fresh water the ratio to f squared hangs on temperature only."
    assert absorption_db_per_m(khz, celsius) / khz**2 == pytest.approx(absorption_db_per_m(1.0, celsius), rel=1e-9)


@given(st.floats(20, 1000), st.floats(0, 25), st.floats(0.01, 40))
def test_salt_only_adds(khz, celsius, salinity):
    "Salt never makes water clearer to sound."
    assert absorption_db_per_m(khz, celsius, salinity) > absorption_db_per_m(khz, celsius)


def test_a_trace_of_salt_changes_nothing_suddenly():
    "The fresh-water path joins the salt-water one without a step."
    assert absorption_db_per_m(200.0, 10.0, 1e-9) == pytest.approx(absorption_db_per_m(200.0, 10.0), rel=1e-6)


def test_shapes_broadcast():
    "Frequencies down, temperatures across."
    assert absorption_db_per_m(np.array([[50.0], [200.0]]), np.array([5.0, 10.0, 15.0])).shape == (2, 3)
