"""``lakemap why``: what stands behind one place of a map."""

from __future__ import annotations

import json
import re
import shutil

import numpy as np
import pytest

from lakemap.cli.main import run
from lakemap.read.map_place import read_place


def read_hardness_row(demo):
    "A row of the demo that carries both echo levels and a hardness."
    rows = demo.lake_map.soundings
    both = np.isfinite(rows.hardness) & np.isfinite(rows.second_echo_db) & rows.usable()
    return rows, int(np.flatnonzero(both)[200])


def why(demo, row, capsys):
    "What the command prints at a row's place."
    rows = demo.lake_map.soundings
    assert run(["why", str(demo.folder), f"{rows.lat_deg[row]:.7f}", f"{rows.lon_deg[row]:.7f}"]) == 0
    return capsys.readouterr().out


def test_depth_and_bottom_are_explained_by_their_readings(demo, capsys):
    "Estimates with sigma, class probabilities, the nearest row with its levels, and corrections."
    rows, row = read_hardness_row(demo)
    text = why(demo, row, capsys)
    depth, bottom = text.split("\n\n")
    assert depth.startswith("Depth ") and "sigma" in depth and "readings in use within" in depth
    assert f"row {rows.row[row]}" in text and "corrected for draft" in text
    assert re.search(r"soft \d+%, medium \d+%, hard \d+%", bottom)
    assert "the scale is relative" in bottom and f"first echo {rows.first_echo_db[row]:.1f} dB" in bottom


def test_levels_are_explained_by_what_was_taken_off_them(demo, capsys):
    "By Francois & Garrison at 200 kHz and 15 degC (the water was warmer); 1.7 dB at the surface in a light breeze."
    rows, row = read_hardness_row(demo)
    text = why(demo, row, capsys)
    below_m = float(rows.depth_m[row] - rows.draft_m[row])
    slope = demo.lake_map.terrain.slope.at(rows.x_m[row:row + 1], rows.y_m[row:row + 1])[0]
    assert f"row {rows.row[row]} in {rows.depth_m[row]:.2f} m, are freed of" in text
    assert f"what a slope of {slope:.0f} degrees takes" in text
    lost = re.search(r"absorption at 200 kHz \((0\.\d+) dB down and back", text)
    assert float(lost[1]) == pytest.approx(2 * below_m * 0.010382, abs=0.01)
    assert "1.7 dB where the second turns at the surface (wind 2 m/s, taken since nobody noted the wind)" in text
    assert "the receiver's gain (none)" in text and "in a beam of 20 (" in text
    told = re.search(r"away: (0\.\d+), sigma 0\.\d+, bottom loss (\d+\.\d) dB", text)
    assert float(told[2]) == pytest.approx(25 - 22 * float(told[1]), abs=0.2)
    assert re.search(r"transducer 0\.3\d m deep", text)


def test_numbers_are_those_of_the_rasters(demo):
    "The place's bands are the pixels' values, and nearest comes first."
    rows, row = read_hardness_row(demo)
    place = read_place(demo.folder, rows.lat_deg[row], rows.lon_deg[row])
    surface = demo.lake_map.hardness
    at = surface.estimate.at(rows.x_m[row:row + 1], rows.y_m[row:row + 1])[0]
    assert place.bands["hardness"] == pytest.approx(at, abs=1e-6)
    assert sum(place.classes.values()) == pytest.approx(1.0, abs=1e-4)
    assert np.all(np.diff(place.away_m) >= 0) and place.away_m[0] < 1.0


def test_a_place_off_the_map_is_one_line(demo, capsys):
    "Latitude and longitude the wrong way round are the usual reason."
    assert run(["why", str(demo.folder), "-12.0", "34.0"]) == 2
    assert "lies off the map" in capsys.readouterr().err
    assert run(["why", str(demo.folder), "95", "34.0"]) == 2
    assert "is no place" in capsys.readouterr().err


def test_only_the_folder_is_needed_and_only_if_it_is_whole(demo, tmp_path, capsys):
    "Moved elsewhere it answers the same; a file that is not the listed one, or no record, is refused in a line."
    rows, row = read_hardness_row(demo)
    place = [f"{rows.lat_deg[row]:.7f}", f"{rows.lon_deg[row]:.7f}"]
    moved = tmp_path / "elsewhere"
    shutil.copytree(demo.folder, moved)
    assert run(["why", str(moved), *place]) == 0
    assert capsys.readouterr().out == why(demo, row, capsys)
    (moved / "depth.tif").write_bytes(b"II*\0 broken")
    assert run(["why", str(moved), *place]) != 0 and "make the map again" in capsys.readouterr().err
    (moved / "summary.json").unlink()
    assert run(["why", str(moved), *place]) != 0 and "no finished map" in capsys.readouterr().err


def test_the_record_tells_the_bottom(demo):
    "Classes with their shares, scale and edges stand in summary.json; the raster has a named band for each class."
    rasterio = pytest.importorskip("rasterio")
    told = json.loads((demo.folder / "summary.json").read_text())["bottom"]
    assert told["scale"] == "relative" and sum(one["share"] for one in told["classes"].values()) == pytest.approx(1.0)
    with rasterio.open(demo.folder / "bottom_classes.tif") as raster:
        assert list(raster.descriptions) == list(told["classes"]) == ["soft", "medium", "hard"]
        total = raster.read().sum(axis=0)
    assert np.nanmax(np.abs(total - 1.0)) < 1e-4
