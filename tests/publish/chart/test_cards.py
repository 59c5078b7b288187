"""Spot cards: a georeferenced page for each spot, found from the shore by bearings and distances."""

from __future__ import annotations

import dataclasses
import io
import re
import shutil
import subprocess
from types import SimpleNamespace

import numpy as np
import pypdf
import pytest
from paper_lake import paper_lake
from reference_tables import rows
from shapely import unary_union
from shapely.geometry import LineString, Point, Polygon, box

from lakemap.geo.crs import unproject
from lakemap.model.spots import Spots
from lakemap.publish.chart.cards import cards_pdf
from lakemap.publish.chart.settings import ChartSettings
from lakemap.publish.chart.shore_points import ShorePoint, _sight, headlands, shore_points, sights
from lakemap.publish.magnetic import declination


@pytest.fixture(scope="module")
def cards():
    "Cards of the drawn lake."
    return cards_pdf(paper_lake(), ChartSettings())


def pages(pdf):
    "Pages by a reader that is not ours."
    return pypdf.PdfReader(io.BytesIO(pdf), strict=True).pages


def spherical_bearing(lon0, lat0, lon1, lat1):
    "True bearing on a sphere [deg]: great-circle formula, within 0.2 degrees of the ellipsoid's."
    a, b, turn = np.radians(lat0), np.radians(lat1), np.radians(lon1 - lon0)
    return np.degrees(np.arctan2(np.sin(turn) * np.cos(b),
                                 np.cos(a) * np.sin(b) - np.sin(a) * np.cos(b) * np.cos(turn))) % 360


def test_each_spot_has_a_page_that_lies_where_it_is(cards):
    "By the four corners in the PDF the middle of each map is the spot, to half a metre."
    lake, made = paper_lake(), pages(cards)
    assert len(made) == len(lake.spots)
    for k, page in enumerate(made):
        measure = page["/VP"][0].get_object()["/Measure"].get_object()
        places = np.array([float(one) for one in measure["/GPTS"]]).reshape(4, 2)
        assert places.mean(axis=0) == pytest.approx((lake.spots.lat_deg[k], lake.spots.lon_deg[k]), abs=5e-6)
        assert lake.spots.name[k] in page.extract_text()
        assert float(page.mediabox[2]) == pytest.approx(148.5 / 25.4 * 72, abs=0.1)


def test_bearings_and_distances_lead_to_the_spot(cards):
    "True bearings are those of the sphere to 0.3 degrees, magnetic ones less the variation, back is the other way."
    lake = paper_lake()
    points = shore_points(lake)
    told = sights(lake, 0, points)
    assert 2 <= len(told) <= 3
    for sight in told:
        assert sight.to_deg == pytest.approx(spherical_bearing(
            lake.spots.lon_deg[0], lake.spots.lat_deg[0], sight.point.lon_deg, sight.point.lat_deg), abs=0.3)
        assert abs((sight.from_deg - sight.to_deg) % 360 - 180) < 0.1
        assert sight.distance_m == pytest.approx(np.hypot(
            sight.point.x_m - lake.spots.x_m[0], sight.point.y_m - lake.spots.y_m[0]), rel=0.001)
    model = declination(float(lake.spots.lon_deg[0]), float(lake.spots.lat_deg[0]))
    east = model["east_deg"] + model["per_year"] * (2025 + 5.5 / 12 - 2025)
    text = pages(cards)[0].extract_text()
    found = re.findall(r"\b(\d{3})°", text)
    for sight in told:
        for bearing in (sight.to_deg, sight.to_deg - east, sight.from_deg, sight.from_deg - east):
            assert f"{round(bearing) % 360:03d}" in found


def test_marks_on_the_shore_come_first(cards):
    "The ramp and the dock that the owner marked are used; the stump is no mark of the shore."
    names = [point.name for point in shore_points(paper_lake())]
    assert names == ["ramp: the slip", "dock, red"]
    text = pages(cards)[0].extract_text()
    assert "ramp: the slip" in text and "dock, red" in text and "old stump" not in text


def test_one_mark_is_joined_by_headlands():
    "With a single mark the shoreline helps, and the mark stays among the three."
    lake = paper_lake()
    lake = dataclasses.replace(lake, marks=lake.marks[:1])
    points = shore_points(lake)
    assert points[0].own and not any(point.own for point in points[1:]) and len(points) > 3
    assert "ramp: the slip" in [sight.point.name for sight in sights(lake, 0, points)]


def test_headlands_are_where_land_juts_into_the_water():
    "A square lake with one spit and one island: the spit's tip comes first, the island's corners count, bays do not."
    lake = box(0, 0, 1000, 1000) - Polygon([(450, 0), (500, 400), (550, 0)]) - box(700, 700, 760, 760)
    found = headlands(lake)
    assert np.hypot(found[0][1] - 500, found[0][2] - 400) < 1 and found[0][0] == "headland, south"
    assert any("island" in name for name, _, _ in found)
    inner = box(1, 1, 999, 999)
    assert all(inner.contains(Point(x, y)) for name, x, y in found if "end of" not in name)
    assert len({(x, y) for _, x, y in found}) == len(found)


def test_points_behind_land_are_not_taken_while_others_are_in_sight():
    "Three points chosen for each spot; the ways to them lie in the water but for their last metres."
    lake = paper_lake(marks=())
    x, y = lake.shore.centroid.coords[0]
    spits = [Polygon([(x + a, y - 500), (x + a + 10, y - 20), (x + a + 20, y - 500)]) for a in (-260, -120, 20, 160)]
    lake = dataclasses.replace(lake, shore=lake.shore - unary_union(spits))
    points = shore_points(lake)
    clear = [k for k in range(len(lake.spots)) if lake.shore.contains(Point(lake.spots.x_m[k], lake.spots.y_m[k]))]
    assert len(clear) > 5
    for k in clear:
        told = sights(lake, k, points)
        assert len(told) >= 2
        for sight in told:
            way = LineString([(lake.spots.x_m[k], lake.spots.y_m[k]), (sight.point.x_m, sight.point.y_m)])
            end = Point(sight.point.x_m, sight.point.y_m).buffer(15.01)
            assert way.difference(lake.shore).difference(end).length < 1.0


@pytest.mark.skipif(shutil.which("gdalinfo") is None, reason="no GDAL with its tools on this machine")
def test_gdal_reads_where_a_card_lies(cards, tmp_path):
    "GDAL's own PDF driver has the third card's neatline about the third spot."
    path = tmp_path / "cards.pdf"
    path.write_bytes(cards)
    done = subprocess.run(["gdalinfo", f"PDF:3:{path}"], capture_output=True, text=True, check=False)
    if "Geospatial PDF" not in done.stdout:
        pytest.skip("this GDAL has no PDF reader")
    corners = np.array([float(one) for one in re.findall(r"-?\d+\.\d+", re.search(r"NEATLINE=(.*)", done.stdout)[1])])
    lake = paper_lake()
    lon, lat = unproject(lake.depth.frame.crs, *corners.reshape(-1, 2)[:4].mean(axis=0))
    assert (float(lon), float(lat)) == pytest.approx((lake.spots.lon_deg[2], lake.spots.lat_deg[2]), abs=5e-6)


def test_without_shore_or_spots_the_cards_say_so():
    "No shoreline, no marks: a sentence instead of bearings; no spots: one page that says it; the same bytes twice."
    bare = dataclasses.replace(paper_lake(), shore=None, marks=())
    made = cards_pdf(bare, ChartSettings(units="ft", paper="letter", most_spots=1))
    text = " ".join(pages(made)[0].extract_text().split())
    assert "nothing on land leads here" in text and not re.search(r"\d m\b", text)
    assert cards_pdf(bare, ChartSettings(units="ft", paper="letter", most_spots=1)) == made
    none = pages(cards_pdf(dataclasses.replace(bare, spots=Spots.empty()), ChartSettings()))
    assert len(none) == 1 and "no spots" in none[0].extract_text()


@pytest.mark.parametrize("line", rows("geodesics.csv"), ids=lambda line: line["name"])
def test_bearings_and_distances_are_those_of_published_geodesics(line):
    "Length to a millimetre, both azimuths to 1e-5 degrees: the worked examples of Karney's library and others."
    lake = SimpleNamespace(spots=SimpleNamespace(lon_deg=[line["lon1"]], lat_deg=[line["lat1"]]))
    told = _sight(lake, 0, ShorePoint("a mark", 0.0, 0.0, line["lon2"], line["lat2"], False))
    assert told.distance_m == pytest.approx(line["s12_m_WGS84"], abs=1e-3)
    assert told.to_deg == pytest.approx(line["azi1_deg"] % 360, abs=1e-5)
    assert told.from_deg == pytest.approx((line["azi2_deg"] + 180) % 360, abs=1e-5)
