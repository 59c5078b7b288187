"""From files to the page in Chromium and back: what a tap reads is the raster on disk, what a note says is in the next
map."""

import importlib.util
import json
import re
import sys
from pathlib import Path

import numpy as np
import pytest
import rasterio
import rasterio.warp
from drawn_lake import full_lake
from pond import folder as pond

from lakemap.cli.main import run
from lakemap.publish.publish import publish

_spec = importlib.util.spec_from_file_location("browser_tests", Path(__file__).with_name("test_in_browser.py"))
shared = importlib.util.module_from_spec(_spec)
sys.modules["browser_tests"] = shared
_spec.loader.exec_module(shared)
opened, chromium, size = shared.opened, shared.chromium, shared.size

pytestmark = pytest.mark.browser

COARSEST = {"depth": 0.05, "depth_sigma": 0.05, "hardness": 0.01, "hardness_sigma": 0.01, "slope": 0.5}
"A step in the page is at most so coarse: metres, parts of 1, degrees."
MARKS = "time,lat,lon,kind\n2025-06-01T10:05:00Z,46.8009,-100.2980,stump\n"
WORDS = 'leans, "=big" <b>&'


def test_a_tap_reads_what_the_geotiffs_on_disk_hold(chromium, tmp_path, size):
    "Anywhere within pixels of the published rasters, placed by PROJ and read by GDAL; to half of the page's quantum."
    publish(full_lake(), tmp_path)
    rng = np.random.default_rng(5)
    with rasterio.open(tmp_path / "depth.tif") as depth:
        rows, columns = np.nonzero(np.isfinite(depth.read(1)))
        picked = rng.choice(len(rows), 400, replace=False)
        # not nearer to a pixel's edge than the page's placing is exact
        at = depth.transform @ (columns[picked] + rng.uniform(0.1, 0.9, 400), rows[picked] + rng.uniform(0.1, 0.9, 400))
        lon, lat = rasterio.warp.transform(depth.crs, "EPSG:4326", *at)
    with opened(chromium, tmp_path / "map.html", size) as page:
        page.wait_for_selector("body[data-ready=yes]")
        read = page.evaluate("places => places.map(([lon, lat]) => lakePage.readout.read(L.latLng(lat, lon)))",
                             np.column_stack([lon, lat]).tolist())
        steps = page.evaluate("JSON.parse(document.getElementById('lake-data').textContent).grid.layers")
    names = {"depth": "depth", "sigma": "depth_sigma", "hardness": "hardness", "hardnessSigma": "hardness_sigma",
             "slope": "slope"}
    for name, file in names.items():
        with rasterio.open(tmp_path / f"{file}.tif") as raster:
            told = np.array([value[0] for value in raster.sample(zip(*at, strict=True))])
        page_says = np.array([one[name] for one in read], float)
        assert np.array_equal(np.isfinite(told), np.isfinite(page_says)), file
        assert steps[file]["quantum"] <= COARSEST[file]
        assert np.nanmax(np.abs(told - page_says)) <= steps[file]["quantum"] / 2 + 1e-6, file


def spots_of(folder):
    "What the map tells of each spot."
    return [one["properties"] for one in json.loads((folder / "spots.geojson").read_text())["features"]]


def test_a_note_on_the_page_is_in_the_next_map(chromium, tmp_path, size):
    "Written on a spot and on a tapped place, saved, added, mapped: the spot keeps its name and tells the words."
    lake, out = pond(tmp_path, marks__csv=MARKS), tmp_path / "out"
    assert run(["map", str(lake), "--out", str(out), "--quiet"]) == 0
    with opened(chromium, out / "map.html", size) as page:
        shared.open_list(page)
        page.locator(".spot-row").first.click()
        page.click("#card-note")
        page.fill("#note-text", WORDS)
        page.click("#note-form button[type=submit]")
        with page.expect_download() as waiting:
            page.click("#notes-export")
        waiting.value.save_as(tmp_path / "own-notes.csv")
    assert run(["add", str(lake), str(tmp_path / "own-notes.csv")]) == 0
    again = tmp_path / "again"
    assert run(["map", str(lake), "--out", str(again), "--quiet"]) == 0
    (before,), (after,) = spots_of(out), spots_of(again)
    assert after["name"] == before["name"] and after["probability"] == before["probability"]
    day = re.search(r"(\d{4}-\d\d-\d\d)T", (tmp_path / "own-notes.csv").read_text()).group(1)
    assert after["reasons"] == before["reasons"].replace(" Flat", f" Noted {day}: {WORDS}. Flat")
    with opened(chromium, again / "map.html", size) as page:
        shared.open_list(page)
        page.locator(".spot-row").first.click()
        assert f"Noted {day}: {WORDS}" in page.inner_text("#card")
