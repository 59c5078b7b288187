"""A whole trip: home in time, by driven water, with reasons for what was left out."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from affine import Affine
from pyproj import CRS

from lakemap.errors import NothingUsable
from lakemap.geo.crs import project, unproject
from lakemap.model.frame import GridFrame
from lakemap.trips.trip import Candidates, Wishes, plan_trip
from lakemap.trips.ways import in_open_water, waterways

UTM_33 = CRS.from_epsg(32633)
WEST, SOUTH = 500_000.0, 5_000_000.0


def lake():
    "600 m by 400 m with an island in the middle and a pond that no way leads to."
    water = np.ones((80, 120), bool)
    water[30:50, 50:70] = False
    water[:12, 108:] = False
    water[2:8, 112:118] = True
    frame = GridFrame((80, 120), Affine(5, 0, WEST, 0, -5, SOUTH + 400), UTM_33, water, True)
    return waterways(frame, water)


def candidates(*places):
    x, y, worth = np.array(places, float).T
    lon, lat = unproject(UTM_33, x + WEST, y + SOUTH)
    names = tuple(f"spot {i}" for i in range(len(places)))
    return Candidates(names, ("stump",) * len(places), lon, lat, np.full(len(places), 4.0), worth)


def wishes(**more):
    lon, lat = unproject(UTM_33, np.array([WEST + 20.0]), np.array([SOUTH + 20.0]))
    given = {"time_s": 3600.0, "speed_mps": 2.0, "stay_s": 300.0, **more}
    return Wishes(float(lon[0]), float(lat[0]), **given)


SPOTS = candidates((100, 50, 0.9), (500, 300, 0.8), (560, 60, 0.3), (575, 375, 1.0), (30, 390, 0.5))


def test_a_trip_comes_home_in_time_by_water():
    "Legs begin where the last ended, stay in open water, and the clock adds up."
    water = lake()
    trip = plan_trip(SPOTS, water, wishes())
    assert trip.lasts_s <= 3600.0 and len(trip.ways) == len(trip.stops) + 1
    legs = [np.column_stack(project(UTM_33, way[:, 0], way[:, 1])) for way in trip.ways]
    for one, other in zip(legs, [*legs[1:], legs[0]], strict=True):
        assert np.allclose(one[-1], other[0], atol=0.01)
    assert all(in_open_water(water, a, b) for leg in legs for a, b in pairwise(leg))
    assert [stop.arrives_s for stop in trip.stops] == sorted(stop.arrives_s for stop in trip.stops)
    along = [np.hypot(*np.diff(leg, axis=0).T).sum() for leg in legs]
    assert trip.lengths_m == pytest.approx(np.array(along), abs=0.01), "told as drawn, not as found on the lattice"
    assert trip.worth == pytest.approx(sum(stop.worth for stop in trip.stops))


def test_what_is_left_out_has_its_reason():
    "The pond has no way; with little time far spots are too far, and short fuel says so."
    told = dict(plan_trip(SPOTS, lake(), wishes()).left_out)
    assert told["spot 3"] == "no way to it through water that may be driven"
    short = dict(plan_trip(SPOTS, lake(), wishes(time_s=700.0)).left_out)
    assert short["spot 1"].startswith("too far for the time")
    thirsty = dict(plan_trip(SPOTS, lake(), wishes(reach_m=500.0)).left_out)
    assert thirsty["spot 1"].startswith("too far for the reach")


def test_home_before_the_sun_sets():
    "An hour before sunset there is an hour, whatever was asked for; after it there is no trip."
    start = np.datetime64("2026-06-21T17:40:00")
    trip = plan_trip(SPOTS, lake(), wishes(time_s=14400.0, start=start))
    assert str(trip.ends_by).startswith("2026-06-21T18:5")
    assert trip.lasts_s <= (trip.ends_by - start) / np.timedelta64(1, "s")
    assert any("sunset" in text for text in trip.messages)
    with pytest.raises(NothingUsable, match="the sun has set"):
        plan_trip(SPOTS, lake(), wishes(start=np.datetime64("2026-06-21T20:00:00")))


def test_a_start_on_land_is_refused():
    "One line that says what to do."
    lon, lat = unproject(UTM_33, np.array([WEST + 300.0]), np.array([SOUTH + 200.0]))
    with pytest.raises(NothingUsable, match="the nearest water that may be driven lies"):
        plan_trip(SPOTS, lake(), Wishes(float(lon[0]), float(lat[0]), 3600.0, 2.0))


def test_no_time_no_stops():
    "A minute is enough for nothing, and it is said."
    trip = plan_trip(SPOTS, lake(), wishes(time_s=60.0))
    assert not trip.stops and "no spot can be reached in time" in trip.messages[0]
