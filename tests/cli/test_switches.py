"""Each name in ``clean.off`` is really off: the lake is then the one whose owner never knew that fact, file to file."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from pond import LAT, LON, M_PER_DEG, RISE_M, survey

from lakemap.clean.settings import CORRECTIONS
from lakemap.cli.main import run
from lakemap.grid import slope_in_beam
from lakemap.pipeline import check_lake
from lakemap.project import Lake

BOAT = """clock_offset_s = 1800
[[sounder]]
draft_m = 0.4
drafts = [{ from = 2025-06-02T10:03:00Z, until = 2025-06-02T10:06:00Z, draft_m = 0.6 }]
nominal_sound_speed_mps = 1500
latency_s = 0.4
forward_m = -1.5
beam_deg = 25
"""
PLACE = f"{LAT + 100 / M_PER_DEG:.7f},{LON + 150 / M_PER_DEG / 0.6845:.7f}"
FILES = {
    "boat.toml": BOAT,
    "gauge.csv": f"time,level_m\n2025-05-31T12:00Z,0\n2025-06-01T08:00Z,0\n2025-06-02T12:00Z,{RISE_M}\n",
    "checks.csv": f"lat,lon,check_depth_m,sigma_m,time\n{PLACE},9.5,0.02,2025-06-01T10:00Z\n",
    "edits.csv": "what,from,until,why\nbad,2025-06-01T09:31Z,2025-06-01T09:32Z,prop wash\n",
}
FACTS = {
    "clock": ("boat.toml", r"clock_offset_s.*\n"), "edits": ("edits.csv", r"(?s).*"),
    "draft": ("boat.toml", r"drafts? ?_?m? = .*\n|draft_m = 0.4\n"),
    "sound speed": ("boat.toml", r"nominal.*\n"), "lake level": ("gauge.csv", r"(?s).*"),
    "lever arm": ("boat.toml", r"forward_m.*\n"), "latency": ("boat.toml", r"latency_s.*\n"),
    "check depths": ("checks.csv", r"(?s).*"), "slope within the beam": ("boat.toml", r"beam_deg.*\n"),
}
COLUMNS = ("time_s", "x_m", "y_m", "depth_m", "position_sigma_m", "depth_sigma_m", "depth_shared_m", "level_m", "flags",
           "pass_id")


def bank_m(u, v):
    "A bank of 16 degrees across the pond, 4 to 18 m: steeper than half the beam."
    return 4.0 + 14.0 / (1.0 + np.exp(-25.0 * (u - 0.5))) + 0.0 * v


def pond(place, off=(), without=None, settings=""):
    "The lake's folder with ``off`` in its lake.toml, or never told the fact of the correction ``without``."
    place.mkdir()
    files = dict(FILES)
    if without is not None:
        name, fact = FACTS[without]
        files[name] = re.sub(fact, "", files[name])
    grid = '[grid]\nmethod = "linear"\npixel_m = 10.0\n'
    files["lake.toml"] = f"[clean]\noff = {json.dumps(list(off))}\n{settings}{grid}"
    for name, text in (survey(floor=bank_m) | files).items():
        if text:
            (place / name).write_text(text)
    return place


def checked(place, **how):
    "The readings of such a lake."
    return check_lake(Lake.from_files([pond(place, **how)])).soundings


def same(one, other):
    "Every column, the common error and the list of corrections, to the last bit."
    for name in COLUMNS:
        assert_array_equal(getattr(one, name), getattr(other, name), err_msg=name)
    assert (one.common_offset_m, one.common_scale) == (other.common_offset_m, other.common_scale)
    assert (one.budget, one.datum) == (other.budget, other.datum)
    assert [part.name for part in one.corrections] == [part.name for part in other.corrections]


@pytest.fixture(scope="module")
def everything(tmp_path_factory):
    "The readings with all that is known applied."
    return checked(tmp_path_factory.mktemp("all") / "pond")


def test_there_is_a_fact_behind_every_switch(everything):
    "All are listed in the order they are applied, but for edits, which are flags, and the surface's own."
    assert set(FACTS) == set(CORRECTIONS) and slope_in_beam.NAME in CORRECTIONS
    names = [one.name for one in everything.corrections]
    assert names == [name for name in CORRECTIONS if name not in ("edits", slope_in_beam.NAME)]


@pytest.mark.parametrize("name", CORRECTIONS)
def test_switched_off_is_as_if_it_had_never_been_known(name, everything, tmp_path):
    "In lake.toml; a latency that was never given would be looked for, so there the search is off as well."
    off = checked(tmp_path / "off", off=[name])
    never = checked(tmp_path / "never", without=name, off=["latency"] if name == "latency" else ())
    same(off, never)
    assert name not in [one.name for one in off.corrections]
    assert any((getattr(off, column) != getattr(everything, column)).any() for column in ("flags", *COLUMNS[1:7])), name


def test_all_off_leaves_readings_as_they_were_logged(tmp_path):
    "Depths, places and times of the files, and nothing in the list."
    bare = checked(tmp_path / "bare", off=CORRECTIONS)
    assert bare.corrections == ()
    assert_array_equal(bare.depth_m, bare.logged_depth_m)
    plain = checked(tmp_path / "plain", off=CORRECTIONS, without="lever arm")
    assert_array_equal(bare.x_m, plain.x_m)
    assert np.isnan(bare.level_m).all()


@pytest.mark.parametrize(("name", "setting"), [
    ("draft", "draft_m = 0.7\n"), ("sound speed", "nominal_sound_speed_mps = 1480.0\n"),
])
def test_a_fact_given_as_a_setting_is_off_too(name, setting, tmp_path):
    "clean.draft_m and clean.nominal_sound_speed_mps count before the boat's file and are switched off with it."
    same(checked(tmp_path / "off", off=[name], settings=setting), checked(tmp_path / "never", off=[name], without=name))


def test_slopes_within_the_beam_are_put_right_on_the_whole_map_or_not_at_all(tmp_path):
    "Listed once in summary.json and the report with it on; off, the map is that of a beam that nobody knows."
    import rasterio

    told, floors = {}, {}
    for name, how in (("on", {}), ("off", {"off": ["slope within the beam"]}),
                      ("never", {"without": "slope within the beam"})):
        out = tmp_path / f"{name} map"
        assert run(["map", str(pond(tmp_path / name, **how)), "--out", str(out), "--quiet"]) == 0
        told[name] = json.loads((out / "summary.json").read_text())
        with rasterio.open(out / "depth.tif") as source:
            floors[name] = source.read(1)
    listed = {name: [one["name"] for one in summary["corrections"]] for name, summary in told.items()}
    assert listed["on"].count("slope within the beam") == 1 and "slope within the beam" not in listed["off"]
    assert "slope within the beam" in (tmp_path / "on map" / "report.html").read_text()
    assert "Switched off by the owner: slope within the beam" in (tmp_path / "off map" / "report.html").read_text()
    assert_array_equal(floors["off"], floors["never"])
    deeper = (floors["on"] - floors["off"])[np.isfinite(floors["off"])]
    assert deeper.max() > 0.01 and deeper.min() > -0.01
