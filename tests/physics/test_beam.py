"""Beam geometry against worked numbers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference_tables import rows

from lakemap.physics.beam import (
    beam_loss_db,
    blind_zone_m,
    edge_excess_m,
    first_return_depth_m,
    first_return_shift_m,
    footprint_diameter_m,
    piston_beam_deg,
    pulse_length_m,
    slope_loss_db,
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


@given(st.floats(2, 60))
def test_half_the_beam_is_three_decibels_off(beam):
    "One way, by definition; nothing is lost on the axis."
    assert beam_loss_db(beam / 2, beam) == pytest.approx(3.01, abs=0.02)
    assert beam_loss_db(0.0, beam) == pytest.approx(0.0, abs=1e-6)


@given(st.floats(0, 90), st.floats(0, 90), st.floats(2, 60))
def test_farther_off_the_axis_is_never_louder(one, other, beam):
    "The main lobe falls, and beyond it nothing finer is claimed."
    near, far = beam_loss_db(np.sort([one, other]), beam)
    assert near <= far + 1e-9


@given(st.floats(4, 60))
def test_the_second_echo_leaves_the_beam_at_a_quarter_of_it(beam):
    "It comes from twice the slope: 6 dB both ways at a quarter of the full angle, where the first has lost 1.4."
    first, second = slope_loss_db(beam / 4, beam)
    assert second == pytest.approx(2 * 3.01, abs=0.05)
    assert first == pytest.approx(2 * float(beam_loss_db(beam / 4, beam)))
    assert first < second


def test_the_path_of_the_second_echo_closes_at_twice_the_slope():
    "Rays followed by mirror laws: one that leaves at 2 g meets the surface upright and comes back where it began."
    for slope in np.radians([1.0, 5.0, 12.0]):
        along = np.array([np.cos(slope), np.sin(slope)])
        normal = np.array([-np.sin(slope), np.cos(slope)])
        ray = np.array([np.sin(2 * slope), -np.cos(2 * slope)])
        up = ray - 2 * (ray @ normal) * normal
        assert up == pytest.approx([0.0, 1.0], abs=1e-12)
        back = np.array([up[0], -up[1]])
        back = back - 2 * (back @ normal) * normal
        assert back == pytest.approx(-ray, abs=1e-12)
        assert along @ normal == pytest.approx(0.0)
