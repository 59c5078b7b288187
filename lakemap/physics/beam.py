"""What a beam lights and which part of the bottom answers first. Angles are full angles in degrees, to -3 dB."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import j1

Floats = NDArray[np.float64]

_PISTON_HALF_POWER = 1.616
"""k a sin(theta/2) where a circular piston's beam has fallen by 3 dB, one way (from memory)."""
_PISTON_FIRST_NULL = 3.8317
"""First zero of J1: beyond it lie the side lobes."""
BEYOND_MAIN_LOBE_DB = 17.6
"""One-way level of the first side lobe of a circular piston below the axis (Urick 1983, from memory): what is off the
main lobe is at least so weak, and nothing finer is claimed of it."""


def _half_rad(beam_deg: ArrayLike) -> Floats:
    return np.asarray(np.radians(np.asarray(beam_deg, dtype=np.float64)) / 2.0, dtype=np.float64)


def footprint_diameter_m(depth_m: ArrayLike, beam_deg: ArrayLike) -> Floats:
    """Diameter of the bottom lit by the beam [m], 2 d tan(theta/2); depth below the transducer [m]; broadcast."""
    return np.asarray(2.0 * np.asarray(depth_m, np.float64) * np.tan(_half_rad(beam_deg)), dtype=np.float64)


def edge_excess_m(depth_m: ArrayLike, beam_deg: ArrayLike) -> Floats:
    """How much farther a flat bottom is at the beam's edge than below [m]; depth below the transducer [m]."""
    return np.asarray(np.asarray(depth_m, np.float64) * (1.0 / np.cos(_half_rad(beam_deg)) - 1.0), dtype=np.float64)


def pulse_length_m(pulse_ms: ArrayLike, speed_mps: ArrayLike) -> Floats:
    """Length of a pulse on the depth axis [m], c tau / 2: what stands closer together shows as one."""
    return np.asarray(np.asarray(speed_mps, np.float64) * np.asarray(pulse_ms, np.float64) / 2000.0, dtype=np.float64)


def blind_zone_m(depth_m: ArrayLike, beam_deg: ArrayLike, pulse_ms: ArrayLike, speed_mps: ArrayLike) -> Floats:
    """Height above a flat bottom in which nothing is told from it [m]; Ona & Mitson 1996, ICES J. Mar. Sci. 53:677."""
    return np.asarray(edge_excess_m(depth_m, beam_deg) + pulse_length_m(pulse_ms, speed_mps), dtype=np.float64)


def wavelength_m(frequency_khz: ArrayLike, speed_mps: ArrayLike) -> Floats:
    """Wavelength [m]; frequency [kHz], speed of sound [m/s]."""
    return np.asarray(np.asarray(speed_mps, np.float64) / (1000.0 * np.asarray(frequency_khz, np.float64)), np.float64)


def piston_beam_deg(frequency_khz: ArrayLike, diameter_m: ArrayLike, speed_mps: ArrayLike) -> Floats:
    """Full beam angle of a round transducer [degrees]; frequency [kHz], diameter [m], speed of sound [m/s]."""
    ka = np.pi * np.asarray(diameter_m, np.float64) / wavelength_m(frequency_khz, speed_mps)
    return np.asarray(2.0 * np.degrees(np.arcsin(np.minimum(_PISTON_HALF_POWER / ka, 1.0))), dtype=np.float64)


def first_return_depth_m(depth_m: ArrayLike, slope_deg: ArrayLike, beam_deg: ArrayLike) -> Floats:
    """Depth shown over a slope [m]: the range to the nearest bottom inside the beam; depth straight below [m].

    Slope g, half beam h: d cos g where the nearest point is inside the beam (g <= h), else its edge answers:
    d cos g / cos(g - h). Arguments broadcast.
    """
    d, g, h = np.asarray(depth_m, np.float64), np.radians(np.asarray(slope_deg, np.float64)), _half_rad(beam_deg)
    outside = np.maximum(g - h, 0.0)
    return np.asarray(d * np.cos(g) / np.cos(outside), dtype=np.float64)


def first_return_shift_m(depth_m: ArrayLike, slope_deg: ArrayLike, beam_deg: ArrayLike) -> Floats:
    """How far uphill the point lies that answers first over a slope [m]; arguments as in first_return_depth_m."""
    g, h = np.radians(np.asarray(slope_deg, dtype=np.float64)), _half_rad(beam_deg)
    return np.asarray(first_return_depth_m(depth_m, slope_deg, beam_deg) * np.sin(np.minimum(g, h)), dtype=np.float64)


def beam_loss_db(off_axis_deg: ArrayLike, beam_deg: ArrayLike) -> Floats:
    """Level lost one way [dB] at an angle off the axis, by a circular piston's beam: 0 on it, 3 at half the beam.

    -20 log10 |2 J1(u) / u| with u = k a sin(angle) (Urick 1983, chapter 3), BEYOND_MAIN_LOBE_DB at most; broadcast.
    """
    angle = np.radians(np.minimum(np.abs(np.asarray(off_axis_deg, dtype=np.float64)), 90.0))
    u = np.maximum(_PISTON_HALF_POWER * np.sin(angle) / np.sin(_half_rad(beam_deg)), 1e-6)
    with np.errstate(divide="ignore"):
        loss = -20.0 * np.log10(np.abs(2.0 * j1(u) / u))
    return np.asarray(np.where(u >= _PISTON_FIRST_NULL, BEYOND_MAIN_LOBE_DB, np.minimum(loss, BEYOND_MAIN_LOBE_DB)))


def slope_loss_db(slope_deg: ArrayLike, beam_deg: ArrayLike) -> tuple[Floats, Floats]:
    """Level [dB] that the first and the second echo lose both ways for coming from a slope's own direction; broadcast.

    Mirrored in a slope g, the first echo leaves and comes back at the angle g off the vertical; the second meets
    bottom, surface and bottom again and is its own way back only at 2 g (images of the transducer in the wedge of
    surface and slope). So the second leaves a beam at a quarter of its full angle, the first at half of it.
    """
    g = np.asarray(slope_deg, dtype=np.float64)
    return 2.0 * beam_loss_db(g, beam_deg), 2.0 * beam_loss_db(2.0 * g, beam_deg)
