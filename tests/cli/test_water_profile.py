"""A profile of the water through files: share and outline of the bottom that suits, ageing, and nothing without one."""

from __future__ import annotations

import json

import numpy as np
import pyogrio
import pytest
import rasterio
from pond import folder

from lakemap.cli.main import run
from lakemap.model.outputs import DEPTH, LAKE, SUMMARY

PROFILE = "date,depth_m,temperature_c,oxygen_mgl\n" + "".join(
    f"{{day}},{depth},{celsius},{oxygen}\n" for depth, celsius, oxygen in (
        (0, 22, 9), (4, 21, 9), (6, 20, 8.5), (7, 14, 8), (8, 10, 6), (10, 8, 2), (12, 7.5, 0.5)))
SOUGHT = '[grid]\npixel_m = 8\nmethod = "linear"\n[water]\nmost_c = 17\nleast_oxygen_mgl = 4\n'
BAND = (6.5, 9.0)
MARKS = "time,lat,lon,kind\n2025-06-01T10:05:00Z,46.8009,-100.2980,stump\n"
"17 degC lies half way from 20 at 6 m to 14 at 7 m, 4 mg/L half way from 6 at 8 m to 2 at 10 m."


def mapped(tmp_path, day, **files):
    "Folder of the pond's map, summary, with a profile of a day (None: without one)."
    told = {} if day is None else {"profile__csv": PROFILE.format(day=day)}
    lake, out = folder(tmp_path, lake__toml=SOUGHT, **told, **files), tmp_path / "out"
    assert run(["map", str(lake), "--out", str(out), "--quiet"]) == 0
    return out, json.loads((out / SUMMARY).read_text())


@pytest.fixture(scope="module")
def fresh(tmp_path_factory):
    "With a profile of the survey's first day."
    return mapped(tmp_path_factory.mktemp("pond"), "2025-06-01")


def test_the_band_as_share_and_outline_of_the_bottom(fresh):
    "The layer's area is that of the raster's pixels within the band, the share theirs among all the profile reaches."
    out, summary = fresh
    assert np.allclose(summary["water"]["bands_m"], [BAND], atol=0.01)
    with rasterio.open(out / DEPTH) as raster:
        depth, pixel_m2 = raster.read(1), abs(raster.transform.a * raster.transform.e)
    inside = (depth >= BAND[0]) & (depth <= BAND[1])
    assert 0.1 < inside[np.isfinite(depth)].mean() < 0.9
    assert summary["water"]["share"] == pytest.approx(inside.sum() / np.isfinite(depth).sum(), abs=0.01)
    layer = pyogrio.read_dataframe(out / LAKE, layer="water_suits")
    assert layer.geometry.area.sum() == pytest.approx(inside.sum() * pixel_m2, rel=0.02)
    assert set(layer["since"]) == {"2025-06-01"} and set(layer["until"]) == {"2025-06-22"}


def test_the_outline_goes_out_as_geojson(fresh, tmp_path):
    "As areas named water_suits, in degrees."
    file = tmp_path / "lake.geojson"
    assert run(["export", str(fresh[0]), "--geojson", str(file)]) == 0
    features = json.loads(file.read_text())["features"]
    assert any(one["properties"]["layer"] == "water_suits" for one in features)


def test_layers_by_the_density_gradient_and_oxygen_by_saturation(fresh):
    "The strongest gradient lies between 6 and 7 m; 9 mg/L at 22 degC is 103 % (Benson & Krause 1984: 8.74 mg/L)."
    water, said = fresh[1]["water"], " ".join(fresh[1]["messages"])
    assert 6.0 < water["thermocline_m"] < 7.5
    assert water["metalimnion_top_m"] < water["thermocline_m"] < water["metalimnion_bottom_m"]
    assert "to 103% of what water" in said and "no longer" not in said and "turns over" not in said


@pytest.mark.parametrize(("day", "expected"), [
    ("2025-05-01", "the newest log is of 2025-06-02, when the profile of 2025-05-01 no longer counted"),
    ("2025-09-05", "autumn is when layered water cools and turns over"),
    ("2025-08-20", "autumn is when layered water cools and turns over"),
])
def test_a_profile_ages(tmp_path, day, expected):
    "A month before the survey it had run out; in autumn the lake may be mixed any day."
    _, summary = mapped(tmp_path, day)
    assert any(expected in text for text in summary["messages"])
    assert any("counts until" in text or "counted until" in text for text in summary["messages"])


def test_by_a_profile_that_has_run_out_nothing_is_claimed_in_the_present(tmp_path):
    "A day too old: no part of a score, no sentence, no outline, no hatching; the day before it all is there."
    for name in ("kept", "old"):
        (tmp_path / name).mkdir()
    kept, told = mapped(tmp_path / "kept", "2025-05-12", marks__csv=MARKS)
    old, summary = mapped(tmp_path / "old", "2025-05-11", marks__csv=MARKS)
    assert told["water"]["counts"] and not summary["water"]["counts"]
    assert summary["water"]["bands_m"] == told["water"]["bands_m"] and summary["water"]["share"] is None
    said = " ".join(summary["messages"])
    assert "counted until 2025-06-01" in said and "water that suited" in said and "water that suits" not in said
    for out, claims in ((kept, True), (old, False)):
        assert ("water_suits" in pyogrio.list_layers(out / LAKE)[:, 0]) is claims
        rows = [one["properties"] for one in json.loads((out / "spots.geojson").read_text())["features"]]
        assert rows and all((row["score_fishable_water"] is not None) is claims for row in rows)
        assert any("lies in water that" in str(row["reasons"]) for row in rows) is claims
        assert ('"bands":[[' in (out / "map.html").read_text()) is claims


def test_without_a_profile_nothing_is_claimed_of_the_water(tmp_path):
    "Whatever was sought: no figures, no layer, no word, no part of a score."
    out, summary = mapped(tmp_path, None)
    assert summary["water"] is None
    assert "water_suits" not in pyogrio.list_layers(out / LAKE)[:, 0]
    assert not any("thermocline" in text or "oxygen" in text for text in summary["messages"])
    for row in json.loads((out / "spots.geojson").read_text())["features"]:
        assert row["properties"]["score_fishable_water"] is None
