"""Real soundings without times: what can be corrected is, the rest is said."""

from __future__ import annotations

import lzma
import os
from pathlib import Path

import numpy as np
import pytest
from corrected_lake import gauge
from numpy.testing import assert_allclose

from lakemap.clean import CleanSettings, clean
from lakemap.geo.crs import on_crs, working_crs
from lakemap.model.lake_facts import LakeFacts
from lakemap.read import read_logs
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source

FOLDER = os.environ.get("LAKEMAP_REAL_DATA")
real = pytest.mark.skipif(not FOLDER, reason="LAKEMAP_REAL_DATA names no folder of real readings")


def placed(path, **settings):
    "Soundings of one table on their working CRS."
    soundings = read_logs([Source.of(path)], ReadSettings(**settings))
    return on_crs(soundings, working_crs(soundings))


@real
def test_a_small_lake_without_times():
    "Draft and sound speed are put right row by row; a gauge cannot be used without times, and that is said."
    soundings = placed(Path(FOLDER) / "small_lake_yxz.csv", columns="lat=y,lon=x,depth=z", depth_unit="m",
                       depth_from="transducer")
    known = CleanSettings(draft_m=0.3, water_c=10.0, nominal_sound_speed_mps=1500.0)
    cleaned = clean(soundings, known, LakeFacts(levels=(gauge(),)))
    assert_allclose(cleaned.depth_m, 0.3 + soundings.logged_depth_m * 1447.2890 / 1500.0, rtol=1e-6)
    assert [one.name for one in cleaned.corrections][:2] == ["draft", "sound speed"]
    assert "lake level" not in [one.name for one in cleaned.corrections]
    assert any("no date, so no lake level" in text for text in cleaned.messages)
    assert any("without times latency" in text for text in cleaned.messages)


@real
def test_ship_tracks_without_times(tmp_path):
    "82,970 rows of salt water: sound speed by the word salt, no draft known, and the sea's levels refused elsewhere."
    text = lzma.decompress((Path(FOLDER) / "ship_tracks.csv.xz").read_bytes())
    (tmp_path / "ship_tracks.csv").write_bytes(text)
    soundings = placed(tmp_path / "ship_tracks.csv", columns="depth=bathymetry_m", depth_unit="m")
    cleaned = clean(soundings, CleanSettings(water="salt", water_c=15.0, nominal_sound_speed_mps=1500.0))
    used = cleaned.usable()
    assert used.mean() > 0.9 and [one.name for one in cleaned.corrections] == ["sound speed"]
    share = cleaned.depth_m[used] / cleaned.logged_depth_m[used]
    assert_allclose(share, share[0], rtol=1e-9)
    assert 1.0 < share[0] < 1.01 and cleaned.common_offset_m == 0.3
    assert np.isfinite(cleaned.depth_sigma_m[used]).all()
