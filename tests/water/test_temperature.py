"""Temperatures of logs: whose date is mapped, which rows count, and a surface of an invented lake."""

from __future__ import annotations

import numpy as np
import pytest
from worlds import small_frame, small_soundings

from lakemap.grid import GridSettings, make_surface
from lakemap.model.flags import Flag
from lakemap.water import temperatures_of

JUNE, DAY_S = np.datetime64("2024-06-10T10:00", "ms"), np.timedelta64(1, "D")


def warm(days, lat_deg=47.0, **columns):
    "The small lake's soundings with temperatures, every row on the day (after 10 June) that ``days`` (n,) says."
    rows = small_soundings()
    days = np.broadcast_to(np.asarray(days), len(rows))
    at = {"time_utc": JUNE + days * DAY_S, "water_c": 15 + 0.01 * (rows.x_m - rows.x_m.min()), "flags": 0 * rows.flags,
          "lat_deg": np.full(len(rows), lat_deg)}
    return rows.with_columns(**at | columns)


def test_no_temperature_no_surface():
    "A lake whose logs carry none, or only a sensor's nonsense, has no such layer."
    assert temperatures_of(small_soundings()) is None
    assert temperatures_of(warm(0, water_c=np.full(558, 85.0))) is None


def test_the_date_that_read_most_of_the_lake_is_mapped():
    "Of two dates the wider, by the sun's time there; the other's readings are told of and left out."
    days = np.where(np.arange(558) < 404, 0, 30)
    made = temperatures_of(warm(days))
    assert made.period == "2024-06-10" and len(made.readings) == 404
    assert "404 of 558" in made.messages[0] and "0.5 degC" in made.messages[0]
    at_night = temperatures_of(warm(days, lon_deg=np.full(558, -155.0), time_utc=np.full(558, np.datetime64(
        "2024-06-10T08:00", "ms"))))
    assert at_night.period == "2024-06-09"


@pytest.mark.parametrize(("lat_deg", "month", "name"), [
    (47.0, 0, "summer 2024"), (-40.0, 0, "winter 2024"), (47.0, 7, "winter 2024/2025"), (-40.0, 7, "summer 2024/2025"),
    (47.0, 10, "spring 2025"),
])
def test_short_trips_make_a_season(lat_deg, month, name):
    "Where each date saw a strip only, the season stands together; its name follows the hemisphere."
    trips = np.arange(558) // 80
    made = temperatures_of(warm(trips + 31 * month, lat_deg))
    assert made.period == name
    assert len(made.readings) == 558


def test_without_dates_all_readings_stand_together():
    "And one dated row among them is a date of its own."
    never = np.full(558, np.datetime64("NaT", "ms"))
    assert temperatures_of(warm(0, time_utc=never)).period == "no known date"
    never[7] = JUNE
    one = temperatures_of(warm(0, time_utc=never))
    assert one.period == "2024-06-10" and len(one.readings) == 1


def test_a_lost_bottom_is_warm_all_the_same():
    "Faults of place leave a row out, faults of its depth do not; a sensor's nonsense is counted."
    flags = np.zeros(558, np.uint32)
    flags[:10], flags[10:30] = Flag.lost_bottom, Flag.position_jump
    water_c = np.where(np.arange(558) >= 550, 85.0, 15.0)
    made = temperatures_of(warm(0, flags=flags, water_c=water_c))
    assert len(made.readings) == 558 - 20 - 8
    assert "8 readings outside" in made.messages[1]


def test_passes_of_a_season_are_put_on_one_level():
    "A lake 3 degC warmer in the east, sailed on four dates 2 degC apart: the slope comes out, the dates do not."
    rng, frame = np.random.default_rng(1), small_frame()
    rows = warm(np.arange(558) // 101 * 3)
    true = 15 + 0.01 * (rows.x_m - rows.x_m.min())
    date = rows.pass_id % 4
    rows = rows.with_columns(water_c=true + np.array([0.0, 2.0, -1.0, 1.0])[date] + 0.1 * rng.standard_normal(558),
                             pass_id=np.where(rows.pass_id < 0, 0, rows.pass_id))
    made = temperatures_of(rows)
    surface = make_surface(made.readings, frame, GridSettings(method="field"), made.passes)
    east, west = surface.estimate.values[25, 45], surface.estimate.values[25, 15]
    assert surface.estimate.unit == "degC" and surface.sigma.name == "water_temperature_sigma_c"
    assert east - west == pytest.approx(0.01 * 150, abs=0.5)
