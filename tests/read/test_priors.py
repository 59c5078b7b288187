"""Old maps come in as contours, points or rasters, with what they say of unit and sense."""

from __future__ import annotations

import json

import geopandas
import numpy as np
import pytest
import rasterio
import shapely
from rasterio.transform import from_origin

from lakemap.errors import InputError
from lakemap.read.find import find_readers, sort_files
from lakemap.read.prior_lines import PriorLinesReader
from lakemap.read.prior_raster import PriorRasterReader
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source

SETTINGS = ReadSettings()


def contours(path, name="depth_ft", values=(10, 20)):
    "Two contours of some 800 m, one north of the other."
    features = [
        {"type": "Feature", "properties": {name: value},
         "geometry": {"type": "LineString", "coordinates": [[15.0, 45.0 + 0.01 * k], [15.01, 45.0 + 0.01 * k]]}}
        for k, value in enumerate(values)
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return Source.of(path)


def raster(path, values, crs="EPSG:32633", units="m", **tags):
    with rasterio.open(path, "w", driver="GTiff", width=values.shape[1], height=values.shape[0], count=1,
                       dtype="float32", crs=crs, transform=from_origin(500_000, 5_000_000, 10, 10),
                       nodata=np.nan) as out:
        out.write(values.astype(np.float32), 1)
        out.update_tags(**({"UNITS": units} if units else {}), **tags)
    return Source.of(path)


def test_contours_are_taken_along_their_lines_in_metres(tmp_path):
    "10 and 20 ft at places some 10 m apart."
    told = PriorLinesReader().read(contours(tmp_path / "old.geojson"), SETTINGS)
    assert len(told) > 150 and set(np.round(told.depth_m, 4)) == {3.048, 6.096}
    assert told.lat_deg[told.depth_m > 5].min() == pytest.approx(45.01)


def test_heights_count_the_other_way(tmp_path):
    "A field of heights becomes depths that fall with them."
    told = PriorLinesReader().read(contours(tmp_path / "old.geojson", "height_m", (200, 210)), SETTINGS)
    assert set(told.depth_m) == {-200.0, -210.0}


def test_the_same_lines_in_other_files_and_frames(tmp_path):
    "A GeoPackage on UTM tells the same places."
    lines = [shapely.LineString([(15.0, 45.0), (15.01, 45.0)]), shapely.LineString([(15.0, 45.01), (15.01, 45.01)])]
    frame = geopandas.GeoDataFrame({"contour_m": [3.0, 6.0]}, geometry=lines, crs="EPSG:4326").to_crs("EPSG:32633")
    frame.to_file(tmp_path / "old.gpkg", driver="GPKG")
    told = PriorLinesReader().read(Source.of(tmp_path / "old.gpkg"), SETTINGS)
    assert told.lat_deg.min() == pytest.approx(45.0, abs=1e-5) and told.lon_deg.max() == pytest.approx(15.01, abs=1e-6)


@pytest.mark.parametrize(("name", "values", "words"), [
    ("depth", (1, 2), "does not say its unit"), ("depth_m", ("deep", None), "no line with a number"),
])
def test_contours_that_cannot_be_used_are_one_line(tmp_path, name, values, words):
    "What lacks, and what to do."
    with pytest.raises(InputError, match=words):
        PriorLinesReader().read(contours(tmp_path / "old.geojson", name, values), SETTINGS)


def test_contours_without_depths_are_one_line(tmp_path):
    "Lines alone hold nothing up."
    with pytest.raises(InputError, match="contours without depths"):
        PriorLinesReader().read(contours(tmp_path / "old.geojson", "label", ("a", "b")), SETTINGS)


def test_a_raster_says_its_sense_or_leaves_it_open(tmp_path):
    "POSITIVE=down: depths; a height: turned; nothing: open."
    values = np.arange(12.0).reshape(3, 4)
    down = PriorRasterReader().read(raster(tmp_path / "a.tif", values, POSITIVE="down"), SETTINGS)
    assert down.sense_known and sorted(down.depth_m) == list(np.arange(12.0))
    up = PriorRasterReader().read(raster(tmp_path / "b.tif", values, POSITIVE="up"), SETTINGS)
    assert up.sense_known and sorted(up.depth_m) == list(-np.arange(12.0)[::-1])
    assert not PriorRasterReader().read(raster(tmp_path / "c.tif", values), SETTINGS).sense_known


def test_a_large_raster_is_averaged_and_nodata_left_out(tmp_path):
    "A million pixels become 20 000 places at most, at the middles of what they average."
    values = np.full((1000, 1000), 5.0)
    values[:, 500:] = np.nan
    told = PriorRasterReader().read(raster(tmp_path / "a.tif", values), SETTINGS)
    assert len(told) <= 10_100 and np.allclose(told.depth_m, 5.0)


@pytest.mark.parametrize(("more", "words"), [({"crs": None}, "without a place"), ({"units": ""}, "--depth-unit")])
def test_a_raster_without_place_or_unit_is_one_line(tmp_path, more, words):
    "Neither is guessed."
    with pytest.raises(InputError, match=words):
        PriorRasterReader().read(raster(tmp_path / "a.tif", np.ones((3, 3)), **more), SETTINGS)


def test_a_broken_or_foreign_raster_is_one_line(tmp_path):
    "Cut off after its head, or another format under its name."
    whole = raster(tmp_path / "a.tif", np.random.default_rng(0).random((300, 300))).data()
    for number, data in enumerate((whole[:200], b"II*\0" + b"\xff" * 100)):
        path = tmp_path / f"broken{number}.tif"
        path.write_bytes(data)
        with pytest.raises(InputError, match=r"cannot be read|cut it|no cell"):
            PriorRasterReader().read(Source.of(path), SETTINGS)


def test_old_maps_are_found_by_content(tmp_path):
    "Lines with depths and rasters sort themselves; both readers are offered."
    contours(tmp_path / "old.geojson")
    raster(tmp_path / "land.tif", np.ones((3, 3)))
    files = sort_files([tmp_path])
    assert [source.name for source in files.of("prior")] == ["land.tif", "old.geojson"]
    assert sum(reader.role == "prior" for reader in find_readers()) == 2
