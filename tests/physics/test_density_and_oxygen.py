"""Density of fresh water and what oxygen it holds, against published tables."""

from __future__ import annotations

import numpy as np
import pytest

from lakemap.physics.density import fresh_water_density
from lakemap.physics.oxygen import oxygen_saturation_mgl

TEOS_10 = {0: 999.84307, 4: 999.97487, 10: 999.70248, 15: 999.10261, 20: 998.20715, 25: 997.04765, 30: 995.64946}
"Exact form of TEOS-10 for pure water at one atmosphere, computed with a reference implementation."

PRINTED_OXYGEN = {0: 14.621, 5: 12.770, 10: 11.288, 15: 10.084, 20: 9.092, 25: 8.263, 30: 7.559}
"Benson & Krause 1984, table as printed in Standard Methods (from memory), mg/L at one atmosphere."


@pytest.mark.parametrize(("temperature_c", "density"), TEOS_10.items())
def test_density_is_that_of_the_standard(temperature_c, density):
    "Within 0.0013 kg/m3 of TEOS-10; Tanaka et al. state 0.0009."
    assert fresh_water_density(temperature_c) == pytest.approx(density, abs=1.3e-3)


def test_water_is_densest_near_four_degrees():
    "At 3.983 degC, 999.97495 kg/m3 (Tanaka et al. 2001)."
    t = np.arange(3.9, 4.1, 1e-4)
    density = fresh_water_density(t)
    assert t[density.argmax()] == pytest.approx(3.983, abs=1e-3)
    assert density.max() == pytest.approx(999.97495, abs=1e-5)


@pytest.mark.parametrize(("temperature_c", "oxygen"), PRINTED_OXYGEN.items())
def test_oxygen_saturation_is_the_printed_one(temperature_c, oxygen):
    "Within 0.002 mg/L."
    assert oxygen_saturation_mgl(temperature_c) == pytest.approx(oxygen, abs=2e-3)


def test_oxygen_falls_with_pressure_as_in_the_worked_example():
    "20 degC and 0.700 atm: 6.30 mg/L (Standard Methods, from memory); 700 mmHg: 8.3581 mg/L."
    assert oxygen_saturation_mgl(20.0, 0.700) == pytest.approx(6.3016, abs=1e-3)
    assert oxygen_saturation_mgl(20.0, 700 / 760) == pytest.approx(8.3581, abs=1e-3)
