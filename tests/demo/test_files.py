"""The files that the invented boat leaves are such as a user could have, and the same every time."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pynmea2
import pytest
import shapely
from defusedxml import ElementTree
from shapely.geometry import shape

from lakemap.demo import DEMO_NAME, demo_files, demo_lake, demo_recordings
from lakemap.demo.marks import make_marks
from lakemap.demo.nmea_text import sentence
from lakemap.geo.crs import project

TRACKS = Path(__file__).parents[2] / "demo_tracks"
NMEA = [f"harrow_day{day}.nmea" for day in (1, 2, 3, 4)]


@pytest.fixture(scope="module")
def files():
    "Names and contents."
    return demo_files(1)


def digests(files):
    "SHA-256 of each file."
    return {name: hashlib.sha256(content).hexdigest() for name, content in files.items()}


def test_tracks_in_the_repository_are_what_the_command_makes(files):
    "demo_tracks/ holds exactly the files of `lakemap demo --tracks demo_tracks`, under 8 MB."
    assert {path.name for path in TRACKS.iterdir()} == set(files)
    assert {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in TRACKS.iterdir()} == digests(files)
    assert sum(map(len, files.values())) < 8e6


def test_files_do_not_depend_on_hash_seed_or_threads(files):
    "Another process with another hash seed and thread count makes the same bytes."
    code = ("import hashlib\nfrom lakemap.demo import demo_files\n"
            "for n, c in demo_files(1).items(): print(n, hashlib.sha256(c).hexdigest())")
    env = {**os.environ, "PYTHONHASHSEED": "77", "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    done = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True, check=True)
    assert dict(line.split() for line in done.stdout.splitlines()) == digests(files)


def test_another_seed_is_another_boat_on_the_same_lake(files):
    "Logs differ, the shoreline does not."
    other = demo_files(2)
    assert other["harrow_day1.nmea"] != files["harrow_day1.nmea"]
    assert other["harrow_shoreline.geojson"] == files["harrow_shoreline.geojson"]


def test_checksum_of_a_published_sentence():
    "$INDPT,2.3,0.0*46 (open GPS daemon document)."
    assert sentence("INDPT,2.3,0.0") == "$INDPT,2.3,0.0*46"


@pytest.mark.parametrize("name", NMEA)
def test_sentences_are_sound_but_for_the_litter(files, name):
    "An independent parser takes all lines but the few that were spoilt, and no line is too long."
    lines = files[name].decode("ascii").split("\r\n")[:-1]
    failed = 0
    for line in lines:
        try:
            pynmea2.parse(line, check=True)
        except (pynmea2.ParseError, ValueError):
            failed += 1
    assert 5 <= failed <= 30
    assert max(map(len, lines)) <= 80


@pytest.mark.parametrize("name", NMEA)
def test_every_depth_of_the_recording_is_in_the_log(files, name):
    "As many depth sentences as pings, spoilt ones aside, and their depths are those shown."
    taken = demo_recordings(1)[name]
    lines = [line for line in files[name].decode().split("\r\n") if line[3:6] in ("DBT", "DPT")]
    assert abs(len(lines) - len(taken.shown_m)) <= 12
    if "DPT" in lines[0]:
        depths = [float(line.split(",")[1]) for line in lines[:200]]
        assert np.allclose(depths, taken.shown_m[:200], atol=0.006)


def test_tables_carry_both_kinds_of_hardness_reading(files):
    "One has levels in dB and metres, the other what the screen showed, in feet."
    levels = list(csv.DictReader(io.StringIO(files["harrow_echo_levels.csv"].decode())))
    notes = list(csv.DictReader(io.StringIO(files["harrow_screen_notes.csv"].decode())))
    assert sum(bool(row["second_echo_db"]) for row in levels) > 0.8 * len(levels)
    assert {row["second_seen"] for row in notes} >= {"none", "faint", "strong"}
    short = [row for row in notes if row["second_seen"] == "none" and row["depth_ft"]
             and 2 * float(row["depth_ft"]) > float(row["display_range_ft"])]
    assert len(short) > 100, "a screen too short to show a second bottom must occur"


def test_marks_lie_near_what_they_mean(files):
    "Waypoints are those of make_marks; marks of cover are off by some metres, not more than 15."
    lake = demo_lake()
    marks = make_marks(lake, 1)
    points = ElementTree.fromstring(files["harrow_marks.gpx"]).findall("{*}wpt")
    assert len(points) == len(marks) >= 15
    for point, mark in zip(points, marks, strict=True):
        x, y = project(lake.crs, float(point.get("lon")), float(point.get("lat")))
        assert np.hypot(x - mark.x_m, y - mark.y_m) < 0.2
        if mark.cover >= 0:
            assert np.hypot(x - lake.cover.x_m[mark.cover], y - lake.cover.y_m[mark.cover]) < 15.0


def test_shoreline_file_is_the_lake_to_some_metres(files):
    "One polygon with the island as a hole, named, off from the truth by a metre or two."
    lake = demo_lake()
    feature, = json.loads(files["harrow_shoreline.geojson"])["features"]
    assert feature["properties"]["name"] == DEMO_NAME
    traced = shapely.transform(
        shape(feature["geometry"]), lambda xy: np.column_stack(project(lake.crs, xy[:, 0], xy[:, 1]))
    )
    assert traced.is_valid and len(traced.interiors) == 1
    assert traced.symmetric_difference(lake.shoreline).area / lake.shoreline.length < 1.5
