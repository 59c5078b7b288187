"""Speed of sound in water, its mean along the path of a ping, and what that does to a depth.

Pressure is left out for lakes: 50 m of water add 0.8 m/s, one twentieth of a percent of a depth.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lakemap.errors import InputError

Floats = NDArray[np.float64]
Water = Literal["fresh", "brackish", "salt"]

FRESH_RANGE_C = (0.0, 95.0)
"""Where the polynomial of Marczak 1997 was fitted (ITS-90, one atmosphere)."""
_MARCZAK = (1402.385, 5.038813, -5.799136e-2, 3.287156e-4, -1.398845e-6, 2.787860e-9)
"""Marczak 1997, J. Acoust. Soc. Am. 102:2776; powers of temperature [degC], rising."""

SALT_RANGE_C, SALT_RANGE_S = (0.0, 40.0), (0.0, 40.0)
"""Where Chen & Millero 1977 holds: temperature [degC], practical salinity; up to 10000 dbar."""
T68_PER_T90 = 1.00024
"""IPTS-68 over ITS-90 temperatures, 0-40 degC (Saunders 1990); the salt-water formula was fitted on the older scale."""

SALINITY_OF: dict[str, float] = {"fresh": 0.0, "brackish": 8.0, "salt": 35.0}
"""Salinity taken for a word: 8 is the middle of the mesohaline waters (5-18, Venice system 1958), 35 the ocean's mean.

Each unit of salinity that is off moves the speed by about 1.3 m/s, 0.09 % of a depth.
"""

# Chen & Millero 1977, J. Acoust. Soc. Am. 62:1129, in the form of Fofonoff & Millard 1983, UNESCO Technical Papers in
# Marine Science 44. Coefficients from memory, proved by the check value 1731.995 m/s (S 40, 40 degC, 10000 dbar).
# Rows rise in powers of pressure [bar], columns in powers of temperature [degC].
_PURE = (
    (1402.388, 5.03711, -5.80852e-2, 3.3420e-4, -1.47800e-6, 3.1464e-9),
    (0.153563, 6.8982e-4, -8.1788e-6, 1.3621e-7, -6.1185e-10),
    (3.1260e-5, -1.7107e-6, 2.5974e-8, -2.5335e-10, 1.0405e-12),
    (-9.7729e-9, 3.8504e-10, -2.3643e-12),
)
_SALT_1 = (
    (1.389, -1.262e-2, 7.164e-5, 2.006e-6, -3.21e-8),
    (9.4742e-5, -1.2580e-5, -6.4885e-8, 1.0507e-8, -2.0122e-10),
    (-3.9064e-7, 9.1041e-9, -1.6002e-10, 7.988e-12),
    (1.100e-10, 6.649e-12, -3.389e-13),
)
_SALT_3_2 = ((-1.922e-2, -4.42e-5), (7.3637e-5, 1.7945e-7))
_SALT_2 = ((1.727e-3,), (-7.9836e-6,))


def fresh_water_sound_speed(temperature_c: ArrayLike) -> Floats:
    """Speed of sound in pure water [m/s] at one atmosphere; temperature_c [degC], any shape.

    Marczak 1997; fitted for FRESH_RANGE_C, within 0.05 m/s of four other formulas from 0 to 40 degC.
    """
    return np.asarray(np.polynomial.polynomial.polyval(np.asarray(temperature_c, float), _MARCZAK), dtype=np.float64)


def salt_water_sound_speed(temperature_c: ArrayLike, salinity: ArrayLike, pressure_dbar: ArrayLike = 0.0) -> Floats:
    """Speed of sound in brackish or sea water [m/s]; temperature_c [degC, ITS-90], practical salinity, pressure [dbar].

    Arguments broadcast. Chen & Millero 1977 as in UNESCO 44; valid for SALT_RANGE_C and SALT_RANGE_S, so from fresh
    water to the ocean.
    """
    t68 = np.asarray(temperature_c, dtype=np.float64) * T68_PER_T90
    bar = np.asarray(pressure_dbar, dtype=np.float64) / 10.0
    s = np.asarray(salinity, dtype=np.float64)
    salt = _of_both(_SALT_1, t68, bar) + _of_both(_SALT_3_2, t68, bar) * np.sqrt(s) + _of_both(_SALT_2, t68, bar) * s
    return np.asarray(_of_both(_PURE, t68, bar) + salt * s, dtype=np.float64)


def _of_both(rows: tuple[tuple[float, ...], ...], t68: Floats, bar: Floats) -> Floats:
    terms = [np.polynomial.polynomial.polyval(t68, row) * bar**power for power, row in enumerate(rows)]
    return np.asarray(sum(terms), dtype=np.float64)


def sound_speed_mps(temperature_c: ArrayLike, water: Water = "fresh") -> Floats:
    """Speed of sound at the surface [m/s] for fresh, brackish or salt water; temperature_c [degC], any shape.

    The words stand for the salinities of SALINITY_OF. Raises InputError for another word.
    """
    if water not in SALINITY_OF:
        raise InputError(f"water = {water!r}: must be one of {', '.join(SALINITY_OF)}; say fresh for a lake")
    if water == "fresh":
        return fresh_water_sound_speed(temperature_c)
    return salt_water_sound_speed(temperature_c, SALINITY_OF[water])


def one_way_time_s(depth_m: ArrayLike, speed_mps: ArrayLike) -> float:
    """Time from the first to the last depth of a profile [s]; depth_m (n,) rising, speed_mps (n,), n at least 2.

    Speed is linear between nodes, so a layer takes dz ln(c2/c1) / (c2 - c1). Raises InputError for depths that do
    not rise, or speeds that are not positive.
    """
    z, c = np.asarray(depth_m, dtype=np.float64), np.asarray(speed_mps, dtype=np.float64)
    if z.ndim != 1 or z.shape != c.shape or len(z) < 2 or not np.all(np.diff(z) > 0) or not np.all(c > 0):
        raise InputError(
            f"sound speed profile of {z.size} depths and {c.size} speeds: needs two or more rising depths, "
            "each with a speed above 0; sort it and leave out empty rows"
        )
    change = np.diff(c) / c[:-1]
    # log1p(x)/x loses its digits as x goes to 0, where its series does not
    small = np.abs(change) < 1e-6
    safe = np.where(small, 1.0, change)
    slowing = np.where(small, 1.0 - change / 2.0, np.log1p(safe) / safe)
    return float(np.sum(np.diff(z) / c[:-1] * slowing))


def harmonic_mean_speed(depth_m: ArrayLike, speed_mps: ArrayLike) -> float:
    """Mean speed that gives the profile's travel time [m/s]; arguments and errors as in one_way_time_s."""
    z = np.asarray(depth_m, dtype=np.float64)
    return float(z[-1] - z[0]) / one_way_time_s(depth_m, speed_mps) if z.size > 1 else one_way_time_s(z, speed_mps)


def true_depth_m(shown_m: ArrayLike, nominal_mps: ArrayLike, true_mps: ArrayLike) -> Floats:
    """Depth below the transducer [m] from the depth shown by a sounder that assumed nominal_mps; arguments broadcast.

    The sounder measured the time shown/nominal; true_mps is the harmonic mean over the path. Draft is added after.
    """
    shown, nominal, true = (np.asarray(value, dtype=np.float64) for value in (shown_m, nominal_mps, true_mps))
    return np.asarray(shown * true / nominal, dtype=np.float64)


def reached_depth_m(time_s: ArrayLike, start_m: ArrayLike, depth_m: ArrayLike, speed_mps: ArrayLike) -> Floats:
    """Depth [m] that sound going down from ``start_m`` has reached after time_s [s] (both (n,), or one number).

    The profile is depth_m (k,) rising, speed_mps (k,), linear between nodes, its end values beyond them: the inverse
    of one_way_time_s, without iteration. Errors as there, but one node is enough.
    """
    z, c = np.asarray(depth_m, dtype=np.float64), np.asarray(speed_mps, dtype=np.float64)
    if len(z) > 1:
        one_way_time_s(z, c)
    z, c = np.concatenate([[min(z[0], 0.0) - 1.0], z]), np.concatenate([[c[0]], c])
    gradient = np.append(np.diff(c) / np.diff(z), 0.0)
    gradient = np.where(np.abs(gradient) * 1e3 < 1e-6 * c, 0.0, gradient)
    node_s = np.concatenate([[0.0], np.cumsum(_layer_s(np.diff(z), c[:-1], gradient[:-1]))])
    start = np.asarray(start_m, dtype=np.float64)
    own = np.clip(np.searchsorted(z, start, side="right") - 1, 0, None)
    arrives = np.asarray(time_s, dtype=np.float64) + node_s[own] + _layer_s(start - z[own], c[own], gradient[own])
    end = np.clip(np.searchsorted(node_s, arrives, side="right") - 1, 0, None)
    left, g = arrives - node_s[end], gradient[end]
    bent = np.expm1(g * left) / np.where(g == 0.0, 1.0, g)
    return np.asarray(z[end] + c[end] * np.where(g == 0.0, left, bent), dtype=np.float64)


def _layer_s(thick_m: Floats, speed_mps: Floats, gradient: Floats) -> Floats:
    """Time through layers that begin with speed_mps and change by ``gradient`` [1/s] a metre."""
    safe = np.where(gradient == 0.0, 1.0, gradient)
    return np.asarray(np.where(gradient == 0.0, thick_m / speed_mps, np.log1p(safe * thick_m / speed_mps) / safe))
