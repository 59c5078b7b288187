"""Oxygen that water can hold."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

KELVIN = 273.15


def oxygen_saturation_mgl(temperature_c: Floats | float, pressure_atm: float = 1.0) -> Floats:
    """Saturation [mg/L] of fresh water under moist air; ``temperature_c`` any shape, 0 to 40 degC.

    Benson & Krause 1984, Limnol. Oceanogr. 29:620, with its correction for pressure.
    """
    t = np.asarray(temperature_c, dtype=np.float64)
    kelvin = t + KELVIN
    at_sea = np.exp(
        -139.34411 + 1.575701e5 / kelvin - 6.642308e7 / kelvin**2 + 1.243800e10 / kelvin**3 - 8.621949e11 / kelvin**4
    )
    vapour = np.exp(11.8571 - 3840.70 / kelvin - 216961.0 / kelvin**2)
    theta = 0.000975 - 1.426e-5 * t + 6.436e-8 * t**2
    lowered = (1 - vapour / pressure_atm) * (1 - theta * pressure_atm) / ((1 - vapour) * (1 - theta))
    return np.asarray(at_sea * pressure_atm * lowered)
