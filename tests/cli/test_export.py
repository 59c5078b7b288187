"""lakemap export: readings of a map in the form of IHO B-12."""

from __future__ import annotations

import shutil

import numpy as np

from lakemap.cli.main import run
from lakemap.read.find import sort_files
from lakemap.read.load import read_logs
from lakemap.read.outputs import read_soundings
from lakemap.read.settings import ReadSettings

SAID = ["--convention", "3.1", "--organisation", "A Node", "--email", "node@example.org",
        "--platform-id", "LAKE-1b4e28ba-2fa1-11d2-883f-0016d3cca427", "--platform-name", "Alva",
        "--licence", "CC0 1.0", "--logger", "own recorder", "--logger-version", "1"]


def test_the_demo_map_gives_its_readings_on(demo, tmp_path, capsys):
    "The transducer's rows in use with a date, as logged, and the same file each time."
    target = tmp_path / "r.geojson"
    arguments = ["export", str(demo.folder), "--b12", str(target), "--depth-from", "transducer", *SAID]
    assert run(arguments) == 0 and "readings below the transducer" in capsys.readouterr().out
    first = target.read_bytes()
    assert run([*arguments, "--quiet"]) == 0 and target.read_bytes() == first
    rows = read_logs(sort_files([target]).logs, ReadSettings())
    made = demo.lake_map.soundings
    wanted = made.usable() & ~np.isnat(made.time_utc) & (made.per_log("has_date") == 1)
    wanted &= np.array([facts.depth_reference == "transducer" for facts in made.logs])[made.log]
    assert len(rows) == wanted.sum() > 1000
    np.testing.assert_allclose(np.sort(rows.logged_depth_m), np.sort(made.logged_depth_m[wanted]), atol=0.051)


def test_soundings_come_back_as_they_were_published(demo):
    "Every column and the facts of each log."
    back, made = read_soundings(demo.folder), demo.lake_map.soundings
    for name in ("time_utc", "log", "lon_deg", "logged_depth_m", "depth_m", "second_seen", "flags", "pass_id"):
        np.testing.assert_array_equal(getattr(back, name), getattr(made, name), err_msg=name)
    for told, facts in zip(back.logs, made.logs, strict=True):
        assert (told.name, told.sha256, told.depth_reference) == (facts.name, facts.sha256, facts.depth_reference)
        assert told.draft_m == facts.draft_m and told.has_date == facts.has_date


def refused(arguments, capsys, status, *words):
    "One line that holds the words."
    assert run([str(word) for word in arguments]) == status
    err = capsys.readouterr().err.strip()
    assert "\n" not in err and all(word in err for word in words), err


def test_what_lacks_is_asked_for(demo, tmp_path, capsys):
    "All of it in one line; nothing is made up and nothing written."
    refused(["export", demo.folder, "--b12", tmp_path / "r.geojson"], capsys, 2,
            "--platform-name", "--email", "--licence", "--convention")
    refused(["export", demo.folder, *SAID], capsys, 2, "--b12")
    refused(["export", demo.folder, "--b12", tmp_path / "r.xyz", "--depth-from", "transducer", *SAID], capsys, 2,
            ".geojson or .csv")
    assert list(tmp_path.iterdir()) == []


def test_only_a_finished_map_is_exported(demo, tmp_path, capsys):
    "No map, an unfinished one, one whose soundings are not those that it lists."
    target = ["--b12", tmp_path / "r.geojson", *SAID]
    refused(["export", tmp_path, *target], capsys, 1, "no finished map")
    copy = tmp_path / "copy"
    shutil.copytree(demo.folder, copy)
    (copy / "soundings.parquet").write_bytes(b"PAR1")
    refused(["export", copy, *target], capsys, 1, "soundings.parquet", "not the file")


def test_two_forms_are_not_written_into_one_file(demo, tmp_path, capsys):
    "The first would be lost; nothing is written."
    file = tmp_path / "c.gpx"
    assert run(["export", str(demo.folder), "--gpx-contours", str(file), "--gpx-passes", str(file)]) == 2
    assert "--gpx-contours is to be written there; name another file" in capsys.readouterr().err and not file.exists()
