"""Sunrise and sunset against the astral library (3.2), computed on 2026-11-25 at sea level, UTC."""

from __future__ import annotations

import numpy as np
import pytest

from lakemap.physics.sun import sunrise_utc, sunset_utc

ASTRAL = (
    ("2026-01-10", 151, -60, "2026-01-09T16:55:28", "2026-01-10T11:09:53"),
    ("2026-06-21", 18, -33, "2026-06-21T05:50:54", "2026-06-21T15:48:42"),
    ("2026-03-20", -93, 0, "2026-03-20T12:16:16", "2026-03-21T00:22:26"),
    ("2026-06-21", -93, 45, "2026-06-21T10:25:36", "2026-06-22T02:02:08"),
    ("2026-12-21", 18, 45, "2026-12-21T06:23:21", "2026-12-21T15:08:44"),
    ("2026-10-05", 18, 62, "2026-10-05T05:05:33", "2026-10-05T16:05:57"),
    ("2026-06-01", -150, 62, "2026-06-01T12:27:09", "2026-06-02T07:30:13"),
)


@pytest.mark.parametrize(("day", "lon_deg", "lat_deg", "rise", "set_"), ASTRAL)
def test_the_suns_hours_are_those_of_another_library(day, lon_deg, lat_deg, rise, set_):
    "Within a minute, from 60 S to 62 N."
    for hour, expected in ((sunrise_utc, rise), (sunset_utc, set_)):
        told = hour(np.datetime64(day), lon_deg, lat_deg)
        assert abs((told - np.datetime64(expected)) / np.timedelta64(1, "s")) <= 60


def test_no_sunset_in_the_polar_summer():
    "75 N in June: the sun does not set."
    assert sunset_utc(np.datetime64("2026-06-21"), 0.0, 75.0) is None
