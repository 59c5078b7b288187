"""A lake folder with boat, gauge, check depths and edits: what the commands do with it, and what they refuse."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest
import rasterio
from pond import BOAT, DRAFT_M, GAUGE, LAT, LON, M_PER_DEG, RISE_M, folder, nmea, survey, true_m

from lakemap.cli.main import run
from lakemap.pipeline import check_lake
from lakemap.project import Lake


def test_a_folder_with_boat_and_gauge_is_right_to_the_centimetre(tmp_path, capsys):
    "check --json lists the corrections with crossovers before and after; every fact says where it came from."
    lake = folder(tmp_path, lake__toml='name = "Pond"\n[clean]\nwater = "fresh"\n')
    soundings = check_lake(Lake.from_files([lake])).soundings
    assert np.abs(soundings.depth_m - true_m(soundings))[soundings.usable()].max() < 0.01
    assert Lake.from_files([lake]).name == "Pond"
    assert run(["check", str(lake), "--json"]) == 0
    head = json.loads(capsys.readouterr().out)
    assert [one["name"] for one in head["corrections"]] == ["draft", "sound speed", "lake level"]
    level = head["corrections"][-1]
    assert level["before_m"] == pytest.approx(RISE_M, abs=0.02) and level["after_m"] < 0.02
    assert {log["origins"]["draft_m"] for log in head["logs"]} == {"boat.toml"}
    assert all(log["facts"]["draft_m"] == DRAFT_M for log in head["logs"])


def test_feet_and_metres_give_one_map_of_depths(tmp_path):
    "The same survey in feet, corrected, is that in metres within its digits."
    metres, feet = tmp_path / "m", tmp_path / "ft"
    for place, tables in ((metres, survey(decimals=5)), (feet, survey("ft", 1 / 0.3048, decimals=5))):
        place.mkdir()
        for name, text in (tables | {"boat.toml": BOAT, "gauge.csv": GAUGE}).items():
            (place / name).write_text(text)
    one, two = (check_lake(Lake.from_files([place])).soundings for place in (metres, feet))
    np.testing.assert_allclose(one.depth_m, two.depth_m, atol=2e-5)


def test_lake_toml_switches_a_correction_off(tmp_path):
    "clean.off in the folder's own settings; --set counts before it."
    lake = folder(tmp_path, lake__toml='[clean]\noff = ["lake level"]\n')
    names = [one.name for one in check_lake(Lake.from_files([lake])).soundings.corrections]
    assert names == ["draft", "sound speed"]
    names = [one.name for one in check_lake(Lake.from_files([lake], {"clean": {"off": []}})).soundings.corrections]
    assert names == ["draft", "sound speed", "lake level"]


def test_rules_give_each_log_its_sounder(tmp_path):
    "Day 2 came from the stern's sounder, which hangs 0.2 m higher."
    two = BOAT + "[[sounder]]\nname = \"stern\"\ndraft_m = 0.2\nnominal_sound_speed_mps = \"unknown\"\n"
    rules = '[[log]]\nmatch = "day1*"\nsounder = "bow"\n[[log]]\nmatch = "day2*"\nsounder = "stern"\n' \
        '[[log]]\nmatch = "day9*"\nsounder = "bow"\n'
    soundings = check_lake(Lake.from_files([folder(tmp_path, boat__toml=two, lake__toml=rules)])).soundings
    assert [(log.sounder, log.draft_m) for log in soundings.logs] == [("bow", 0.4), ("stern", 0.2)]
    assert any("[[log]] 3 speaks of day9*" in text for text in soundings.messages)


def test_a_setting_reaches_every_room(tmp_path):
    "clean.draft_m without a boat: the log's facts carry it, so hardness sees it too."
    lake = Lake.from_files([folder(tmp_path, boat__toml="")], {"clean": {"draft_m": 0.55}})
    logs = check_lake(lake).soundings.logs
    assert {(log.draft_m, log.origins["draft_m"]) for log in logs} == {(0.55, "setting")}


def test_part_of_the_lake_and_of_the_season(tmp_path, capsys):
    "--since keeps the second day; --area half the lake; the rest is counted, not flagged."
    lake = folder(tmp_path)
    assert run(["check", str(lake), "--since", "2025-06-02", "--json"]) == 0
    head = json.loads(capsys.readouterr().out)
    assert [log["name"] for log in head["logs"]] == ["day2.csv"] and head["rows"]["in"] == 560
    ring = [[LON - 1, LAT - 1], [LON + 1, LAT - 1], [LON + 1, LAT + 100 / M_PER_DEG], [LON - 1, LAT + 100 / M_PER_DEG]]
    area = tmp_path / "half.geojson"
    area.write_text(json.dumps({"type": "Polygon", "coordinates": [[*ring, ring[0]]]}))
    assert run(["check", str(lake), "--area", str(area), "--json"]) == 0
    head = json.loads(capsys.readouterr().out)
    assert 0.4 * 1120 < head["rows"]["in"] < 0.65 * 1120
    assert any("lie outside half.geojson" in text for text in head["messages"])
    assert "half.geojson" in Lake.from_files([lake], {"read": {"area": str(area)}}).inputs


def test_an_edit_taken_out_is_undone(tmp_path):
    "A stretch marked bad is out; without the line all rows are in again."
    lake = folder(tmp_path, edits__csv="what,from,until,why\nbad,2025-06-01T10:00Z,2025-06-01T10:01Z,prop wash\n")
    flagged = check_lake(Lake.from_files([lake])).soundings
    assert flagged.usable().sum() == len(flagged) - 61
    (lake / "edits.csv").write_text("what,from,until,why\n")
    (lake / "edits.csv").unlink()
    assert check_lake(Lake.from_files([lake])).soundings.usable().all()


REFUSED = {
    "a gauge of another year": (
        {"gauge__csv": GAUGE.replace("2025", "2024")}, 1, r"gauge\.csv: levels from 2024.*day1\.csv"),
    "a profile out of order": (
        {"temps__csv": "depth_m,temp_c\n0,20\n5,18\n3,15\n"}, 1, r"temps\.csv: depths out of order"),
    "a negative draft": ({"boat__toml": "[[sounder]]\ndraft_m = -0.4\n"}, 1, r"boat\.toml: .*draft_m = -0\.4: must be"),
    "a latency of a minute": (
        {"boat__toml": "[[sounder]]\nlatency_s = 60\n"}, 1, r"boat\.toml: .*latency_s = 60: must be"),
    "an unknown key": ({"boat__toml": "[[sounder]]\ncolour = 1\n"}, 1, r"boat\.toml: .*unknown key 'colour'"),
    "two boats": (
        {"skiff__toml": "[[sounder]]\nname = \"stern\"\n"}, 1, r"day1\.csv: boat\.toml and skiff\.toml both claim"),
    "a sounder nobody has": (
        {"lake__toml": '[[log]]\nmatch = "*"\nsounder = "keel"\n'}, 1, r"sounder 'keel'.*mend the name"),
    "an unknown correction": ({"lake__toml": '[clean]\noff = ["squat"]\n'}, 2, r"off = .*names of corrections"),
    "two rules for one log": (
        {"lake__toml": '[[log]]\nmatch = "d*"\nsounder = "bow"\n[[log]]\nmatch = "*"\nsounder = "stern"\n'}, 1,
        r"\[\[log\]\] 1 and 2 both claim day1\.csv"),
    "an edit without a place": ({"edits__csv": "what,why\nbad,x\n"}, 1, r"edits\.csv, line 2: says neither"),
    "check depths on land": (
        {"checks__csv": f"lat,lon,check_depth_m\n{LAT + 0.02},{LON},5\n",
         "shore__geojson": json.dumps({"type": "Polygon", "coordinates": [[
             [LON - 0.01, LAT - 0.01], [LON + 0.02, LAT - 0.01], [LON + 0.02, LAT + 0.01], [LON - 0.01, LAT + 0.01],
             [LON - 0.01, LAT - 0.01]]]})}, 1, r"checks\.csv: check depths on land by shore\.geojson, line 2"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_meant_is_one_clear_line(name, tmp_path, capsys):
    "File, fault and way out on stderr; nothing is applied by guess."
    files, status, words = REFUSED[name]
    assert run(["check", str(folder(tmp_path, **files))]) == status
    err = capsys.readouterr().err.strip()
    assert "\n" not in err and "Traceback" not in err and re.search(words, err), err


@pytest.mark.parametrize(("options", "words"), [
    (["--since", "someday"], r"since = 'someday': no date or time"),
    (["--since", "2025-07-01", "--until", "2025-06-01"], r"since 2025-07-01 is later"),
    (["--until", "2020-01-01"], r"nothing is left; ask for more with --area, --since or --until"),
])
def test_a_span_that_holds_nothing_is_one_clear_line(options, words, tmp_path, capsys):
    "Wrong words, the wrong way round, before everything."
    assert run(["check", str(folder(tmp_path)), *options]) in (1, 2)
    err = capsys.readouterr().err.strip()
    assert "\n" not in err and re.search(words, err), err


def test_two_sounders_in_one_log_become_two(tmp_path):
    "Bow by SDDBT, stern by IIDPT: each its own rows, draft and name; the map may use both."
    text = ""
    for i in range(120):
        lat, lon = 4648.0 + 0.002 * i, 10018.0
        text += nmea(f"GPRMC,10{i // 60:02d}{i % 60:02d},A,{lat:.4f},N,{lon:09.4f},W,4.0,000.0,010625,,")
        text += nmea(f"SDDBT,,f,{6.0 + 0.01 * i:.2f},M,,F") + nmea(f"IIDPT,{6.2 + 0.01 * i:.2f},0.0,")
    (tmp_path / "both.nmea").write_text(text)
    (tmp_path / "boat.toml").write_text(
        '[[sounder]]\nname = "bow"\ndraft_m = 0.4\n[[sounder]]\nname = "stern"\ndraft_m = 0.2\n')
    (tmp_path / "lake.toml").write_text(
        '[[log]]\nmatch = "both*"\ntalker = "SD"\nsounder = "bow"\n'
        '[[log]]\nmatch = "both*"\ntalker = "II"\nsentence = "DPT"\nsounder = "stern"\n')
    soundings = check_lake(Lake.from_files([tmp_path])).soundings
    told = [(log.name, log.sounder, log.draft_m, log.rows_in) for log in soundings.logs]
    assert told == [("both.nmea (SD)", "bow", 0.4, 120), ("both.nmea (II DPT)", "stern", 0.2, 120)]
    used = soundings.usable()
    bow, stern = (soundings.depth_m[used & (soundings.log == code)] for code in (0, 1))
    assert np.median(bow) == pytest.approx(np.median(stern), abs=0.02)


def test_a_map_says_which_date_its_temperature_is_of(tmp_path, capsys):
    "The file, its tags, the summary, the report; without temperatures the file is not there."
    out = tmp_path / "out"
    assert run(["map", str(folder(tmp_path)), "--out", str(out), "--method", "field"]) == 0
    summary = json.loads((out / "summary.json").read_text())
    told = summary["surfaces"]["water_temperature"]
    assert told["period"] == "2025-06-01" and told["unit"] == "degC" and told["left_out"]["rmse_m"] < 0.05
    assert any("a surface of 2025-06-01, from 560 of 1120 readings" in text for text in summary["messages"])
    with rasterio.open(out / "water_temperature.tif") as raster:
        values = raster.read(1)
        assert raster.descriptions == ("water_temperature_c",) and raster.tags()["PERIOD"] == "2025-06-01"
        assert raster.tags()["UNITS"] == "degC"
    assert np.nanmax(np.abs(values - 10.0)) < 0.05
    with rasterio.open(out / "water_temperature_sigma.tif") as raster:
        assert (raster.read(1)[np.isfinite(values)] > 0).all()
    assert "in 2025-06-01. All of it may be off" in (out / "report.html").read_text()
    cold = folder(tmp_path)
    for table in cold.glob("day*.csv"):
        table.write_text("\n".join(line.rpartition(",")[0] for line in table.read_text().splitlines()) + "\n")
    assert run(["map", str(cold), "--out", str(out), "--method", "field"]) == 0
    assert not (out / "water_temperature.tif").exists()
    assert json.loads((out / "summary.json").read_text())["surfaces"]["water_temperature"] is None


def crs84(*lines, **fields):
    "GeoJSON of lines over the pond, each with the fields."
    return json.dumps({"type": "FeatureCollection", "features": [
        {"type": "Feature", "properties": fields, "geometry": {"type": "LineString", "coordinates": line}}
        for line in lines]})


@pytest.mark.parametrize(("fields", "words"), [
    ({"label": "a"}, r"old\.geojson: contours without depths; give each line a field"),
    ({"depth": 3.0}, r"old\.geojson: field 'depth' does not say its unit"),
    ({"depth_m": "deep"}, r"old\.geojson: no line with a number in 'depth_m'"),
])
def test_an_old_map_without_depths_is_one_clear_line_of_the_map(fields, words, tmp_path, capsys):
    "Contours that say no depth hold nothing up: the map is refused, not made without them."
    line = [[LON, LAT], [LON + 0.003, LAT + 0.001]]
    old = tmp_path / "old.geojson"
    old.write_text(crs84(line, **fields))
    out = tmp_path / "out"
    arguments = ["map", str(folder(tmp_path)), "--prior", str(old), "--out", str(out), "--set", "grid.method=nearest"]
    assert run([*arguments, "--quiet"]) == 1
    err = capsys.readouterr().err.strip()
    assert "\n" not in err and re.search(words, err), err
    assert not (out / "summary.json").exists()


def test_a_datum_shift_by_guess_is_refused_with_the_grid_that_lacks(tmp_path, capsys):
    "Positions, and an old map, on a datum whose only way to WGS 84 is a grid that is not there: its name, and the way."
    import geopandas
    import shapely

    rows = [f"2025-06-01T10:{i // 60:02d}:{i % 60:02d}Z,{45 + i * 1e-5:.6f},-63.3,{4 + 0.01 * i:.2f}"
            for i in range(200)]
    (tmp_path / "log.csv").write_text("\n".join(["time,lat,lon,depth_m below surface", *rows]) + "\n")
    assert run(["check", str(tmp_path / "log.csv"), "--crs", "EPSG:4122"]) in (1, 2)
    err = capsys.readouterr().err.strip()
    assert "\n" not in err and re.search(r"EPSG:4122.*lacks the grid \S+\.(gsb|tif).*data folder", err), err
    line = shapely.LineString([(-63.3, 45.0), (-63.297, 45.001)])
    geopandas.GeoDataFrame({"depth_m": [4.0]}, geometry=[line], crs="EPSG:4122").to_file(tmp_path / "old.gpkg")
    files = [str(tmp_path / "log.csv"), "--prior", str(tmp_path / "old.gpkg"), "--out", str(tmp_path / "out")]
    assert run(["map", *files, "--quiet", "--set", "grid.method=nearest"]) == 1
    err = capsys.readouterr().err.strip()
    assert "\n" not in err and re.search(r"old\.gpkg: .*lacks the grid \S+\.(gsb|tif)", err), err
