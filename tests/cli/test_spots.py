"""The search for spots as a user meets it: filters from the command line, the list, and waypoints."""

from __future__ import annotations

import json
import re
from xml.etree import ElementTree

import numpy as np
import pytest

from lakemap.cli.main import run
from lakemap.cli.spots import depth_range_m
from lakemap.model.outputs import DEPTH
from lakemap.read.map_rasters import read_grid
from lakemap.read.spots_back import read_features, read_spots

GPX = "{http://www.topografix.com/GPX/1/1}"


def names_in(file):
    "Names of the waypoints of a GPX file."
    return [name.text for name in ElementTree.parse(file).getroot().findall(f"{GPX}wpt/{GPX}name")]


def test_spots_and_features_come_back_as_they_were(demo):
    "Places to a centimetre, figures as rounded, every part of the score, and the outlines of all features."
    crs, was = read_grid(demo.folder, demo.summary, DEPTH).frame.crs, demo.lake_map.spots
    back = read_spots(demo.folder, demo.summary, crs)
    assert back.name == was.name and back.kind == was.kind
    assert np.hypot(back.x_m - was.x_m, back.y_m - was.y_m).max() < 0.02
    assert np.allclose(back.score, was.score, atol=6e-4) and set(back.score_parts) == set(was.score_parts)
    counts = {kind: len(shapes) for kind, shapes in read_features(demo.folder, demo.summary).items()}
    assert sum(counts.values()) - counts.get("edge", 0) == len(demo.lake_map.terrain.features)


def test_filters_combine_and_waypoints_are_written(demo, tmp_path, capsys):
    "Only spots that pass all of them, in the order asked for, are told and written; no clock is in the file."
    file = tmp_path / "waypoints.gpx"
    words = ["spots", str(demo.folder), "--depth", "2-5m", "--within", "30m", "--of", "drop-off", "--min-probability",
             "0.7", "--sort", "depth", "--to", str(file)]
    assert run(words) == 0
    rows = {row["properties"]["name"]: row["properties"] for row in json.loads(
        (demo.folder / "spots.geojson").read_text())["features"]}
    found = names_in(file)
    depths = [rows[name]["depth_m"] for name in found]
    assert 0 < len(found) < len(rows) and depths == sorted(depths) and depths[0] >= 2 and depths[-1] <= 5
    assert all(rows[name]["probability"] >= 0.7 for name in found)
    out = capsys.readouterr().out
    assert f"{len(found)} of {len(rows)} spots" in out and "Not for navigation" in out
    assert f"written to {file}" in out and re.search(r"\d+% \(\d+–>?\d+\)", out), "the chance with its interval"
    before = file.read_bytes()
    assert run([*words, "--quiet"]) == 0 and file.read_bytes() == before


def test_the_filter_that_emptied_the_list_is_named(demo, tmp_path, capsys):
    "An empty result is no fault; the first filter that left nothing is told, and how many each passes alone."
    file = tmp_path / "none.csv"
    assert run(["spots", str(demo.folder), "--min-probability", "0", "--depth", "200-300ft", "--to", str(file)]) == 0
    out = capsys.readouterr().out
    assert "Emptied by: depth" in out and "passes 0 of" in out
    assert file.read_text().count("\n") == 1


@pytest.mark.parametrize(("words", "said"), [
    (["--within", "50ft"], "--within and --of go together"),
    (["--within", "50ft", "--of", "cave"], "no such feature; it has"),
    (["--above-thermocline"], "--profile FILE"),
    (["--fishable"], "--profile FILE"),
    (["--depth", "8"], "from-to"),
    (["--depth", "9-3m"], "the shallower depth comes first"),
    (["--seen-since", "May"], "2025-06-01"),
    (["--to", "x.txt"], "the name must end in .gpx or .kml or .csv"),
    (["--depth", "-3"], "--depth -3: write it from-to"),
    (["--depth", "3-deep"], "--depth: 'deep' is no length"),
    (["--within", "-5m", "--of", "drop-off"], "--within -5m: must be 0 or more"),
    (["--within", "far", "--of", "drop-off"], "--within: 'far' is no length"),
    (["--min-score", "much"], "'--min-score': 'much' is no number"),
    (["--most", "few"], "'--most': 'few' is no whole number"),
])
def test_what_cannot_be_asked_is_refused_with_the_next_step(demo, words, said, capsys):
    "One line, exit status 2."
    assert run(["spots", str(demo.folder), *words]) == 2
    assert said in capsys.readouterr().err


@pytest.mark.parametrize(("text", "unit", "metres"), [
    ("8-15ft", "m", (8 * 0.3048, 15 * 0.3048)), ("2.5m-15ft", "m", (2.5, 15 * 0.3048)), ("2-5", "m", (2, 5)),
    ("10-20", "ft", (3.048, 6.096)),
])
def test_ranges_of_depth(text, unit, metres):
    "A unit at the end is for both ends; bare ones are in the map's unit."
    assert depth_range_m(text, unit) == pytest.approx(metres)
