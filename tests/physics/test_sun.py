"""Sunset against the astral library (3.2), computed on 2026-11-25 at sea level, UTC."""

from __future__ import annotations

import numpy as np
import pytest

from lakemap.physics.sun import sunset_utc

ASTRAL = (
    ("2026-01-10", 151, -60, "2026-01-10T11:09:53"),
    ("2026-06-21", 18, -33, "2026-06-21T15:48:42"),
    ("2026-03-20", -93, 0, "2026-03-21T00:22:26"),
    ("2026-06-21", -93, 45, "2026-06-22T02:02:08"),
    ("2026-12-21", 18, 45, "2026-12-21T15:08:44"),
    ("2026-10-05", 18, 62, "2026-10-05T16:05:57"),
    ("2026-06-01", -150, 62, "2026-06-02T07:30:13"),
)


@pytest.mark.parametrize(("day", "lon_deg", "lat_deg", "expected"), ASTRAL)
def test_sunset_is_that_of_another_library(day, lon_deg, lat_deg, expected):
    "Within a minute, from 60 S to 62 N."
    told = sunset_utc(np.datetime64(day), lon_deg, lat_deg)
    assert abs((told - np.datetime64(expected)) / np.timedelta64(1, "s")) <= 60


def test_no_sunset_in_the_polar_summer():
    "75 N in June: the sun does not set."
    assert sunset_utc(np.datetime64("2026-06-21"), 0.0, 75.0) is None
