"""What is wrong with notes, levels and samples of the bottom costs those rows alone, and one clear line each."""

from __future__ import annotations

import json

import pytest

from lakemap.cli.main import run
from lakemap.model.outputs import SUMMARY

LAT, LON = 61.5, 23.7
HEAD = "time,lat,lon,depth_m,second_bottom_m,first_echo_end_m,second_seen,display_range_m,first_echo_db,second_echo_db"
GOOD = ["16.0,8.4,strong", "16.0,8.4,faint"]
BAD = ["7.0,8.4,strong", "8.0,8.2,strong", "9.0,9.5,", "16.0,8.4,none", ",8.4,blorp"]
"""Second bottom above the bottom, on it, within the first echo's own tail; seen and yet not; a word of no meaning."""


def place(i):
    "Ten lines of sixty rows to and fro, 5 m apart along and 12 m across."
    line, along = divmod(i, 60)
    return f"{LAT + line * 1.1e-4:.7f},{LON + (along if line % 2 == 0 else 59 - along) * 9.4e-5:.7f}"


def log(day, cells, levels):
    "Six hundred rows over a floor 8 m deep."
    rows = [f"2025-06-{day:02d}T10:{i // 20:02d}:{3 * (i % 20):02d}Z,{place(i)},8.0,{cells(i)},30,{levels(i)}"
            for i in range(600)]
    return "\n".join([HEAD, *rows]) + "\n"


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    "Messages of a map of all of it, through files."
    folder, out = tmp_path_factory.mktemp("bad"), tmp_path_factory.mktemp("map")
    (folder / "notes.csv").write_text(log(1, lambda i: BAD[i % 50] if i % 50 < 5 else GOOD[i % 2], lambda i: ","))
    (folder / "counts.csv").write_text(log(2, lambda i: ",,", lambda i: f"{200 - i % 40},{90 + i % 30}"))
    (folder / "loud.csv").write_text(log(3, lambda i: ",,", lambda i: f"{-60.5 + i % 7},{-20.25 + i % 5}"))
    near, land = f"{LAT + 2e-4:.6f},{LON + 1e-3:.6f}", f"{LAT + 0.01:.6f},{LON:.6f}"
    (folder / "felt.csv").write_text(f"lat,lon,bottom,felt\n{near},sand,pole\n{near},blorp,pole\n{land},mud,pole\n")
    ring = [[LON - 1e-3, LAT - 1e-3], [LON + 7e-3, LAT - 1e-3], [LON + 7e-3, LAT + 3e-3], [LON - 1e-3, LAT + 3e-3],
            [LON - 1e-3, LAT - 1e-3]]
    (folder / "shore.geojson").write_text(json.dumps({"type": "Polygon", "coordinates": [ring]}))
    assert run(["map", str(folder), "--out", str(out), "--pixel", "10", "--method", "kriging", "--units", "m"]) == 0
    return json.loads((out / SUMMARY).read_text())["messages"]


@pytest.mark.parametrize(("rows", "words"), [
    (24, "second bottom at or above the bottom itself"),
    (12, "no gap: the second bottom not below the end of the first"),
    (12, "a second bottom with a depth, but noted as none"),
    (600, "levels are counts of a display or of an automatic gain, not dB"),
    (600, "levels that are not dB"),
])
def test_rows_that_cannot_be_are_counted_by_reason_in_one_line(told, rows, words):
    "Rows of each reason, once."
    lines = [text for text in told if words in text]
    assert len(lines) == 1 and f"in {rows} rows: " in lines[0], lines


def test_an_unknown_word_for_the_second_bottom_is_named(told):
    "With its column, the first line it stands in, and the words that are known."
    lines = [text for text in told if "blorp" in text and text.startswith("notes.csv")]
    assert len(lines) == 1 and "second_seen" in lines[0] and "none, faint, strong" in lines[0], lines


def test_samples_that_cannot_be_are_named(told):
    "A word of no bottom, and a sample on land: file, line, what to do."
    assert sum("felt.csv: 'blorp' is no bottom known here (line 3); left out, write rock" in text for text in told) == 1
    assert sum("felt.csv: bottom sample on land in line 4; not used, check its position" in text for text in told) == 1


def test_the_rest_is_mapped_all_the_same(told):
    "Good notes of the same file are read."
    assert any(text.startswith("hardness read off the screen in") for text in told)
