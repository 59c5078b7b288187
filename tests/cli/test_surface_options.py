"""Options of the depth surface, from the command line to the files."""

from __future__ import annotations

import csv
import json

import numpy as np
import pytest

from lakemap.cli.main import run


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    "A map of a small survey without a shoreline, by the method given, with realisations."
    folder = tmp_path_factory.mktemp("survey")
    y, x = np.meshgrid(np.arange(0, 121, 20.0), np.arange(0, 121, 3.0), indexing="ij")
    depth = 4 + 2 * np.sin(x / 30) + np.cos(y / 25)
    lines = ["time,lat,lon,depth_m"]
    for k, (east, north, deep) in enumerate(zip(x.ravel(), y.ravel(), depth.ravel(), strict=True)):
        second = 3 * k + 600 * int(north / 20)
        clock = f"2024-05-01T{8 + second // 3600:02d}:{second // 60 % 60:02d}:{second % 60:02d}Z"
        lines.append(f"{clock},{46 + north / 111_150:.7f},{9 + east / 77_400:.7f},{deep:.2f}")
    (folder / "log.csv").write_text("\n".join(lines))
    out = folder / "out"
    words = ["map", str(folder / "log.csv"), "--out", str(out), "--method", "field", "--realisations", "25", "--quiet"]
    assert run(words) == 0
    return out


def test_the_method_given_is_taken(made):
    "No contest is held, and it is said that the outline is no bank."
    summary = json.loads((made / "summary.json").read_text())
    depth = summary["surfaces"]["depth"]
    assert depth["method"] == "field" and depth["rivals"] == []
    assert any("it is no bank" in line for line in summary["messages"])


def test_realisations_reach_the_table_the_summary_and_the_report(made):
    "Area and volume stand between their ends."
    with (made / "depth_area_volume.csv").open() as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        assert float(row["area_low_m2"]) <= float(row["area_high_m2"])
        assert float(row["volume_low_m3"]) - 1 <= float(row["volume_m3"]) <= float(row["volume_high_m3"]) + 1
    interval = json.loads((made / "summary.json").read_text())["volume"]["interval"]
    assert interval["realisations"] == 25 and interval["volume_m3"][0] < interval["volume_m3"][1]
    assert "90% of 25 surfaces" in (made / "report.html").read_text()


def test_the_report_shows_how_true_sigma_is(made):
    "The curve of reliability is drawn from readings held back."
    assert "How true sigma is" in (made / "report.html").read_text()
    curve = json.loads((made / "summary.json").read_text())["surfaces"]["depth"]["left_out"]["reliability"]
    assert [pair[0] for pair in curve] == sorted(pair[0] for pair in curve) and len(curve) > 8
