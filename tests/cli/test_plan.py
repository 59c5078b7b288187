"""The plans as a user meets them: from a finished map to the screen and to GPX."""

from __future__ import annotations

import json
import re
from xml.etree import ElementTree

import numpy as np
import pytest
import rasterio
import rasterio.warp
from pyproj import Geod

from lakemap.cli.main import run
from lakemap.cli.plan import _moment

GPX = "{http://www.topografix.com/GPX/1/1}"


@pytest.fixture(scope="module")
def start(demo):
    "Place of the best spot of the demo map."
    best = json.loads((demo.folder / "spots.geojson").read_text())["features"][0]["properties"]
    return f"{best['lat_deg']},{best['lon_deg']}"


def test_a_trip_is_told_and_written(demo, start, tmp_path, capsys):
    "Stops with times, the caution, a GPX route whose every point lies in mapped water."
    file = tmp_path / "trip.gpx"
    words = ["plan", "trip", str(demo.folder), "--from", start, "--hours", "1.5", "--to", str(file)]
    assert run(words) == 0
    out = capsys.readouterr().out
    assert "minutes with the way home" in out and "Not for navigation" in out
    route = ElementTree.parse(file).getroot().find(f"{GPX}rte")
    points = np.array([[float(p.get("lon")), float(p.get("lat"))] for p in route.findall(f"{GPX}rtept")])
    told_m = float(re.search(r"(\d+) m of way", out).group(1))
    # as drawn, on a frame whose scale is within 0.1 %
    assert told_m == pytest.approx(Geod(ellps="WGS84").line_length(*points.T), rel=1e-3, abs=1.0)
    names = [name.text for name in route.iter(f"{GPX}name")]
    assert len(points) >= 4 and names[-1] == "home" and len(names) >= 4
    with rasterio.open(demo.folder / "depth.tif") as raster:
        x, y = rasterio.warp.transform("EPSG:4326", raster.crs, *points.T)
        assert all(np.isfinite(value[0]) for value in raster.sample(zip(x, y, strict=True)))
    before = file.read_bytes()
    assert run([*words, "--quiet"]) == 0 and file.read_bytes() == before


def test_lines_are_told_and_written(demo, tmp_path, capsys):
    "Lines with headings, the error before and after, a route a line."
    file = tmp_path / "lines.gpx"
    assert run(["plan", "lines", str(demo.folder), "--hours", "0.3", "--to", str(file)]) == 0
    out = capsys.readouterr().out
    assert "now," in out and "after them" in out
    routes = ElementTree.parse(file).getroot().findall(f"{GPX}rte")
    assert routes and all(len(route.findall(f"{GPX}rtept")) == 2 for route in routes)


def test_a_first_survey_needs_an_outline_only(demo, capsys):
    "Before any log: lines from the shoreline file."
    assert run(["plan", "lines", "--shore", str(next(demo.tracks.glob("*.geojson"))), "--hours", "0.5"]) == 0
    assert "of the lake's own spread" in capsys.readouterr().out


@pytest.mark.parametrize(("words", "status", "said"), [
    (["trip", "OUT", "--from", "here", "--hours", "1"], 2, "LAT,LON"),
    (["trip", "OUT", "--from", "0,0", "--hours", "1"], 1, "the nearest water that may be driven lies 10"),
    (["trip", "OUT", "--from", "START", "--hours", "1", "--draft", "40m"], 1, "too shallow for the boat"),
    (["lines", "OUT", "--hours", "0.02"], 1, "no line fits into 1.2 minutes"),
    (["lines", "OUT", "--hours", "0.02", "--for", "spots"], 1, "no line fits into 1.2 minutes"),
    (["lines", "OUT", "--hours", "1", "--draft", "40m"], 1, "too shallow for the boat"),
    (["trip", "OUT", "--from", "START", "--hours", "1", "--speed", "fast"], 2, "--speed: 'fast' is no speed"),
    (["trip", "OUT", "--from", "START", "--hours", "1", "--draft", "two"], 2, "--draft: 'two' is no length"),
    (["trip", "OUT", "--from", "START", "--hours", "1", "--reach", "-2km"], 2, "--reach -2: must be 0 or more"),
    (["trip", "OUT", "--from", "START", "--hours", "1", "--to", "day.kml"], 2, "day.kml: the name must end in .gpx"),
    (["lines", "OUT", "--hours", "1", "--to", "lines.png"], 2, "--to lines.png: the name must end in .gpx"),
    (["lines", "OUT", "--hours", "long"], 2, "'--hours': 'long' is no number"),
    (["trip", "OUT", "--from", "START", "--hours", "nan"], 2, "'--hours': 'nan' is no number"),
    (["trip", "OUT", "--from", "START", "--hours", "1", "--stay", "nan"], 2, "'--stay': 'nan' is no number"),
    (["trip", "OUT", "--from", "START", "--hours", "1", "--start", "tomorrow"], 2, "in UTC"),
    (["trip", "OUT", "--from", "START", "--hours", "1", "--start", "2026-06-01"], 2, "a day alone says not when"),
    (["trip", "NOTHING", "--from", "START", "--hours", "1"], 1, "no finished map"),
    (["lines", "--hours", "1"], 2, "--shore"),
    (["lines", "OUT", "--shore", "x.geojson", "--hours", "1"], 2, "leave out OUT, or --shore"),
    (["lines", "--shore", "x.geojson", "--hours", "1", "--for", "spots"], 2, "leave out --for, or --shore"),
    (["trip", "OUT", "--from", "START", "--hours", "1", "--margin", "-5ft"], 2, "--margin -5ft: must be 0 or more"),
    (["lines", "OUT", "--hours", "1", "--draft", "-1m"], 2, "--draft -1m: must be 0 or more"),
])
def test_what_cannot_be_planned_is_one_line(words, status, said, demo, start, tmp_path, capsys):
    "What is wrong and what to do; no traceback."
    places = {"OUT": str(demo.folder), "START": start, "NOTHING": str(tmp_path)}
    assert run(["plan", *(places.get(word, word) for word in words)]) == status
    fault = capsys.readouterr().err
    assert said in fault and fault.count("\n") == 1


@pytest.mark.parametrize("plan", ["trip", "lines"])
def test_a_start_far_off_is_told_with_its_distance(plan, demo, start, tmp_path, capsys):
    "A slip of 0.3 degrees in the latitude: some 33 km to the nearest water, in the map's own unit."
    lat, lon = (float(part) for part in start.split(","))
    assert run(["plan", plan, str(demo.folder), "--from", f"{lat + 0.3},{lon}", "--hours", "1"]) == 1
    away_m = float(re.search(r"lies (\d+) m away", capsys.readouterr().err).group(1))
    with rasterio.open(demo.folder / "depth.tif") as raster:
        rows, columns = np.nonzero(np.isfinite(raster.read(1)))
        x, y = raster.transform @ (columns + 0.5, rows + 0.5)
        there = rasterio.warp.transform(raster.crs, "EPSG:4326", x, y)
    far_m = Geod(ellps="WGS84").inv(np.full(len(x), lon), np.full(len(x), lat + 0.3), *there)[2]
    far_m = np.min(far_m)
    # water that may be driven is part of the mapped: no nearer, and within the lake's width
    assert far_m - 1.0 <= away_m < far_m + 400.0


@pytest.mark.parametrize("when", ["2026-07-01T16:00", "2026-07-01T16:00Z", "2026-07-01T11:00-05:00"])
def test_a_start_is_taken_in_its_own_zone(when):
    "UTC where none is told; an offset counts."
    assert _moment(when) == np.datetime64("2026-07-01T16:00:00")


def test_a_closed_area_is_never_entered(demo, start, tmp_path, capsys):
    "Closed water around all spots leaves none; out of season it is open."
    place = [float(part) for part in start.split(",")]
    ring = [[place[1] + dx, place[0] + dy] for dx, dy in ((-1, -1), (1, -1), (1, 1), (-1, 1), (-1, -1))]
    feature = {"type": "Feature", "properties": {"closed_from": "04-01", "closed_until": "06-15"},
               "geometry": {"type": "Polygon", "coordinates": [ring]}}
    file = tmp_path / "closed.geojson"
    file.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    words = ["plan", "trip", str(demo.folder), "--from", start, "--hours", "1", "--closed", str(file)]
    assert run([*words, "--start", "2026-05-01T15:00"]) == 1
    assert run([*words, "--start", "2026-07-01T15:00", "--quiet"]) == 0
