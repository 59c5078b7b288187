"""lakemap add: files into a lake's folder, told by what they hold, never over another."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from reader_samples import BOTTOM, MARKS, NMEA, TABLE, WAYPOINTS

from lakemap import Lake
from lakemap.cli.main import run
from lakemap.model.outputs import MAP, SUMMARY
from lakemap.read.load import read_marks
from lakemap.read.settings import ReadSettings

PAGE = Path(__file__).parents[2] / "lakemap" / "publish" / "html_map"
NOTES = [
    {"lat": 46.8011234567, "lon": -100.3, "kind": "stump", "name": "stump-4f7k2m", "note": "=big, \"old\"\none",
     "time": "2026-05-01T10:00:00Z"},
    {"lat": 46.8, "lon": 259.7, "kind": "place", "name": "", "note": "שן <b>; &amp;", "time": "2026-05-01T10:05:00Z"},
]


@pytest.fixture
def pond(tmp_path):
    "A lake's folder with a log and a table of marks."
    folder = tmp_path / "pond"
    folder.mkdir()
    (folder / "day1.nmea").write_text(NMEA)
    (folder / "marks.csv").write_text(MARKS)
    return folder


def given(tmp_path, name, text):
    "A file that is to come in."
    path = tmp_path / "card" / name
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def refused(arguments, capsys, status, *words):
    "One line that holds the words, and that status."
    assert run(["add", *(str(word) for word in arguments)]) == status
    err = capsys.readouterr().err.strip()
    assert "\n" not in err and all(word in err for word in words), err


def page_saves(notes):
    "The file that the page's own module makes of notes, run in node."
    if shutil.which("node") is None:
        pytest.skip("node is not installed")
    code = "\n".join((PAGE / name).read_text() for name in ("geo.js", "exchange.js"))
    script = f"{code}\nprocess.stdout.write(Exchange.marksCsv({json.dumps(notes)}));"
    return subprocess.run(["node", "-e", script], capture_output=True, check=True).stdout


def test_notes_as_the_page_saves_them_come_in(pond, tmp_path, capsys):
    "Byte by byte into the folder; a map reads places, kinds, names and words as they were written on the page."
    file = given(tmp_path, "own-notes.csv", page_saves(NOTES))
    assert run(["add", str(pond), str(file)]) == 0
    said = capsys.readouterr().out
    assert "own-notes.csv: 2 marks (1 place, 1 stump); now" in said and f"lakemap map {pond} --out OUT" in said
    assert (pond / "own-notes.csv").read_bytes() == file.read_bytes()
    lake = Lake.from_files([pond])
    marks = read_marks([one for one in lake.marks if one.name == "own-notes.csv"], ReadSettings())
    np.testing.assert_allclose(marks.lat_deg, [46.8011235, 46.8], atol=1e-9)
    np.testing.assert_allclose(marks.lon_deg, [-100.3, -100.3], atol=1e-9)
    assert marks.kind == ("stump", "place") and marks.name == ("stump-4f7k2m", "")
    assert marks.note == ('=big, "old" one', "שן <b>; &amp;")
    assert [str(when)[:19] for when in marks.time_utc] == ["2026-05-01T10:00:00", "2026-05-01T10:05:00"]


def test_notes_saved_again_count_once_with_their_latest_words(pond, tmp_path, capsys):
    "The page saves all notes each time: the second file gets a number, and no mark doubles."
    header = "lat,lon,kind,name,note,time\r\n"
    row = "46.8010000,-100.3000000,stump,,{},2026-05-0{}T10:00:00Z\r\n"
    assert run(["add", str(pond), str(given(tmp_path, "own-notes.csv", header + row.format("big", 1)))]) == 0
    more = header + row.format("gone", 2) + row.replace("46.801", "46.802").format("new", 2)
    assert run(["add", str(pond), str(given(tmp_path, "own-notes.csv", more))]) == 0
    assert "now " + str(pond / "own-notes 2.csv") in capsys.readouterr().out
    marks = read_marks(Lake.from_files([pond]).marks, ReadSettings())
    assert sorted(marks.note) == ["", "by the dock", "gone", "new"]
    assert "1 marks stand in more than one file; each counts once, with its latest words" in marks.messages


ROCK_TO_KEEP = json.dumps({"type": "Feature", "properties": {"keep_m": 20, "what": "rock"},
                           "geometry": {"type": "Point", "coordinates": [-100.3, 46.8]}})


@pytest.mark.parametrize(("name", "text", "said"), [
    ("catches.csv", "lat,lon,count,effort_h,time\n46.8,-100.3,2,1.5,2026-05-01T10:00Z\n", "catches.csv: 1 catch;"),
    ("samples.csv", "lat,lon,bottom\n46.8,-100.3,sand\n", "samples.csv: 1 bottom sample;"),
    ("own.csv", "lat,lon,kind\n46.8,-100.31,rock\n", "own.csv: 1 mark (1 rock);"),
    ("rock.geojson", ROCK_TO_KEEP, "rock.geojson: 1 danger;"),
])
def test_one_of_a_thing_is_told_as_one(pond, tmp_path, capsys, name, text, said):
    "The word for one, which is not always that for many less an s."
    assert run(["add", str(pond), str(given(tmp_path, name, text))]) == 0
    assert said in capsys.readouterr().out


def test_what_is_there_is_not_taken_twice(pond, tmp_path, capsys):
    "The same bytes under another name: nothing new, nothing written."
    before = sorted(pond.iterdir())
    assert run(["add", str(pond), str(given(tmp_path, "copy.csv", MARKS)), str(pond / "day1.nmea")]) == 0
    said = capsys.readouterr().out
    assert f"there already as {pond / 'marks.csv'}" in said and "Nothing new." in said
    assert sorted(pond.iterdir()) == before


def test_nothing_is_ever_written_over(pond, tmp_path, capsys):
    "A name that is taken, by a file or by a link that leads out, gets a number; the link's target is not touched."
    outside = tmp_path / "outside.csv"
    outside.write_text("mine")
    os.symlink(outside, pond / "samples.csv")
    os.symlink(tmp_path / "nowhere", pond / "samples 2.csv")
    assert run(["add", str(pond), str(given(tmp_path, "samples.csv", BOTTOM))]) == 0
    assert (pond / "samples 3.csv").read_text() == BOTTOM and outside.read_text() == "mine"
    assert not (tmp_path / "nowhere").exists() and "2 bottom samples" in capsys.readouterr().out


def test_one_that_cannot_be_read_keeps_all_out(pond, tmp_path, capsys):
    "A picture, a depth without a unit, rows without a place, a file fit for nothing: one line, nothing taken."
    good = given(tmp_path, "day2.csv", TABLE)
    before = sorted(pond.iterdir())
    for name, text, *words in [
        ("lake.png", b"\x89PNG\r\n\x1a\n" + bytes(200), "no reader takes it"),
        ("t.csv", "lat,lon,depth\n46.8,-100.3,4\n46.8,-100.3,5\n", "--depth-unit", "lake.toml", "nothing is taken"),
        ("m.csv", "lat,lon,kind\n,,stump\n", "no marks in it"),
    ]:
        refused([pond, good, given(tmp_path, name, text)], capsys, 1, *words)
        assert sorted(pond.iterdir()) == before
    refused([pond, tmp_path / "card" / "none.csv"], capsys, 1, "no such file")


@pytest.mark.parametrize("name", [".marks.csv", SUMMARY, MAP, "lake\u202etxt.csv", "a\x1b[31m.csv", "a\nb.csv"])
def test_names_that_would_mislead_are_refused(pond, tmp_path, capsys, name):
    "Hidden files, our own names, signs that do not print."
    refused([pond, given(tmp_path, name, MARKS + "46.82,-100.3,log,C,,\n")], capsys, 2, "rename it first")
    assert len(list(pond.iterdir())) == 2


def test_a_folder_gives_what_can_be_read(pond, tmp_path, capsys):
    "What no reader takes costs a line; what lies deeper comes in flat, results are not entered."
    given(tmp_path, "x.bin", bytes(range(256)))
    given(tmp_path, "w.gpx", WAYPOINTS)
    deep = tmp_path / "card" / "deep"
    deep.mkdir()
    (deep / "w.gpx").write_text(WAYPOINTS.replace("Rock 1", "Rock 2"))
    results = tmp_path / "card" / "out"
    results.mkdir()
    (results / SUMMARY).write_text("{}")
    (results / "more.csv").write_text(MARKS)
    assert run(["add", str(pond), str(tmp_path / "card")]) == 0
    said = capsys.readouterr().out
    assert "x.bin: not read, no reader takes it" in said and "out: not entered" in said
    assert sorted(path.name for path in pond.iterdir()) == ["day1.nmea", "marks.csv", "w 2.gpx", "w.gpx"]


def test_a_shapefile_comes_with_what_belongs_to_it(pond, tmp_path, capsys):
    "Its parts keep one stem, numbered together; the copy is read like the original."
    import geopandas
    import shapely

    made = given(tmp_path, "shore.shp", b"")
    box = shapely.box(-100.4, 46.7, -100.2, 46.9)
    geopandas.GeoDataFrame({"name": ["Lake"]}, geometry=[box], crs=4326).to_file(made)
    (pond / "shore.dbf").write_bytes(b"another")
    assert run(["add", str(pond), str(made)]) == 0
    assert {path.suffix for path in pond.glob("shore 2.*")} >= {".shp", ".shx", ".dbf", ".prj"}
    assert (pond / "shore.dbf").read_bytes() == b"another" and "shoreline; now" in capsys.readouterr().out
    assert [one.name for one in Lake.from_files([pond]).shore] == ["shore 2.shp"]


def finished(folder, inputs):
    "A folder that looks like a map of these files."
    folder.mkdir()
    (folder / SUMMARY).write_text(json.dumps({"format": 1, "files": {}, "inputs": inputs}))
    return folder


def test_a_map_leads_to_the_folder_beside_it_that_it_was_made_of(pond, tmp_path, capsys):
    "By name and SHA-256 of its files; where that cannot be told, the folder is asked for and nothing is written."
    log = next(one for one in Lake.from_files([pond]).logs)
    out = finished(tmp_path / "out", {log.name: log.sha256, "../outside.csv": "0", "/etc/hostname": "0"})
    file = given(tmp_path, "w.gpx", WAYPOINTS)
    assert run(["add", str(out), str(file)]) == 0
    assert (pond / "w.gpx").exists() and f"lakemap map {pond} --out {out}" in capsys.readouterr().out
    other = finished(tmp_path / "other", {log.name: "0" * 64})
    refused([other, file], capsys, 2, "none of the folders beside it", "lakemap add FOLDER")
    shutil.copytree(pond, tmp_path / "twin")
    refused([out, file], capsys, 2, "several of the folders")
    refused([tmp_path / "nothing", file], capsys, 1, "no such folder")
    assert not (other / "w.gpx").exists()


def test_a_full_disk_leaves_nothing_half(pond, tmp_path, capsys, monkeypatch):
    "The name is free again and the line says so."
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("lakemap.cli.lake_folder.os.fsync", full)
    before = sorted(pond.iterdir())
    refused([pond, given(tmp_path, "w.gpx", WAYPOINTS)], capsys, 1, "cannot be written", "No space left")
    assert sorted(pond.iterdir()) == before
