"""KML, KMZ, tracks and waypoints within limits: whole by their schemas, opened by readers that are not ours."""

from __future__ import annotations

import dataclasses
import io
import itertools
import json
import zipfile
from xml.etree import ElementTree

import numpy as np
import pyogrio
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS
from schemas import schema
from worlds import SMALL_CENTRE, SMALL_CRS, small_lake_map, small_spots

from lakemap.cli.main import run
from lakemap.geo.crs import project, unproject
from lakemap.model.drawn import Drawn
from lakemap.model.hits import Hits
from lakemap.model.keep_out import ClosedAreas, Hazards
from lakemap.model.outputs import CAUTION
from lakemap.model.spots import Spots
from lakemap.model.terrain import Contours, Features
from lakemap.publish import publish
from lakemap.publish.degrees import in_degrees
from lakemap.publish.geojson import lake_geojson
from lakemap.publish.gpx_lines import contours_gpx, pieces, ways_gpx
from lakemap.publish.kml import DOCUMENT, kmz, lake_kml
from lakemap.publish.plotter_names import Plotter, for_plotter, plain

HOSTILE = ("<script>alert(1)</script>", "סלע & שן", "]]>", "صخرة \u202e", "&amp;", "石\u0000")


@pytest.fixture(scope="module")
def kml_schema():
    "OGC KML 2.2."
    return schema("kml_2_2", "ogckml22.xsd")


@pytest.fixture(scope="module")
def gpx_schema():
    "GPX 1.1."
    return schema("gpx_1_1", "gpx.xsd")


def warned():
    "The small lake with dangers and closed areas that carry hostile names."
    x, y = SMALL_CENTRE
    lon, lat = unproject(SMALL_CRS, [x, x + 20.0], [y, y + 10.0])
    spots = tuple(shapely.Point(lon[0], lat[0]) for _ in HOSTILE)
    reeds = shapely.box(lon[0], lat[0], lon[1], lat[1])
    return dataclasses.replace(
        small_lake_map(), hazards=Hazards(spots, (15.0,) * len(HOSTILE), HOSTILE),
        closed=ClosedAreas((reeds, reeds), ("04-01", ""), ("05-31", ""), HOSTILE[:2]))


def bare():
    "A lake with no spot, hit, contour, feature, shore, hardness."
    whole = small_lake_map()
    terrain = dataclasses.replace(whole.terrain, features=Features(), contours=Contours(np.empty(0), (), 1.0))
    return dataclasses.replace(whole, spots=Spots.empty(), hits=Hits.empty(), shore=None, terrain=terrain,
                               hardness=None, bottom=None)


@pytest.fixture(scope="module")
def folders(tmp_path_factory):
    "Both lakes, published."
    made = {}
    for name, lake_map in (("warned", warned()), ("bare", bare())):
        made[name] = tmp_path_factory.mktemp(name)
        publish(lake_map, made[name])
    return made


def test_kmz_holds_what_the_map_warns_of_and_opens_elsewhere(folders, kml_schema, tmp_path):
    "One doc.kml, valid by its schema; GDAL finds each folder with as many placemarks as the map has."
    target = tmp_path / "lake.kmz"
    assert run(["export", str(folders["warned"]), "--kmz", str(target), "--quiet"]) == 0
    with zipfile.ZipFile(target) as archive:
        assert archive.namelist() == [DOCUMENT] and archive.testzip() is None
        document = archive.read(DOCUMENT)
    kml_schema.validate(io.BytesIO(document))
    counts = {str(name): pyogrio.read_info(target, layer=name)["features"]
              for name in pyogrio.list_layers(target)[:, 0]}
    assert counts == {"Spots": 2, "Dangers": len(HOSTILE), "Closed areas": 2, "Contours": 3,
                      "Features": len(small_lake_map().terrain.features)}
    names = pyogrio.read_dataframe(target, layer="Dangers")["Name"].tolist()
    assert names == [name.replace("\0", "\ufffd") for name in HOSTILE]
    closed = pyogrio.read_dataframe(target, layer="Closed areas")
    assert closed["description"].tolist() == ["closed 04-01 to 05-31", "closed always"]
    again = tmp_path / "lake2.kmz"
    assert run(["export", str(folders["warned"]), "--kmz", str(again), "--quiet"]) == 0
    assert again.read_bytes() == kmz(document.replace(b"<name>lake</name>", b"<name>lake2</name>", 1))


def test_tracks_are_split_and_lie_on_the_contours(folders, gpx_schema, tmp_path):
    "No track of more points than asked; put together they are the contours, depth in the name and an extension."
    target = tmp_path / "contours.gpx"
    assert run(["export", str(folders["warned"]), "--gpx-contours", str(target), "--most-points", "7", "--quiet"]) == 0
    gpx_schema.validate(str(target))
    tracks = pyogrio.read_dataframe(target, layer="tracks")
    assert all(len(shapely.get_coordinates(shape)) <= 7 for shape in tracks.geometry)
    assert tracks["name"].is_unique and tracks["name"][0] == "2 m 001"
    lines = small_lake_map().terrain.contours.lines
    x, y = project(SMALL_CRS, *shapely.get_coordinates(list(tracks.geometry)).T)
    there = shapely.union_all(list(lines))
    assert shapely.distance(there, shapely.points(x, y)).max() < 0.05
    length = sum(shapely.transform(shape, lambda at: np.column_stack(project(SMALL_CRS, at[:, 0], at[:, 1]))).length
                 for shape in tracks.geometry)
    assert length == pytest.approx(sum(line.length for line in lines), rel=1e-3)
    depths = [float(one.text) for one in ElementTree.parse(target).iter("{urn:lakemap:waypoint:1}depth_m")]
    assert sorted(set(depths)) == [2.0, 4.0, 6.0]


def test_passes_as_tracks(folders, gpx_schema, tmp_path):
    "A track a pass, its log in the comment as text."
    target = tmp_path / "passes.gpx"
    assert run(["export", str(folders["bare"]), "--gpx-passes", str(target), "--quiet"]) == 0
    gpx_schema.validate(str(target))
    tracks = pyogrio.read_dataframe(target, layer="tracks")
    assert len(tracks) == 6 and "screen <b>.csv" in " ".join(tracks["cmt"])


def test_a_bare_lake_exports_what_it_has_and_says_what_it_has_not(folders, kml_schema, gpx_schema, tmp_path, capsys):
    "No spot: an empty file that is still valid; no contour: one line, status 1, nothing written."
    assert run(["export", str(folders["bare"]), "--kmz", str(tmp_path / "b.kml"),
                "--gpx-spots", str(tmp_path / "b.gpx"), "--mbtiles", str(tmp_path / "b.mbtiles")]) == 0
    assert (tmp_path / "b.mbtiles").stat().st_size > 0
    kml_schema.validate(str(tmp_path / "b.kml"))
    gpx_schema.validate(str(tmp_path / "b.gpx"))
    capsys.readouterr()
    assert run(["export", str(folders["bare"]), "--gpx-contours", str(tmp_path / "c.gpx")]) == 1
    said = capsys.readouterr().err
    assert "has no contours" in said and said.count("\n") == 1 and not (tmp_path / "c.gpx").exists()
    assert run(["export", str(folders["bare"]), "--kmz", str(tmp_path / "c.zip")]) == 2
    assert ".kmz or .kml" in capsys.readouterr().err


def test_waypoints_keep_to_a_plotters_limits(folders, gpx_schema, tmp_path):
    "Only so many, names so long and each once, letters plain."
    target = tmp_path / "w.gpx"
    assert run(["export", str(folders["warned"]), "--gpx-spots", str(target), "--name-length", "5", "--ascii",
                "--most", "1", "--quiet"]) == 0
    gpx_schema.validate(str(target))
    points = pyogrio.read_dataframe(target, layer="waypoints")
    assert len(points) == 1 and len(points["name"][0]) <= 5
    assert " ".join([*points["name"], *points["cmt"]]).isascii()


@given(st.lists(st.text(min_size=1, max_size=16), min_size=1, max_size=30), st.integers(4, 14), st.booleans())
def test_no_two_names_meet_within_the_limit(names, longest, ascii_only):
    "Whatever the names are called: as many come out, none twice, none longer, plain where asked."
    spots = small_spots().take(np.zeros(len(names), np.int64))
    made = for_plotter(dataclasses.replace(spots, name=tuple(names)), Plotter(longest, ascii_only)).name
    assert len(set(made)) == len(names) and all(len(name) <= longest for name in made)
    assert not ascii_only or all(name.isascii() for name in made)


def test_names_lose_their_word_before_their_code():
    "What tells spots apart stays as long as it fits; signs with a meaning are spelt."
    spots = dataclasses.replace(small_spots(), name=("stump-4f7k2m", "brush-4f7k2q"))
    assert for_plotter(spots, Plotter(8)).name == ("s-4f7k2m", "b-4f7k2q")
    assert for_plotter(spots, Plotter()).name == spots.name
    assert plain("0.84 ± 0.07 – Größe") == "0.84 +- 0.07 - Grosse"


def test_shapes_across_the_antimeridian_come_in_pieces():
    "A square on longitude 180 becomes one on either side with the same area; its outer ring runs counterclockwise."
    crs = CRS.from_epsg(32701)
    x, y = project(crs, 180.0, -16.5)
    square = shapely.box(float(x) - 500, float(y) - 300, float(x) + 500, float(y) + 300)
    placed = in_degrees(crs, square)
    assert sorted(part.bounds[0] < 0 for part in placed.geoms) == [False, True]
    for part in placed.geoms:
        assert part.bounds[2] - part.bounds[0] < 0.02 and part.exterior.is_ccw
    whole = in_degrees(SMALL_CRS, shapely.box(5e5, 5.29e6, 5.01e5, 5.291e6))
    assert whole.geom_type == "Polygon" and whole.exterior.is_ccw
    line = Drawn((shapely.LineString([(float(x) - 500, float(y)), (float(x) + 500, float(y))]),), ({"depth_m": 2.0},))
    assert contours_gpx(line, crs, "m").count(b"<trk>") == 2
    assert lake_kml("x", Spots.empty(), {"contours": Drawn(line.shapes, ({"label": "2 m"},))}, crs, "m").count(
        b"<LineString>") == 2


@given(st.integers(2, 40), st.integers(2, 12))
def test_pieces_share_their_ends(corners, most):
    "Every corner is kept, in order; a piece begins with the last corner of the one before."
    line = shapely.LineString(np.column_stack([np.arange(corners), np.zeros(corners)]))
    found = list(pieces(line, most))
    assert all(2 <= len(piece) <= most for piece in found)
    assert all((before[-1] == after[0]).all() for before, after in itertools.pairwise(found))
    assert [*found[0][:, 0], *(x for piece in found[1:] for x in piece[1:, 0])] == list(range(corners))


def area_of_ring(ring):
    "Twice the signed area of a ring of [longitude, latitude]: above 0 counterclockwise."
    at = np.asarray(ring)
    return float(np.sum(at[:-1, 0] * at[1:, 1] - at[1:, 0] * at[:-1, 1]))


def test_geojson_of_lines_and_areas_keeps_to_its_standard(folders, tmp_path):
    "RFC 7946 by hand: no crs, degrees with seven decimals, rings closed and right-handed; GDAL finds the map's shapes."
    target = tmp_path / "lake.geojson"
    assert run(["export", str(folders["warned"]), "--geojson", str(target), "--quiet"]) == 0
    whole = json.loads(target.read_text(encoding="utf-8"))
    assert whole["type"] == "FeatureCollection" and "crs" not in whole and whole["caution"] == CAUTION
    rings = 0
    for feature in whole["features"]:
        shape = feature["geometry"]
        polygons = {"Polygon": [shape["coordinates"]], "MultiPolygon": shape["coordinates"]}.get(shape["type"], [])
        for outer, *holes in polygons:
            rings += 1 + len(holes)
            assert all(ring[0] == ring[-1] and len(ring) >= 4 for ring in (outer, *holes))
            assert area_of_ring(outer) > 0 and all(area_of_ring(hole) < 0 for hole in holes)
    assert rings > 3
    there = pyogrio.read_dataframe(target)
    assert there.crs.to_epsg() == 4326
    lake = folders["warned"] / "lake.gpkg"
    for name in ("contours", "features", "shoreline", "gaps", "hazards", "closed_areas"):
        mine, own = there[there["layer"] == name], pyogrio.read_dataframe(lake, layer=name)
        assert len(mine) == len(own) > 0, name
        for back, shape in zip(mine.geometry.to_crs(own.crs), own.geometry, strict=True):
            assert shapely.hausdorff_distance(back, shape) < 0.05, name
    assert there["depth_m"][there["layer"] == "contours"].tolist() == [2.0, 4.0, 6.0]
    assert there["what"].dropna().tolist() == [name.replace("\0", "\ufffd") for name in HOSTILE]
    assert run(["export", str(folders["warned"]), "--geojson", str(tmp_path / "lake.txt")]) == 2


def test_geojson_cuts_at_the_antimeridian():
    "RFC 7946, 3.1.9: a square on longitude 180 is a MultiPolygon, one part on either side; an empty shape is left out."
    crs = CRS.from_epsg(32701)
    x, y = (float(value) for value in project(crs, 180.0, -16.5))
    square = shapely.box(x - 500, y - 300, x + 500, y + 300)
    line = shapely.LineString([(x - 500, y), (x + 500, y)])
    whole = json.loads(lake_geojson({
        "closed_areas": Drawn((square,), ({"why": "x", "first": None, "last": None},)),
        "contours": Drawn((line,), ({"depth_m": 2.0},)), "hazards": Drawn((shapely.Point(),), ({},))}, crs))
    contour, area = whole["features"]
    assert contour["geometry"]["type"] == "MultiLineString" and area["geometry"]["type"] == "MultiPolygon"
    parts = [np.asarray(part[0])[:, 0] for part in area["geometry"]["coordinates"]]
    assert sorted((part.min() >= 179, part.max() <= -179) for part in parts) == [(False, True), (True, False)]


def test_dangers_and_closed_areas_for_a_plotter(folders, gpx_schema, tmp_path, capsys):
    "Points as waypoints, outlines as tracks within the limit, words as text; a map without them says so."
    target = tmp_path / "dangers.gpx"
    assert run(["export", str(folders["warned"]), "--gpx-dangers", str(target), "--most-points", "3", "--quiet"]) == 0
    gpx_schema.validate(str(target))
    points, tracks = (pyogrio.read_dataframe(target, layer=layer) for layer in ("waypoints", "tracks"))
    assert points["name"].tolist() == [name.replace("\0", "\ufffd") for name in HOSTILE]
    assert set(points["cmt"]) == {"Keep 15.0 m away."} and "ele" not in points.columns[points.notna().any()]
    assert all(len(shapely.get_coordinates(shape)) <= 3 for shape in tracks.geometry)
    assert {"closed 04-01 to 05-31", "closed always"} == set(tracks["cmt"])
    own = pyogrio.read_dataframe(folders["warned"] / "lake.gpkg", layer="closed_areas").to_crs(4326)
    np.testing.assert_allclose(tracks.total_bounds, own.total_bounds, atol=1e-6)
    assert len(tracks) == 4 and tracks.geometry.length.sum() == pytest.approx(own.geometry.length.sum(), rel=1e-4)
    capsys.readouterr()
    both = ["--gpx-dangers", str(tmp_path / "no.gpx"), "--geojson", str(tmp_path / "yes.geojson")]
    assert run(["export", str(folders["bare"]), *both]) == 1
    said = capsys.readouterr().err
    assert "no dangers and no closed areas" in said and "no.gpx is not written" in said and said.count("\n") == 1
    # what else was asked for is there all the same
    assert not (tmp_path / "no.gpx").exists() and (tmp_path / "yes.geojson").exists()


def test_ways_become_tracks_split_at_the_limit(gpx_schema):
    "A long way in pieces with numbers, a short one under its own name, a way of one corner left out."
    ways = [("Trip", np.column_stack([np.linspace(9, 9.1, 10), np.full(10, 47.0)])),
            ("line 01", np.array([[9.0, 47.0], [9.0, 47.1]])), ("nowhere", np.array([[9.0, 47.0]]))]
    made = ways_gpx(ways, 4)
    gpx_schema.validate(io.BytesIO(made))
    root = ElementTree.fromstring(made)
    gpx = "{http://www.topografix.com/GPX/1/1}"
    assert [one.text for one in root.iter(f"{gpx}name")] == ["Trip 01", "Trip 02", "Trip 03", "line 01"]
    assert [len(one) for one in root.iter(f"{gpx}trkseg")] == [4, 4, 4, 2]
