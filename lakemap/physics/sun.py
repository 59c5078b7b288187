"""When the sun rises and sets."""

from __future__ import annotations

import math

import numpy as np

HORIZON_DEG = -0.833
"""Altitude of the sun's middle as it rises or sets: refraction of 34' and half its disc of 16'."""


def sunset_utc(day: np.datetime64, lon_deg: float, lat_deg: float) -> np.datetime64 | None:
    """Sunset of a day of local time, in UTC to the second; None where the sun does not set, or does not rise, that day.

    Low-precision solar position after Meeus, Astronomical Algorithms (1998), ch. 25, good to a minute between 65 S and
    65 N.
    """
    return _at_horizon(day, lon_deg, lat_deg, 1.0)


def sunrise_utc(day: np.datetime64, lon_deg: float, lat_deg: float) -> np.datetime64 | None:
    """Sunrise in the same way."""
    return _at_horizon(day, lon_deg, lat_deg, -1.0)


def _at_horizon(day: np.datetime64, lon_deg: float, lat_deg: float, sets: float) -> np.datetime64 | None:
    """Sunset where ``sets`` is 1, sunrise where it is -1."""
    when = day.astype("datetime64[s]") + np.timedelta64(round((12.0 + 6.0 * sets - lon_deg / 15.0) * 3600), "s")
    for _ in range(3):
        found = _nearer(when, day, (lon_deg, lat_deg), sets)
        if found is None:
            return None
        when = found
    return np.datetime64(when, "s")


def _nearer(
    when: np.datetime64, day: np.datetime64, place: tuple[float, float], sets: float
) -> np.datetime64 | None:
    """The moment as the sun's declination at ``when`` makes it."""
    lon_deg, lat_deg = place
    declination, equation_min = _sun(when)
    lat = math.radians(lat_deg)
    cosine = (math.sin(math.radians(HORIZON_DEG)) - math.sin(lat) * math.sin(declination)) / (
        math.cos(lat) * math.cos(declination))
    if abs(cosine) > 1.0:
        return None
    minutes = 720.0 - 4.0 * lon_deg - equation_min + sets * 4.0 * math.degrees(math.acos(cosine))
    return np.datetime64(day.astype("datetime64[s]") + np.timedelta64(round(minutes * 60), "s"))


def _sun(when: np.datetime64) -> tuple[float, float]:
    """Declination [rad] and equation of time [minutes]."""
    days = float((when - np.datetime64("2000-01-01T12:00:00")) / np.timedelta64(1, "s")) / 86400.0
    century = days / 36525.0
    mean_longitude = math.radians((280.46646 + 36000.76983 * century) % 360.0)
    anomaly = math.radians((357.52911 + 35999.05029 * century) % 360.0)
    centre = math.radians(1.914602 * math.sin(anomaly) + 0.019993 * math.sin(2 * anomaly))
    longitude = mean_longitude + centre - math.radians(0.00569)
    tilt = math.radians(23.439291 - 0.0130042 * century)
    y, eccentricity = math.tan(tilt / 2) ** 2, 0.016708634
    equation = (
        y * math.sin(2 * mean_longitude) - 2 * eccentricity * math.sin(anomaly)
        + 4 * eccentricity * y * math.sin(anomaly) * math.cos(2 * mean_longitude)
        - 0.5 * y**2 * math.sin(4 * mean_longitude) - 1.25 * eccentricity**2 * math.sin(2 * anomaly)
    )
    return math.asin(math.sin(tilt) * math.sin(longitude)), 4.0 * math.degrees(equation)
