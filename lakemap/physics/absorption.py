"""Absorption of sound in water: Francois & Garrison 1982, J. Acoust. Soc. Am. 72:896 and 72:1879.

The sum of three relaxations. In fresh water boric acid and magnesium sulphate are absent and only the water's own
viscous term remains, which grows with the square of frequency.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

VALID_KHZ, VALID_C = (0.4, 1000.0), (-1.8, 30.0)
"""Frequencies [kHz] and temperatures [degC] that the formula was fitted for (from memory); accuracy about 5 %."""
_COLD = (4.937e-4, -2.59e-5, 9.11e-7, -1.50e-8)
"""Water term up to 20 degC, rising powers of temperature. The first number is misprinted as 4.397e-4 in places; with
4.937e-4 the two branches meet at 20 degC."""
_WARM = (3.964e-4, -1.146e-5, 1.45e-7, -6.5e-10)
"""Water term above 20 degC."""


def absorption_db_per_m(
    frequency_khz: ArrayLike, temperature_c: ArrayLike, salinity: ArrayLike = 0.0, depth_m: ArrayLike = 0.0,
    ph: ArrayLike = 8.0,
) -> Floats:
    """Absorption one way [dB/m]; frequency [kHz], temperature [degC], practical salinity, depth [m], pH; broadcast.

    ``ph`` matters only where there is salt. Valid for VALID_KHZ and VALID_C.
    """
    f, t, s, z, acid = np.broadcast_arrays(
        *(np.asarray(value, dtype=np.float64) for value in (frequency_khz, temperature_c, salinity, depth_m, ph))
    )
    db_per_km = _water(f, t, z) + np.where(s > 0, _salts(f, t, s, z, acid), 0.0)
    return np.asarray(db_per_km / 1000.0, dtype=np.float64)


def _water(f: Floats, t: Floats, z: Floats) -> Floats:
    polyval = np.polynomial.polynomial.polyval
    a3 = np.where(t <= 20.0, polyval(t, _COLD), polyval(t, _WARM))
    p3 = 1.0 - 3.83e-5 * z + 4.9e-10 * z**2
    return np.asarray(a3 * p3 * f**2, dtype=np.float64)


def _salts(f: Floats, t: Floats, s: Floats, z: Floats, ph: Floats) -> Floats:
    """Boric acid and magnesium sulphate [dB/km]."""
    theta = 273.0 + t
    c = 1412.0 + 3.21 * t + 1.19 * s + 0.0167 * z
    a1 = 8.86 / c * 10.0 ** (0.78 * ph - 5.0)
    f1 = 2.8 * np.sqrt(s / 35.0) * 10.0 ** (4.0 - 1245.0 / theta)
    a2 = 21.44 * s / c * (1.0 + 0.025 * t)
    p2 = 1.0 - 1.37e-4 * z + 6.2e-9 * z**2
    f2 = 8.17 * 10.0 ** (8.0 - 1990.0 / theta) / (1.0 + 0.0018 * (s - 35.0))
    boric = a1 * f1 * f**2 / (f1**2 + f**2)
    return np.asarray(boric + a2 * p2 * f2 * f**2 / (f2**2 + f**2), dtype=np.float64)
