"""Beam geometry against worked numbers."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference_tables import rows

from lakemap.physics.beam import (
    blind_zone_m,
    edge_excess_m,
    first_return_depth_m,
    first_return_shift_m,
    footprint_diameter_m,
    piston_beam_deg,
    pulse_length_m,
    wavelength_m,
)


@pytest.mark.parametrize("row", rows("beam_footprint.csv"), ids=str)
def test_footprint_table(row):
    "Diameter of the footprint and range to its edge, to the table's last digit."
    angle, depth = row["full_beam_angle_deg"], row["depth_m"]
    assert footprint_diameter_m(depth, angle) == pytest.approx(row["footprint_diameter_m"], abs=6e-5)
    assert edge_excess_m(depth, angle) == pytest.approx(row["edge_range_minus_depth_m"], abs=6e-5)


@pytest.mark.parametrize("row", rows("slope_first_return.csv"), ids=str)
def test_first_return_over_a_slope(row):
    "The nearest point inside the beam answers first, uphill of the boat."
    assert first_return_depth_m(10.0, row["slope_deg"], row["beam_deg"]) == pytest.approx(row["shown_m"], abs=1e-5)
    if "shift_m" in row:
        assert first_return_shift_m(10.0, row["slope_deg"], row["beam_deg"]) == pytest.approx(row["shift_m"], abs=6e-5)


@given(st.floats(1, 100), st.floats(0, 40), st.floats(2, 60))
def test_first_return_is_never_deeper(depth, slope, beam):
    "A slope only ever shows shallower, never nearer than the plane itself, and lies inside the beam."
    shown = first_return_depth_m(depth, slope, beam)
    assert shown <= depth * (1 + 1e-12)
    assert shown >= first_return_depth_m(depth, slope, 120.0) * (1 - 1e-12)
    assert first_return_shift_m(depth, slope, beam) <= footprint_diameter_m(depth, beam) / 2 + 1e-9


@given(st.floats(1, 100), st.floats(2, 60))
def test_first_return_has_no_step_at_the_beam_edge(depth, beam):
    "Where the slope equals the half beam both rules give the same."
    below, above = first_return_depth_m(depth, [beam / 2 - 1e-7, beam / 2 + 1e-7], beam)
    assert below == pytest.approx(above, rel=1e-6)


@pytest.mark.parametrize("row", rows("blind_zone.csv"), ids=str)
def test_blind_zone_above_the_bottom(row):
    "Worked and printed heights of the zone in which nothing is told from the bottom."
    found = blind_zone_m(row["depth_m"], row["beam_deg"], row["pulse_ms"], row["speed_mps"])
    assert found == pytest.approx(row["blind_m"], abs=6e-5)


@pytest.mark.parametrize(
    ("pulse_ms", "speed_mps", "length_m"), [(0.1, 1450.0, 0.0725), (0.4, 1450.0, 0.29), (1.0, 1480.0, 0.74)]
)
def test_pulse_length(pulse_ms, speed_mps, length_m):
    "c tau / 2, recomputed."
    assert pulse_length_m(pulse_ms, speed_mps) == pytest.approx(length_m)


@pytest.mark.parametrize(("khz", "cm"), [(50, 2.960), (83, 1.783), (200, 0.740), (455, 0.3253), (800, 0.185)])
def test_wavelength(khz, cm):
    "c / f at 1480 m/s, recomputed."
    assert 100 * wavelength_m(khz, 1480.0) == pytest.approx(cm, abs=6e-4)


def test_beam_of_a_round_transducer():
    "200 kHz from 40 mm at 1480 m/s opens 10.92 degrees."
    assert piston_beam_deg(200.0, 0.04, 1480.0) == pytest.approx(10.92, abs=0.01)
