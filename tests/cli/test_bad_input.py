"""What the user meets when something is wrong: one line that says what, where and what to do, never a traceback."""

from __future__ import annotations

import json
import os
import re
import resource
import subprocess
import sys

import numpy as np
import pytest

from lakemap.cli.main import run
from lakemap.model.outputs import SUMMARY

LAT, LON = 46.8, -100.3


def table(rows, header="time,lat,lon,depth_m"):
    "A CSV of rows."
    return "\n".join([header, *(",".join(map(str, row)) for row in rows)]) + "\n"


def crossing_lines(lat=LAT, lon=LON, n=60, lines=6, depth=lambda u, v: 4 + 2 * u + v):
    "Rows of a small survey: lines east-west and lines north-south across them."
    rows = []
    for swap in (False, True):
        for v in np.linspace(0, 1, lines):
            for u in np.linspace(0, 1, n):
                a, b = (v, u) if swap else (u, v)
                east = lon + 0.003 * a
                east = (east + 180) % 360 - 180
                rows.append((f"{lat + 0.002 * b:.7f}", f"{east:.7f}", f"{depth(a, b):.2f}"))
    return [(f"2025-06-01T{10 + i // 3600:02d}:{i // 60 % 60:02d}:{i % 60:02d}Z", *row)
            for i, row in enumerate(rows)]


def refused(arguments, capsys, status, words):
    "The command ends with this status and one line on stderr that matches the words."
    assert run([str(a) for a in arguments]) == status
    err = capsys.readouterr().err.strip()
    assert "\n" not in err and "Traceback" not in err
    assert re.search(words, err), err


BAD_FILES = {
    "an empty file": ("empty.csv", b"", 1, r"empty\.csv.*empty"),
    "bytes of no format": ("x.bin", bytes(range(256)) * 8, 1, r"x\.bin.*lakemap formats"),
    "no depth column": ("a.csv", table([(1, LAT, LON)], "time,lat,lon").encode(), 1, r"a\.csv.*depth"),
    "no position column": ("a.csv", table([(1, 4.0)], "time,depth_m").encode(), 1,
                           r"a\.csv.*(lat|position).*--columns"),
    "depth without unit": ("a.csv", table(crossing_lines(), "time,lat,lon,depth").encode(), 1,
                           r"a\.csv.*unit.*--depth-unit"),
    "latitude 200": ("a.csv", table([(i, 200 + i, LON, 5) for i in range(5)]).encode(), 1, r"position|latitude"),
    "nothing but faults": ("a.csv", table([(i, LAT, LON + i * 1e-5, "") for i in range(5)]).encode(), 1,
                           r"(no_depth|held out|usable|depth)"),
    "a log of fixes without depth": ("a.nmea", b"$GPGLL,4916.45,N,12311.12,W,225444,A,*1D\r\n" * 5, 1,
                                     r"a\.nmea.*depth"),
}


@pytest.mark.parametrize("name", BAD_FILES)
def test_a_file_that_gives_nothing_is_one_clear_line(name, tmp_path, capsys):
    "What, where and what to do, exit status 1, and no folder taken for a map."
    file_name, content, status, words = BAD_FILES[name]
    (tmp_path / file_name).write_bytes(content)
    refused(["map", tmp_path / file_name, "--out", tmp_path / "out"], capsys, status, words)
    assert not (tmp_path / "out" / SUMMARY).exists()


def test_a_missing_file_is_named(tmp_path, capsys):
    "A path that is not there."
    refused(["map", tmp_path / "gone.csv", "--out", tmp_path / "out"], capsys, 1, r"gone\.csv")


def test_no_files_at_all_points_to_the_demo(tmp_path, capsys):
    "Wrong use: status 2 and a way on."
    refused(["map", "--out", tmp_path / "out"], capsys, 2, r"lakemap demo")


def test_swapped_columns_are_suspected_aloud(tmp_path, capsys):
    "Latitudes beyond 90 and longitudes within: the line asks whether they are swapped."
    rows = [(t, lon, lat, d) for t, lat, lon, d in crossing_lines()]
    (tmp_path / "a.csv").write_text(table(rows))
    refused(["map", tmp_path / "a.csv", "--out", tmp_path / "out"], capsys, 1, r"swapped.*--columns")


def test_a_file_that_could_be_two_things_asks_which(tmp_path, capsys):
    "A table with depth and with kind: the options that settle it are named."
    rows = [(LAT, LON, 5, "stump"), (LAT, LON + 1e-4, 6, "rock")]
    (tmp_path / "a.csv").write_text(table(rows, "lat,lon,depth_m,kind"))
    refused(["map", tmp_path / "a.csv", "--out", tmp_path / "out"], capsys, 2, r"a\.csv.*--log.*--marks")


def test_a_shoreline_elsewhere_is_refused_with_both_places(tmp_path, capsys):
    "The lake's outline 100 km off its soundings."
    (tmp_path / "a.csv").write_text(table(crossing_lines()))
    ring = [[LON + 1.3, LAT], [LON + 1.31, LAT], [LON + 1.31, LAT + 0.01], [LON + 1.3, LAT + 0.01], [LON + 1.3, LAT]]
    (tmp_path / "shore.geojson").write_text(json.dumps({"type": "Feature", "properties": {}, "geometry": {
        "type": "Polygon", "coordinates": [ring]}}))
    refused(["map", tmp_path / "a.csv", tmp_path / "shore.geojson", "--out", tmp_path / "out"], capsys, 1,
            r"shore\.geojson: none of 720 soundings lies in its water .*leave it out")


@pytest.mark.parametrize("setting, words", [
    ("clean.draft_m=-1", r"draft_m = -1: must be"), ("clean.drafd_m=1", r"drafd_m.*draft_m"),
    ("kleen.draft_m=1", r"\[kleen\]"), ("draft", r"clean\.draft_m=0\.4"), ("grid.method=magic", r"method"),
])
def test_a_wrong_setting_names_the_rule(setting, words, tmp_path, capsys):
    "Status 2; the setting, its value and what it must be."
    (tmp_path / "a.csv").write_text(table(crossing_lines()))
    refused(["map", tmp_path / "a.csv", "--out", tmp_path / "out", "--set", setting], capsys, 2, words)


HONEST_SMALL = {
    "one point": [("2025-06-01T10:00:00Z", LAT, LON, 5.0)],
    "one pass": crossing_lines()[:60],
    "all depths equal": crossing_lines(depth=lambda u, v: 5.0),
    "across the antimeridian": crossing_lines(lat=-16.8, lon=179.9985),
    "across a zone border": crossing_lines(lat=45.0, lon=5.9985),
}


@pytest.mark.parametrize("name", HONEST_SMALL)
def test_little_or_awkward_data_gives_an_honest_map(name, tmp_path):
    "The job ends well, the commit record is there, and depths on the map are those of the readings."
    import rasterio

    rows = HONEST_SMALL[name]
    (tmp_path / "a.csv").write_text(table(rows))
    assert run(["map", str(tmp_path / "a.csv"), "--out", str(tmp_path / "out"), "--quiet"]) == 0
    summary = json.loads((tmp_path / "out" / SUMMARY).read_text())
    assert summary["rows"]["in"] == len(rows)
    with rasterio.open(tmp_path / "out" / "depth.tif") as source:
        depth = source.read(1)
    logged = [float(row[3]) for row in rows]
    drawn = depth[np.isfinite(depth)]
    assert len(drawn) and drawn.min() > min(logged) - 0.5 and drawn.max() < max(logged) + 0.5


def test_a_full_disk_leaves_no_map_that_looks_whole(tmp_path):
    "Files may not grow beyond 20 kB: one line, status 1, no commit record, no temporary file."
    (tmp_path / "a.csv").write_text(table(crossing_lines()))

    def limit():
        resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))

    out = subprocess.run(
        [sys.executable, "-m", "lakemap", "map", tmp_path / "a.csv", "--out", tmp_path / "out"],
        capture_output=True, text=True, preexec_fn=limit, check=False,
        env={**os.environ, "MPLCONFIGDIR": str(tmp_path)},
    )
    assert out.returncode == 1 and "Traceback" not in out.stderr
    assert out.stderr.strip().count("\n") == 0, out.stderr
    assert not (tmp_path / "out" / SUMMARY).exists()
