"""lake.gpkg and spots.geojson."""

from __future__ import annotations

import dataclasses
import json
import time
from xml.etree import ElementTree

import numpy as np
import pyogrio
import pytest
import shapely
from worlds import SMALL_CENTRE, SMALL_CRS, small_lake_map, small_soundings, small_spots

from lakemap.geo.crs import unproject
from lakemap.model.flags import Flag
from lakemap.model.hits import Hits
from lakemap.model.keep_out import ClosedAreas, Hazards
from lakemap.model.soundings import PassBias
from lakemap.model.spots import Spots
from lakemap.model.terrain import Contours, Features
from lakemap.publish.layer_styles import LOOKS, SLD, layer_qml
from lakemap.publish.passes import pass_lines
from lakemap.publish.vectors import spots_geojson, write_lake


def write(lake_map, path):
    "lake.gpkg of a map, in feet."
    write_lake(lake_map, pass_lines(lake_map.soundings, 1.0, lake_map.depth.pass_bias), "ft", path)
    return path


@pytest.fixture(scope="module")
def lake(tmp_path_factory):
    "lake.gpkg of the small lake."
    return write(small_lake_map(), tmp_path_factory.mktemp("gpkg") / "lake.gpkg")


def test_layers_by_name_on_the_frames_crs(lake):
    "Seven layers, each in UTM 32."
    names = [name for name, shape in pyogrio.list_layers(lake) if shape is not None]
    assert names == ["spots", "hits", "contours", "passes", "shoreline", "features", "gaps"]
    for name in names:
        assert pyogrio.read_info(lake, layer=name)["crs"] == "EPSG:32632"


def test_spots_carry_the_fields_of_the_contract(lake):
    "Fields in order, unknown ones null, lengths in the reasons in the reader's unit."
    spots = pyogrio.read_dataframe(lake, layer="spots")
    assert list(spots.columns) == [
        "name", "kind", "probability", "prob_low", "prob_high", "lon_deg", "lat_deg", "position_sigma_m", "depth_m",
        "depth_sigma_m", "hardness", "seen", "could_see", "last_seen", "score", "score_cover", "score_structure",
        "reasons", "geometry",
    ]
    assert spots.loc[0, "reasons"] == "Brush marked by hand; stands 3.3 ft above the floor. Lies in 25.9 ft of water."
    assert np.isnan(spots.loc[1, "hardness"]) and spots["last_seen"].isna().tolist() == [False, True]
    assert (spots.geometry.x[0], spots.geometry.y[0]) == SMALL_CENTRE
    assert str(spots.loc[0, "last_seen"]) == "2024-05-29 16:34:10+00:00"


def test_passes_contours_shore_and_hits_hold_what_the_map_does(lake):
    "Bias where solved, depths of contours, the island as a hole, the owner's words as text."
    passes = pyogrio.read_dataframe(lake, layer="passes")
    assert passes["pass_id"].tolist() == [0, 1, 2, 3, 4, 5]
    assert passes["bias_m"].round(3).tolist()[:2] == [0.04, -0.02] and np.isnan(passes.loc[2, "bias_m"])
    assert passes.loc[4, "log"] == "screen <b>.csv"
    contours = pyogrio.read_dataframe(lake, layer="contours")
    assert contours["depth_m"].tolist() == [2.0, 4.0, 6.0] and contours["label"].tolist()[0] == "6.56 ft"
    shore = pyogrio.read_dataframe(lake, layer="shoreline")
    assert len(shore.geometry[0].interiors) == 1
    # area of the 48-cornered outlines: 24 sin(7.5 deg) a b for half axes a, b
    area = 24 * np.sin(np.radians(7.5)) * (140 * 115 - 8 * 6)
    assert shore.geometry[0].area == pytest.approx(area, rel=1e-6)
    assert pyogrio.read_dataframe(lake, layer="hits")["note"].tolist()[0] == "=HYPERLINK(1)"


def test_each_layer_has_a_style(lake):
    "The table that desktop GIS look for: one Styled Layer Descriptor a layer, well formed, as its default."
    styles = pyogrio.read_dataframe(lake, layer="layer_styles")
    layers = [name for name, shape in pyogrio.list_layers(lake) if shape is not None]
    assert sorted(styles["f_table_name"]) == sorted(layers) and styles["useAsDefault"].astype(int).tolist() == [1] * 7
    for name, text in zip(styles["f_table_name"], styles["styleSLD"], strict=True):
        root = ElementTree.fromstring(text.encode())
        assert root.findtext(f".//{{{SLD}}}NamedLayer/{{{SLD}}}Name") == name and f"{{{SLD}}}Stroke" in text_tags(root)
    assert set(LOOKS) >= {*layers, "hazards", "closed_areas", "edges", "weed", "changes"}


@pytest.mark.parametrize(("kind", "symbol"), [
    ("Point", ("marker", "SimpleMarker")), ("MultiPoint", ("marker", "SimpleMarker")),
    ("MultiLineString", ("line", "SimpleLine")), ("Polygon", ("fill", "SimpleFill")),
    ("Unknown", ("fill", "SimpleFill")),
])
def test_a_layer_of_any_shapes_takes_the_symbol_of_what_is_in_it(kind, symbol):
    "Dangers may be points, lines or areas: the one symbol that the table's style may have is of that type."
    root = ElementTree.fromstring(layer_qml("hazards", kind))
    assert (root.find(".//symbol").get("type"), root.find(".//symbol/layer").get("class")) == symbol


def test_both_styles_of_a_layer_say_the_same(lake):
    "QML and SLD of each layer have one colour and one width, and QML's type is that of the layer's shapes."
    types = {"spots": "marker", "hits": "marker", "contours": "line", "passes": "line"}
    styles = pyogrio.read_dataframe(lake, layer="layer_styles")
    for name, qml, sld in zip(styles["f_table_name"], styles["styleQML"], styles["styleSLD"], strict=True):
        drawn = ElementTree.fromstring(qml.encode())
        assert drawn.tag == "qgis" and drawn.find(".//symbol").get("type") == types.get(name, "fill")
        told = {one.get("name"): one.get("value") for one in drawn.iterfind(".//layer/Option/Option")}
        assert told == {one.get("k"): one.get("v") for one in drawn.iterfind(".//layer/prop")}
        _, colour, width, _ = LOOKS[name]
        assert f"{width:g}" in told.values() and f">{width:g}<" in sld
        if colour:
            red, green, blue = bytes.fromhex(colour[1:])
            assert any(value.startswith(f"{red},{green},{blue},") for value in told.values()) and colour in sld


def text_tags(root):
    "Tags of all elements."
    return {element.tag for element in root.iter()}


def test_gaps_hazards_and_closed_areas_are_layers(tmp_path):
    "What the page warns of stands in the file too: where the owner drew it, in words as given, on the frame's CRS."
    x, y = SMALL_CENTRE
    lon, lat = unproject(SMALL_CRS, [x, x + 20.0], [y, y + 10.0])
    rock, wire = shapely.Point(lon[0], lat[0]), shapely.LineString(np.column_stack([lon, lat]))
    reeds = shapely.box(lon[0], lat[0], lon[1], lat[1])
    guessed = small_lake_map()
    guessed.depth.sigma.values[20:30, 20:30] = 4.0
    told = dataclasses.replace(
        guessed, hazards=Hazards((rock, wire), (15.0, 40.0), ("rock \u05e6\u05d5\u05e7", "wire <b>")),
        closed=ClosedAreas((reeds,), ("04-01",), ("05-31",), ("spawning",)))
    path = write(told, tmp_path / "lake.gpkg")
    dangers = pyogrio.read_dataframe(path, layer="hazards")
    assert dangers["what"].tolist() == ["rock \u05e6\u05d5\u05e7", "wire <b>"]
    assert dangers["keep_m"].tolist() == [15.0, 40.0]
    assert shapely.get_coordinates(dangers.geometry[0])[0] == pytest.approx(SMALL_CENTRE, abs=1e-3)
    closed = pyogrio.read_dataframe(path, layer="closed_areas")
    assert closed.loc[0, ["why", "first", "last"]].tolist() == ["spawning", "04-01", "05-31"]
    assert closed.geometry[0].area == pytest.approx(200.0, rel=0.02)
    gap = pyogrio.read_dataframe(path, layer="gaps").iloc[-1]
    assert "a guess" in pyogrio.read_dataframe(path, layer="gaps")["why"].tolist()
    assert gap.geometry.area == pytest.approx(gap["area_m2"])


def test_empty_layers_are_absent(tmp_path):
    "A map without spots, hits, contours, features and shoreline has passes, and gaps, alone."
    bare = small_lake_map()
    terrain = dataclasses.replace(bare.terrain, features=Features(), contours=Contours(np.empty(0), (), 1.0))
    bare = dataclasses.replace(bare, spots=Spots.empty(), hits=Hits.empty(), shore=None, terrain=terrain)
    made = pyogrio.list_layers(write(bare, tmp_path / "lake.gpkg"))
    assert [name for name, shape in made if shape is not None] == ["passes", "gaps"]


def test_lake_has_the_same_bytes_at_another_time(lake, tmp_path):
    "The format's own dates come from the readings, not from the clock."
    time.sleep(1.1)
    assert write(small_lake_map(), tmp_path / "other.gpkg").read_bytes() == lake.read_bytes()


def test_geojson_is_longitude_first_without_crs():
    "RFC 7946: [longitude, latitude] with 7 decimals at most, no crs member, null for what is not known."
    told = json.loads(spots_geojson(small_spots(), "m"))
    assert told["type"] == "FeatureCollection" and "crs" not in told
    first, second = told["features"]
    longitude, latitude = first["geometry"]["coordinates"]
    assert 8.99 < longitude < 9.01 and 47.8 < latitude < 47.9
    assert longitude == round(longitude, 7) and latitude == round(latitude, 7)
    assert second["properties"]["hardness"] is None and second["properties"]["last_seen"] is None
    assert first["properties"]["last_seen"] == "2024-05-29T16:34:10Z"
    assert "NaN" not in spots_geojson(small_spots(), "m")


def test_geojson_has_the_fields_of_the_geopackage(lake):
    "One list of fields for both."
    told = json.loads(spots_geojson(small_spots(), "m"))["features"][0]["properties"]
    assert [*told, "geometry"] == list(pyogrio.read_dataframe(lake, layer="spots").columns)


def test_geojson_without_spots_is_an_empty_collection():
    "No spot, no feature, still a whole file."
    assert json.loads(spots_geojson(Spots.empty(), "m"))["features"] == []


def test_pass_lines_count_usable_rows_only():
    "Held out rows are in no line; a straight pass keeps its two ends."
    lines = pass_lines(small_soundings(), 1.0, PassBias.none())
    assert [one.rows for one in lines] == [89, 101, 101, 101, 77, 77]
    assert all(len(one.line.coords) == 2 for one in lines)
    assert lines[0].line.length == pytest.approx(220.0) and lines[0].day == "2024-05-29"
    made = small_soundings()
    later = made.with_flag(Flag.far_outlier, (made.pass_id == 1) & (made.x_m > 500_200))
    cut = pass_lines(later, 1.0)[1]
    assert cut.rows == 71 and cut.line.bounds[2] <= 500_200


def test_simplified_pass_stays_within_its_tolerance():
    "A winding track keeps to within the tolerance, with fewer corners."
    made = small_soundings()
    wave = made.with_columns(y_m=made.y_m + 10 * np.sin(made.x_m / 15))
    line = pass_lines(wave, 1.0)[1].line
    rows = np.flatnonzero((wave.pass_id == 1) & wave.usable())
    from shapely import Point

    assert max(line.distance(Point(wave.x_m[i], wave.y_m[i])) for i in rows) <= 1.0
    assert len(line.coords) < len(rows) / 2


def test_a_boat_that_stood_still_makes_no_line():
    "All rows of a pass at one place: no line to draw."
    made = small_soundings()
    third = made.pass_id == 2
    still = made.with_columns(x_m=np.where(third, 5e5, made.x_m), y_m=np.where(third, 5.3e6, made.y_m))
    assert [one.pass_id for one in pass_lines(still, 1.0)] == [0, 1, 3, 4, 5]
