"""Shorelines in four formats."""

from __future__ import annotations

import json

import geopandas
import pytest
import shapely
from log_lines import source_of
from pyproj import Geod
from shapely.geometry import LineString, Point, Polygon, mapping

from lakemap.errors import InputError
from lakemap.read.load import read_shore
from lakemap.read.settings import ReadSettings
from lakemap.read.shoreline import ShorelineReader
from lakemap.read.source import Source

ISLAND = [(-100.006, 46.004), (-100.004, 46.004), (-100.004, 46.006), (-100.006, 46.006)]
LAKE = Polygon([(-100.01, 46), (-100, 46), (-100, 46.01), (-100.01, 46.01)], [ISLAND])
PLAIN = ReadSettings()


def read(source):
    "The shoreline in a file."
    return ShorelineReader().read(source, PLAIN)


def geojson(*shapes, **members):
    "A FeatureCollection as text."
    features = [{"type": "Feature", "properties": {}, "geometry": mapping(shape)} for shape in shapes]
    return json.dumps({"type": "FeatureCollection", "features": features, **members})


@pytest.mark.parametrize("suffix", ["geojson", "gpkg", "shp", "fgb"])
@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:26914", "EPSG:3857"])
def test_all_formats_and_systems_give_the_same_water(tmp_path, suffix, crs):
    "The island is a hole; area within 1e-6 of the one computed on the ellipsoid."
    if suffix == "geojson" and crs != "EPSG:4326":
        pytest.skip("GeoJSON is always WGS 84")
    path = tmp_path / f"s.{suffix}"
    geopandas.GeoDataFrame({"a": [1]}, geometry=[LAKE], crs="EPSG:4326").to_crs(crs).to_file(path)
    source = Source.of(path)
    assert ShorelineReader().likelihood(source) > 0.9
    shore = read(source)
    assert not shore.water.contains(Point(-100.005, 46.005)) and shore.water.contains(Point(-100.002, 46.002))
    area = Geod(ellps="WGS84").geometry_area_perimeter
    assert abs(area(shapely.orient_polygons(shore.water))[0]) == pytest.approx(
        abs(area(shapely.orient_polygons(LAKE))[0]), rel=1e-6)


def test_several_polygons_are_joined_and_other_shapes_said(tmp_path):
    "Two halves make one lake; a line is left out."
    west, east = shapely.box(-100.02, 46, -100.01, 46.01), shapely.box(-100.01, 46, -100, 46.01)
    shore = read(source_of(tmp_path, geojson(west, east, LineString([(0, 0), (1, 1)])), "s.json"))
    assert shore.water.geom_type == "Polygon" and shore.water.area == pytest.approx(2e-4)
    assert any("1 shapes" in text for text in shore.messages)


def test_a_ring_that_crosses_itself_is_mended(tmp_path):
    "A figure of eight keeps both loops."
    shore = read(source_of(tmp_path, geojson(Polygon([(0, 0), (1, 1), (1, 0), (0, 1)])), "s.json"))
    assert shore.water.is_valid and shore.water.area == pytest.approx(0.5)


def test_the_old_crs_member_is_honoured(tmp_path):
    "As geographic systems wrote it before 2016."
    moved = geopandas.GeoSeries([LAKE], crs="EPSG:4326").to_crs("EPSG:26914").iloc[0]
    text = geojson(moved, crs={"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::26914"}})
    assert read(source_of(tmp_path, text, "s.json")).water.centroid.distance(LAKE.centroid) < 1e-6
    with pytest.raises(InputError, match="WGS 84"):
        read(source_of(tmp_path, geojson(moved), "s.json"))


BAD = {
    "a line only": geojson(LineString([(0, 0), (1, 1)])),
    "no features": '{"type": "FeatureCollection", "features": []}',
    "broken JSON": '{"type": "FeatureCollection", "features": [{"type": "Polygon"',
    "words for numbers": '{"type": "Polygon", "coordinates": [[["a", "b"], [1, 2], [2, 3]]]}',
    "two corners": '{"type": "Polygon", "coordinates": [[[0, 0], [1, 1]]]}',
    "numbers without end": '{"type": "Polygon", "coordinates": [[[0, 0], [1e999, 1], [1, 0], [0, 0]]]}',
    "a deep nest": '{"type": "Feature", "geometry": ' + "[" * 100000,
    "a strange crs": geojson(LAKE, crs={"type": "name", "properties": {"name": "moon"}}),
    "a crs without name": geojson(LAKE, crs=[1]),
}


@pytest.mark.parametrize("name", BAD)
def test_a_bad_shoreline_is_one_line(tmp_path, name):
    "It says what is wrong with which file."
    with pytest.raises(InputError, match=r"^s\.json: [^\n]*$"):
        read(source_of(tmp_path, BAD[name], "s.json"))


DAMAGED = {
    "GeoPackage": b"SQLite format 3\0" + b"\0" * 52 + b"GPKG", "Shapefile": b"\0\0\x27\x0a" + b"\1" * 200,
    "FlatGeobuf": b"fgb\x03fgb\0",
}


@pytest.mark.parametrize("magic", DAMAGED.values(), ids=DAMAGED)
def test_a_damaged_binary_file_is_one_line(tmp_path, magic):
    "The right first bytes and nothing behind them."
    with pytest.raises(InputError, match=r"^s\.bin: [^\n]*$") as caught:
        read(source_of(tmp_path, magic + bytes(range(256)), "s.bin"))
    assert str(tmp_path) not in str(caught.value)


def test_a_file_of_several_layers_needs_a_name(tmp_path):
    "The layer called shoreline is taken; without one the layers are named."
    for name in ("a", "b"):
        geopandas.GeoDataFrame(geometry=[LAKE], crs="EPSG:4326").to_file(tmp_path / "s.gpkg", layer=name)
    with pytest.raises(InputError, match=r"\(a, b\)"):
        read(Source.of(tmp_path / "s.gpkg"))
    geopandas.GeoDataFrame(geometry=[LAKE.buffer(1)], crs="EPSG:4326").to_file(tmp_path / "s.gpkg", layer="shoreline")
    assert read(Source.of(tmp_path / "s.gpkg")).water.area > 1


def test_a_file_without_crs_is_taken_as_degrees_only_when_it_can_be(tmp_path):
    "A Shapefile without .prj: degrees are said aloud, metres are refused."
    geopandas.GeoDataFrame({"a": [1]}, geometry=[LAKE]).to_file(tmp_path / "s.shp")
    assert any("says no CRS" in text for text in read(Source.of(tmp_path / "s.shp")).messages)
    geopandas.GeoDataFrame({"a": [1]}, geometry=[shapely.box(5e5, 5e6, 5e5 + 9, 5e6 + 9)]).to_file(tmp_path / "m.shp")
    with pytest.raises(InputError, match="no longitude and latitude"):
        read(Source.of(tmp_path / "m.shp"))


def test_shorelines_of_several_files_are_one(tmp_path):
    "And without a file there is none."
    west = source_of(tmp_path, geojson(shapely.box(-100.02, 46, -100.01, 46.01)), "w.json")
    east = source_of(tmp_path, geojson(shapely.box(-100.01, 46, -100, 46.01)), "e.json")
    shore = read_shore([west, east], PLAIN)
    assert shore.source == "e.json, w.json" and shore.water.area == pytest.approx(2e-4)
    assert read_shore([], PLAIN) is None


DAM = LineString([(-100.0, 46.0), (-100.0, 46.01)])


@pytest.mark.parametrize("suffix", ["geojson", "gpkg", "fgb"])
@pytest.mark.parametrize("mark", [DAM, DAM.buffer(0.0005)], ids=["line", "area"])
def test_stretches_marked_as_walls_are_no_water(tmp_path, suffix, mark):
    "A line or an area with bank = wall is kept beside the water, and adds nothing to it."
    path = tmp_path / f"s.{suffix}"
    rows = {"bank": [None, "Wall "], "name": ["lake", "dam"]}
    geopandas.GeoDataFrame(rows, geometry=[LAKE, mark], crs="EPSG:4326").to_file(path)
    shore = read(Source.of(path))
    assert shore.water.symmetric_difference(LAKE).area < 1e-12
    assert shore.walls.symmetric_difference(mark).area < 1e-12 and shore.walls.intersects(DAM)
    assert shore.messages == ()


def test_walls_in_a_layer_of_their_own(tmp_path):
    "A GeoPackage may hold them as lines beside the polygons, on another CRS."
    path = tmp_path / "s.gpkg"
    geopandas.GeoDataFrame({"a": [1]}, geometry=[LAKE], crs="EPSG:4326").to_file(path, layer="shoreline")
    walls = geopandas.GeoDataFrame({"Bank": ["wall", "earth"]}, geometry=[DAM, DAM], crs="EPSG:4326")
    walls.to_crs("EPSG:26914").to_file(path, layer="walls")
    shore = read(Source.of(path))
    assert shore.walls.hausdorff_distance(DAM) < 1e-6 and shore.walls.geom_type == "LineString"


def test_walls_in_a_file_of_their_own(tmp_path):
    "Two files make one shoreline; walls without any water are refused with the next step."
    wall = {"type": "Feature", "properties": {"bank": "wall"}, "geometry": mapping(DAM)}
    marks = source_of(tmp_path, json.dumps({"type": "FeatureCollection", "features": [wall]}), "walls.json")
    both = read_shore([marks, source_of(tmp_path, geojson(LAKE), "s.json")], PLAIN)
    assert both.water.area == pytest.approx(LAKE.area) and both.walls.equals(DAM)
    with pytest.raises(InputError, match="no polygon of water"):
        read_shore([marks], PLAIN)


@pytest.mark.parametrize("number", ["1e400", "-1e400", "NaN", "1e13"])
def test_a_hole_with_a_broken_corner_is_one_line(tmp_path, number):
    "The outline's bounds know nothing of what is in its holes."
    hole = f"[[0.1, 0.1], [0.2, 0.1], [{number}, 0.2], [0.1, 0.1]]"
    text = f'{{"type": "Polygon", "coordinates": [[[0, 0], [1, 0], [1, 1], [0, 0]], {hole}]}}'
    with pytest.raises(InputError, match="broken coordinates"):
        ShorelineReader().read(source_of(tmp_path, text, "s.json"), ReadSettings())


def test_a_hole_with_a_broken_corner_in_a_database_is_one_line(tmp_path):
    "The library hands such numbers on."
    ring = [(0, 0), (1, 0), (1, 1), (0, 0)]
    shape = Polygon(ring, [[(0.5, 0.1), (0.6, 0.1), (0.6, float("inf")), (0.5, 0.1)]])
    geopandas.GeoDataFrame(geometry=[shape], crs="EPSG:4326").to_file(tmp_path / "s.gpkg")
    with pytest.raises(InputError, match="broken coordinates"):
        ShorelineReader().read(Source.of(tmp_path / "s.gpkg"), ReadSettings())
