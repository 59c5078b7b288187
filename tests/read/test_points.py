"""Points in GeoJSON, GeoPackage, Shapefile and FlatGeobuf as logs and as marks."""

from __future__ import annotations

import json
import zipfile

import geopandas
import numpy as np
import pytest
import shapely
from log_lines import source_of

from lakemap.errors import AmbiguousFile, InputError
from lakemap.model.flags import Flag
from lakemap.read.find import sort_files
from lakemap.read.load import read_logs, read_marks
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source

PLAIN = ReadSettings()
LON, LAT = [13.0, 13.001, 13.002], [46.0, 46.001, 46.002]
SUFFIXES = (".geojson", ".gpkg", ".shp", ".fgb")


def frame(crs="EPSG:4326", points=None, **fields):
    "Three points with these properties."
    shapes = points if points is not None else shapely.points(LON, LAT)
    return geopandas.GeoDataFrame(fields, geometry=shapes, crs="EPSG:4326").to_crs(crs)


def written(folder, suffix, made, name="p"):
    "The file of these features, for one driver."
    path = folder / f"{name}{suffix}"
    made.to_file(path, engine="pyogrio")
    return path


@pytest.mark.parametrize("suffix", SUFFIXES)
@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:32633"])
def test_points_with_a_depth_are_a_log(tmp_path, suffix, crs):
    "Whatever the driver and the CRS; a missing depth stays as a row."
    made = frame(crs, depth_m=[4.5, None, 6.5], time=["2025-06-01T10:00:00Z"] * 3)
    path = written(tmp_path, suffix, made)
    files = sort_files([path])
    assert [len(files.of(role)) for role in ("log", "marks", "shore")] == [1, 0, 0]
    rows = read_logs(files.logs, PLAIN)
    kept = rows.take(np.argsort(rows.lon_deg))
    assert kept.lon_deg == pytest.approx(LON, abs=1e-7) and kept.lat_deg == pytest.approx(LAT, abs=1e-7)
    np.testing.assert_array_equal(kept.logged_depth_m, [4.5, np.nan, 6.5])
    assert kept.has(Flag.no_depth).tolist() == [False, True, False] and sorted(rows.row) == [1, 2, 3]
    assert rows.logs[0].reader == "points with depths" and rows.logs[0].sha256 == files.logs[0].sha256
    assert (rows.time_utc == np.datetime64("2025-06-01T10:00:00")).all()


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_points_with_a_kind_are_marks(tmp_path, suffix):
    "Kinds by the same words as in a table."
    path = written(tmp_path, suffix, frame(kind=["stump", "Boulder", ""], note=["", "by the dock", "odd"]))
    files = sort_files([path])
    assert [len(files.of(role)) for role in ("log", "marks", "shore")] == [0, 1, 0]
    marks = read_marks(files.marks, PLAIN)
    assert sorted(marks.kind) == ["place", "rock", "stump"] and "by the dock" in marks.note


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_polygons_are_a_shoreline_and_no_points(tmp_path, suffix):
    "The same formats, another role."
    path = written(tmp_path, suffix, frame(points=[shapely.box(13, 46, 13.1, 46.1)], name=["Lake"]))
    files = sort_files([path])
    assert [len(files.of(role)) for role in ("log", "marks", "shore")] == [0, 0, 1]


def test_depth_and_kind_ask_which(tmp_path):
    "Or take both, when told both."
    path = written(tmp_path, ".gpkg", frame(depth_m=[1.0, 2, 3], kind=["stump", "rock", "weed"]))
    with pytest.raises(AmbiguousFile, match=r"--log p\.gpkg or --marks p\.gpkg"):
        sort_files([path])
    files = sort_files([path], {path: ("log", "marks")})
    assert len(read_logs(files.logs, PLAIN)) == len(read_marks(files.marks, PLAIN).kind) == 3


def test_a_third_coordinate_is_a_depth_when_nothing_else_is(tmp_path):
    "Its unit is asked for, its sign found; the message speaks of points, not of lines."
    path = written(tmp_path, ".gpkg", frame(points=shapely.points(LON, LAT, [-4.0, -5.0, -6.0]), beam=[1, 2, 3]))
    files = sort_files([path], {path: "log"})
    with pytest.raises(InputError, match=r"p\.gpkg.*'z'.*--depth-unit"):
        read_logs(files.logs, PLAIN)
    rows = read_logs(files.logs, ReadSettings(depth_unit="m"))
    assert rows.logged_depth_m.tolist() == [4.0, 5.0, 6.0]
    path = written(tmp_path, ".geojson", frame(depth_m=[4.0, -5.0, 6.0]))
    rows = read_logs(sort_files([path]).logs, PLAIN)
    assert any("point 2" in text for text in rows.messages)


def test_several_points_in_one_feature_are_as_many_rows(tmp_path):
    "Each with the feature's properties and number."
    shapes = [shapely.MultiPoint([(13, 46), (13.1, 46)]), shapely.MultiPoint([(13.2, 46)])]
    rows = read_logs(sort_files([written(tmp_path, ".geojson", frame(points=shapes, depth_m=[4.0, 5.0]))]).logs, PLAIN)
    assert rows.logged_depth_m.tolist() == [4, 4, 5] and rows.row.tolist() == [1, 1, 2]


def test_of_several_layers_the_one_with_depths_is_taken(tmp_path):
    "Two with depths are refused by name."
    path = tmp_path / "p.gpkg"
    frame(name=["a", "b", "c"]).to_file(path, layer="docks")
    frame(depth_m=[1.0, 2, 3]).to_file(path, layer="one", mode="a")
    assert len(read_logs(sort_files([path], {path: "log"}).logs, PLAIN)) == 3
    frame(depth_m=[1.0, 2, 3]).to_file(path, layer="two", mode="a")
    with pytest.raises(InputError, match="one, two"):
        read_logs(sort_files([path], {path: "log"}).logs, PLAIN)


def test_a_shapefile_in_a_zip_keeps_its_parts(tmp_path):
    "Fields come out of the .dbf, the CRS out of the .prj, in the archive as beside a file."
    (tmp_path / "parts").mkdir()
    written(tmp_path / "parts", ".shp", frame("EPSG:32633", depth_m=[4.0, 5.0, 6.0]))
    with zipfile.ZipFile(tmp_path / "p.zip", "w") as archive:
        for part in sorted((tmp_path / "parts").iterdir()):
            archive.write(part, f"deep/{part.name}")
    files = sort_files([tmp_path / "p.zip"])
    assert [source.name for source in files.logs] == ["p.zip/deep/p.shp"] and files.messages == ()
    rows = read_logs(files.logs, PLAIN)
    assert rows.logged_depth_m.tolist() == [4, 5, 6] and rows.lon_deg == pytest.approx(LON, abs=1e-7)


def test_a_file_without_crs_must_be_degrees(tmp_path):
    "Metres without a CRS are refused."
    rows = [{"type": "Feature", "properties": {"depth_m": 3}, "geometry": {"type": "Point", "coordinates": [5e5, 5e6]}}]
    path = tmp_path / "p.shp"
    geopandas.GeoDataFrame({"depth_m": [3.0]}, geometry=shapely.points([5e5], [5e6])).to_file(path)
    with pytest.raises(InputError, match=r"p\.shp: says no CRS"):
        read_logs(sort_files([path]).logs, PLAIN)
    text = json.dumps({"type": "FeatureCollection", "features": rows})
    with pytest.raises(InputError, match=r"none of 1 rows has a position"):
        read_logs([source_of(tmp_path, text, "p.geojson")], PLAIN)


def test_formulas_and_line_ends_in_properties_do_no_harm(tmp_path):
    "A property with a line end, quotes and a delimiter is one cell."
    path = written(tmp_path, ".geojson", frame(depth_m=[1.0, 2.0, 3.0], extra=['a\n"b",', "=1+1", "c;d\te"]))
    assert read_logs([Source.of(path)], PLAIN).logged_depth_m.tolist() == [1, 2, 3]
