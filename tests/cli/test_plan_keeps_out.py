"""What a trip keeps clear of, through files: dangers, closed days, ice, the sun, the tank and a lower lake."""

from __future__ import annotations

import dataclasses
import json
import re
from xml.etree import ElementTree

import numpy as np
import pytest
import shapely
from worlds import SMALL_CRS, SMALL_NORTH, SMALL_WEST, small_hits, small_lake_map, small_soundings, small_spots

from lakemap import publish
from lakemap.cli.main import run
from lakemap.geo.crs import project, unproject
from lakemap.model.hits import FROM_MARK, FROM_RISE
from lakemap.model.keep_out import ClosedAreas, Hazards

RTEPT = "{http://www.topografix.com/GPX/1/1}rtept"
LEFT, RIGHT, MIDDLE = SMALL_WEST + 110.0, SMALL_WEST + 190.0, SMALL_WEST + 150.0
LINES = SMALL_NORTH - np.array([80.0, 110.0, 140.0, 170.0])
"The boat drove four lines to the east and, at LEFT and RIGHT, two to the south."


def lonlat(x_m, y_m):
    return tuple(float(part) for part in unproject(SMALL_CRS, x_m, y_m))


def lake(**changes):
    "The small lake with two spots on its second line, 80 m apart, and none of its own marks."
    x_m, y_m = np.array([LEFT, RIGHT]), np.full(2, LINES[1])
    lon, lat = unproject(SMALL_CRS, x_m, y_m)
    of_none = (np.empty(0, np.int64),) * 2
    spots = dataclasses.replace(small_spots(), x_m=x_m, y_m=y_m, lon_deg=lon, lat_deg=lat, hits=of_none)
    none = small_hits().take(np.zeros(4, bool))
    return dataclasses.replace(small_lake_map(), **({"spots": spots, "hits": none} | changes))


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    "That lake published, with nothing to keep clear of."
    folder = tmp_path_factory.mktemp("plain")
    publish(lake(), folder)
    return folder


def trip(folder, file, *words):
    "The way (p, 2) [m] of a trip from the west end of the second line, every metre of it; empty without stops."
    lon, lat = lonlat(SMALL_WEST + 60.0, LINES[1])
    asked = ["plan", "trip", str(folder), "--from", f"{lat},{lon}", "--hours", "2", "--to", str(file), *words]
    assert run(asked) == 0
    points = np.array([[float(p.get("lon")), float(p.get("lat"))] for p in ElementTree.parse(file).iter(RTEPT)])
    if not len(points):
        return np.empty((0, 2))
    line = shapely.LineString(np.column_stack(project(SMALL_CRS, *points.T)))
    return shapely.get_coordinates(shapely.segmentize(line, 1.0))


def stops_told(text):
    "How many stops a text tells, one or many."
    return int(re.search(r"(\d+) stops?,", text)[1])


def stops(capsys):
    "How many stops the screen tells."
    return stops_told(capsys.readouterr().out)


def geojson(file, shape, **fields):
    "One shape with its fields, as GeoJSON."
    told = {"type": "Feature", "properties": fields, "geometry": json.loads(shapely.to_geojson(shape))}
    file.write_text(json.dumps({"type": "FeatureCollection", "features": [told]}))
    return str(file)


ROCK = shapely.Point(lonlat(MIDDLE, LINES[1]))
BAY = shapely.box(*lonlat(MIDDLE - 12, LINES[1] - 12), *lonlat(MIDDLE + 12, LINES[1] + 12))


def nearest_to_rock(way):
    return float(np.hypot(way[:, 0] - MIDDLE, way[:, 1] - LINES[1]).min())


def in_bay(way):
    return bool((np.abs(way - (MIDDLE, LINES[1])) <= 11.5).all(axis=1).any())


def test_a_danger_keeps_its_distance(plain, tmp_path):
    "Straight along the line without it; round by another line with it, never nearer than asked for."
    assert nearest_to_rock(trip(plain, tmp_path / "a.gpx")) < 5.0
    file = geojson(tmp_path / "rock.geojson", ROCK, keep_m=20, what="rock")
    way = trip(plain, tmp_path / "b.gpx", "--hazards", file)
    assert nearest_to_rock(way) >= 20.0 and np.ptp(way[:, 0]) > 100.0


def test_the_maps_own_dangers_and_closed_areas_count_unasked(tmp_path):
    "What the map was made with need not be given again."
    publish(lake(hazards=Hazards((ROCK,), (20.0,), ("rock",))), tmp_path / "danger")
    assert nearest_to_rock(trip(tmp_path / "danger", tmp_path / "a.gpx")) >= 20.0
    publish(lake(closed=ClosedAreas((BAY,), ("",), ("",), ("spawning",))), tmp_path / "closed")
    assert not in_bay(trip(tmp_path / "closed", tmp_path / "b.gpx"))


def test_a_stump_marked_in_a_driven_way_is_kept_off(tmp_path):
    "By two standard errors of the mark, though the boat went by there before; what swims closes nothing."
    mark = small_hits().take(np.array([3]))
    mark = dataclasses.replace(mark, x_m=np.array([MIDDLE]), y_m=np.array([LINES[1]]), position_sigma_m=np.array([6.0]))
    assert mark.origin[0] == FROM_MARK
    for kind, least, most in (("stump", 12.0, 99.0), ("fish", 0.0, 5.0)):
        publish(lake(hits=dataclasses.replace(mark, kind=np.array([kind]))), tmp_path / kind)
        assert least <= nearest_to_rock(trip(tmp_path / kind, tmp_path / "a.gpx")) <= most


@pytest.mark.parametrize(("height_m", "least"), [(6.6, 12.0), (3.0, 0.0)])
def test_a_sounded_stump_that_stands_too_high_is_kept_off(tmp_path, height_m, least):
    "Up to 0.7 m below the surface under a boat that needs 0.8 m; over one that stands 4.3 m below it the boat goes."
    rise = small_hits().take(np.array([0]))
    rise = dataclasses.replace(
        rise, kind=np.array(["cover"]), origin=np.array([FROM_RISE], np.int8),
        x_m=np.array([MIDDLE]), y_m=np.array([LINES[1]]), position_sigma_m=np.array([6.0]),
        depth_m=np.array([7.3]), height_m=np.array([height_m]))
    publish(lake(hits=rise), tmp_path / "map")
    assert least <= nearest_to_rock(trip(tmp_path / "map", tmp_path / "a.gpx")) <= least + 18.0


def test_a_stop_beside_its_spot_says_so(plain, tmp_path, capsys):
    "30 m from it at least, to the west on the screen and in the file; a stop at its spot says it is there."
    there = shapely.Point(lonlat(RIGHT, LINES[1]))
    trip(plain, tmp_path / "a.gpx", "--hazards", geojson(tmp_path / "rock.geojson", there, keep_m=30))
    told = capsys.readouterr().out
    off = re.search(r"(\d+) m to the (\S+)", told)
    assert 30 <= int(off[1]) <= 38 and " here" in told and "the spot lies" in told
    assert f"{off[1]} m to the {off[2]}, " in (tmp_path / "a.gpx").read_text()
    trip(plain, tmp_path / "b.gpx")
    assert "the spot lies" not in capsys.readouterr().out


def test_a_start_within_a_danger_says_where_the_trip_begins(plain, tmp_path, capsys):
    "The start of the second line is 60 m west of the first pixel out of a danger's 20 m: told, and which way."
    start = shapely.Point(lonlat(SMALL_WEST + 60.0, LINES[1]))
    trip(plain, tmp_path / "a.gpx", "--hazards", geojson(tmp_path / "rock.geojson", start, keep_m=20))
    told = " ".join(capsys.readouterr().out.split())
    assert re.search(r"start lies in no water that may be driven .* begins 2\d m to the (north|south|east|west)", told)


@pytest.mark.parametrize("plan", ["trip", "lines"])
def test_a_danger_off_the_map_is_told(plain, tmp_path, capsys, plan):
    "Latitude and longitude the wrong way round; the one on the map is not counted."
    lon, lat = lonlat(MIDDLE, LINES[1])
    files = [geojson(tmp_path / "on.geojson", ROCK, keep_m=5), geojson(
        tmp_path / "off.geojson", shapely.Point(lat, lon), keep_m=5)]
    lon, lat = lonlat(SMALL_WEST + 60.0, LINES[1])
    words = ["plan", plan, str(plain), "--from", f"{lat},{lon}", "--hours", "0.5"]
    assert run([*words, *(word for file in files for word in ("--hazards", file))]) == 0
    assert "off the map, where they keep nobody out: 1 of 2 dangers" in capsys.readouterr().out
    assert run([*words, "--hazards", files[0]]) == 0 and "off the map" not in capsys.readouterr().out


@pytest.mark.parametrize(("when", "said"), [("2026-06-21T02:00", True), ("2026-06-21T08:00", False)])
def test_a_start_in_the_dark_before_sunrise_is_told(plain, tmp_path, capsys, when, said):
    "The small lake lies at 15 degrees east: the sun rises at about 3 h UTC in June."
    trip(plain, tmp_path / "a.gpx", "--start", when)
    assert ("before sunrise, 2026-06-21T0" in capsys.readouterr().out) == said


@pytest.mark.parametrize(("start", "closed"), [
    (None, True), ("2026-05-01T08:00", True), ("2026-06-15T08:00", True), ("2026-04-01T08:00", True),
    ("2026-07-01T08:00", False), ("2026-03-31T08:00", False), ("2026-03-31T22:30", True), ("2026-06-15T23:45", False),
])
def test_a_closed_area_is_never_entered_on_its_days(plain, tmp_path, start, closed):
    "From 1 April until 15 June by the lake's own days, also where an outing runs into the first of them; else it is."
    file = geojson(tmp_path / "bay.geojson", BAY, closed_from="04-01", closed_until="06-15")
    words = ["--closed", file, "--after-sunset"] + (["--start", start] if start else [])
    way = trip(plain, tmp_path / "a.gpx", *words)
    assert in_bay(way) == (not closed) and np.ptp(way[:, 0]) > 100.0


def test_no_way_over_holes_in_the_ice(tmp_path, capsys):
    "Without the second log's two lines to the south the four others do not meet; as holes in the ice they open no way."
    some = small_soundings()
    spots = lake().spots
    lon, lat = unproject(SMALL_CRS, np.array([LEFT, RIGHT]), LINES[[1, 3]])
    apart = dataclasses.replace(spots, y_m=LINES[[1, 3]], lon_deg=lon, lat_deg=lat)
    ice = dataclasses.replace(some, logs=(some.logs[0], dataclasses.replace(some.logs[1], single=True)))
    for rows, expected in ((some, 2), (ice, 1)):
        publish(lake(soundings=rows, spots=apart), tmp_path / str(expected))
        trip(tmp_path / str(expected), tmp_path / "a.gpx")
        assert stops(capsys) == expected


def test_home_by_sunset(plain, tmp_path, capsys):
    "Twenty minutes before sunset there is time for one stop of fifteen minutes; in the dark, by choice, for both."
    words = ["--start", "2026-06-21T19:08"]
    trip(plain, tmp_path / "a.gpx", *words)
    told = capsys.readouterr().out
    assert "sunset" in told and stops_told(told) == 1
    trip(plain, tmp_path / "b.gpx", *words, "--after-sunset")
    assert stops(capsys) == 2


@pytest.mark.parametrize(("reach", "expected"), [("1km", 2), ("220m", 1), ("80m", 0), ("280ft", 0), ("900ft", 2)])
def test_no_farther_than_fuel_or_battery(plain, tmp_path, capsys, reach, expected):
    "50 m to the one spot and 130 m to the other: 100 and 260 m there and back, and never more than the reach."
    way = trip(plain, tmp_path / "a.gpx", "--reach", reach)
    told = capsys.readouterr().out
    assert stops_told(told) == expected
    assert ("too far for the reach" in told) == (expected < 2)
    metres = float(reach.removesuffix("km")) * 1000 if "km" in reach else (
        float(reach[:-1]) if "ft" not in reach else 0.3048 * float(reach[:-2]))
    assert np.hypot(*np.diff(way, axis=0).T).sum() <= metres + 1.0


def test_a_lower_lake_closes_what_was_deep_enough(plain, tmp_path, capsys):
    "6.5 to 8 m of water under a boat that needs 0.8 m: a lake 6 m lower leaves none of the second line's ends."
    trip(plain, tmp_path / "a.gpx", "--lower", "2m")
    assert stops(capsys) == 2
    lon, lat = lonlat(SMALL_WEST + 60.0, LINES[1])
    assert run(["plan", "trip", str(plain), "--from", f"{lat},{lon}", "--hours", "2", "--lower", "6m"]) == 1
    assert "the nearest water that may be driven lies" in capsys.readouterr().err


def test_a_spot_that_falls_dry_is_no_stop(tmp_path, capsys):
    "Of two spots the one at 1.5 m is left out when the lake stands 2 m lower, and the other's depth is that of today."
    made = lake()
    spots = dataclasses.replace(made.spots, depth_m=np.array([6.1, 1.5]))
    publish(dataclasses.replace(made, spots=spots), tmp_path / "m")
    trip(tmp_path / "m", tmp_path / "a.gpx", "--lower", "2m")
    told = capsys.readouterr().out
    assert stops_told(told) == 1 and " 4.1 m" in told
    assert f"left out {made.spots.name[1]}: falls dry at that level" in told
    trip(tmp_path / "m", tmp_path / "b.gpx")
    assert stops(capsys) == 2


@pytest.mark.parametrize(("option", "fields", "said"), [
    ("--closed", {"closed_from": "04-01"}, "closed every year from 04-01, and no closed_until"),
    ("--closed", {"closed_from": "02-31", "closed_until": "04-01"}, "closed_from = '02-31' is no day"),
    ("--closed", {"closed_from": "2026-13-01"}, "closed_from = '2026-13-01' is no day"),
    ("--hazards", {"closed_from": "04-01", "closed_until": "06-15"}, "give it with --closed"),
])
def test_days_that_leave_a_season_open_are_refused(plain, tmp_path, capsys, option, fields, said):
    "Taken as they stand, a closed area would be open, or open water shut."
    lon, lat = lonlat(SMALL_WEST + 60.0, LINES[1])
    file = geojson(tmp_path / "bay.geojson", BAY, **fields)
    assert run(["plan", "trip", str(plain), "--from", f"{lat},{lon}", "--hours", "1", option, file]) == 1
    assert said in capsys.readouterr().err


def test_lines_too_keep_clear(plain, tmp_path):
    "Next lines neither touch the danger's distance nor the closed bay."
    for number, words in enumerate((["--hazards", geojson(tmp_path / "rock.geojson", ROCK, keep_m=30)],
                                    ["--closed", geojson(tmp_path / "bay.geojson", BAY, closed_from="2026-01-01")])):
        file = tmp_path / "lines.gpx"
        assert run(["plan", "lines", str(plain), "--hours", "0.15", "--to", str(file), "--quiet", *words]) == 0
        routes = [[(float(p.get("lon")), float(p.get("lat"))) for p in route.iter(RTEPT)]
                  for route in ElementTree.parse(file).iter("{http://www.topografix.com/GPX/1/1}rte")]
        lines = [shapely.LineString(np.column_stack(project(SMALL_CRS, *np.array(route).T))) for route in routes]
        assert lines
        rock = shapely.Point(MIDDLE, LINES[1])
        assert min(line.distance(rock) for line in lines) >= (30.0, 12.0)[number]


AROUND_A_SPOT = shapely.box(*lonlat(RIGHT - 12, LINES[1] - 12), *lonlat(RIGHT + 12, LINES[1] + 12))


@pytest.mark.parametrize(("option", "fields", "expected"), [
    ("--hazards", {"keep_m": 1, "what": "dock"}, 2), ("--closed", {}, 1),
])
def test_a_spot_within_what_is_kept_clear_of(plain, tmp_path, capsys, option, fields, expected):
    "Driven water lies beside it: near a danger the boat stops there, a spot in a closed area is left out."
    way = trip(plain, tmp_path / "a.gpx", option, geojson(tmp_path / "out.geojson", AROUND_A_SPOT, **fields))
    told = capsys.readouterr().out
    assert stops_told(told) == expected and ("lies in a closed area" in told) == (option == "--closed")
    assert not (np.abs(way - (RIGHT, LINES[1])) <= 11.5).all(axis=1).any()
