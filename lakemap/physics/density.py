"""Density of fresh water."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def fresh_water_density(temperature_c: Floats | float) -> Floats:
    """Density [kg/m3] of air-free fresh water at one atmosphere; ``temperature_c`` any shape, 0 to 40 degC.

    Tanaka et al. 2001, Metrologia 38:301 (ITS-90); within 0.0012 kg/m3 of TEOS-10 over that range.
    """
    t = np.asarray(temperature_c, dtype=np.float64)
    shrink = (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881))
    return np.asarray(999.974950 * (1.0 - shrink))
