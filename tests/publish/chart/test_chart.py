"""The chart as a PDF: true to scale, georeferenced, searchable, the same twice, and made of whatever there is."""

from __future__ import annotations

import dataclasses
import hashlib
import io
import os
import re
import shutil
import subprocess
import sys

import numpy as np
import pypdf
import pytest
from paper_lake import floor_lake, paper_lake
from pyproj import Geod
from shapely.geometry import Point

from lakemap.errors import UsageError
from lakemap.geo.crs import project
from lakemap.model.finished_map import Danger
from lakemap.model.outputs import CAUTION
from lakemap.model.spots import Spots
from lakemap.publish.chart.chart import chart_pdf
from lakemap.publish.chart.ink import text_size_mm
from lakemap.publish.chart.settings import ChartSettings
from lakemap.publish.chart.sheets import lay_out, parse_scale

MM = 72 / 25.4


def read(pdf):
    "A PDF by a reader that is not ours."
    return pypdf.PdfReader(io.BytesIO(pdf), strict=True)


def placed_texts(page):
    "Each run of text with its place in points."
    found = []
    page.extract_text(visitor_text=lambda text, cm, tm, *_: found.append(
        (text.strip(), tm[4] * cm[0] + cm[4], tm[5] * cm[3] + cm[5])) if text.strip() else None)
    return found


@pytest.fixture(scope="module")
def chart():
    "The lake on paper in metres, at the scale that suits."
    return chart_pdf(paper_lake(), ChartSettings())


def test_distances_on_the_page_are_those_on_the_ground(chart):
    "Two meridians at the foot of the map lie as far apart as the scale says, to 0.5 %; the scale bar too."
    page = read(chart).pages[0]
    scale = int(re.search(r"Scale 1:(\d+)", page.extract_text())[1])
    texts = placed_texts(page)
    degrees = sorted((y, x, float(t[3:]) / 60 + 14) for t, x, y in texts if re.fullmatch(r"14°\d\d\.\d", t))
    foot = sorted(x_lon for y, *x_lon in degrees if abs(y - degrees[0][0]) < 3)
    (x0, lon0), (x1, lon1) = foot[0], foot[-1]
    ground_m = Geod(ellps="WGS84").line_length([lon0, lon1], [53.198, 53.198])
    assert lon1 > lon0 and (x1 - x0) / MM * scale / 1000 == pytest.approx(ground_m, rel=0.005)
    bar = {t: x / MM for t, x, y in texts if 36 < y < 42 and re.fullmatch(r"\d+( m)?", t)}
    numbers = sorted((t for t in bar if t.isdigit()), key=int)
    middle = [bar[t] + text_size_mm(t, 5.6)[0] / 2 for t in numbers]
    assert len(numbers) == 2 and numbers[0] == "0"
    assert (middle[1] - middle[0]) * scale / 1000 == pytest.approx(float(numbers[1]), rel=0.005)


def test_the_georeference_leads_each_place_to_its_sign(chart):
    "By the corners in the PDF alone, the middle of the page is the middle of the lake's box, to a metre."
    lake = paper_lake()
    viewport = read(chart).pages[0]["/VP"][0].get_object()
    measure = viewport["/Measure"].get_object()
    assert viewport["/Type"] == "/Viewport" and measure["/Subtype"] == "/GEO"
    assert measure["/GCS"]["/EPSG"] == lake.depth.frame.crs.to_epsg() and "UTM" in measure["/GCS"]["/WKT"]
    places = np.array([float(one) for one in measure["/GPTS"]]).reshape(4, 2)
    square = np.array([float(one) for one in measure["/LPTS"]]).reshape(4, 2)
    x_m, y_m = project(lake.depth.frame.crs, places[:, 1], places[:, 0])
    view = lay_out(lake.depth, "a4").sheets[0].view
    west, south, east, north = (float(side) / MM for side in viewport["/BBox"])
    for k in range(4):
        x_mm, y_mm = view.to_mm(x_m[k], y_m[k])
        assert x_mm == pytest.approx(west + square[k, 0] * (east - west), abs=0.02)
        assert y_mm == pytest.approx(south + square[k, 1] * (north - south), abs=0.02)


@pytest.mark.skipif(shutil.which("gdalinfo") is None, reason="no GDAL with its tools on this machine")
def test_gdal_finds_the_map_where_it_lies(chart, tmp_path):
    "GDAL's own PDF driver reads the CRS and puts the corners of the map within a metre."
    path = tmp_path / "chart.pdf"
    path.write_bytes(chart)
    done = subprocess.run(["gdalinfo", str(path)], capture_output=True, text=True, check=False)
    if "Geospatial PDF" not in done.stdout:
        pytest.skip("this GDAL has no PDF reader")
    lake = paper_lake()
    assert f'ID["EPSG",{lake.depth.frame.crs.to_epsg()}]' in done.stdout
    corners = np.array([float(one) for one in re.findall(r"-?\d+\.\d+", re.search(r"NEATLINE=(.*)", done.stdout)[1])])
    ground = lay_out(lake.depth, "a4").sheets[0].view.ground
    assert corners.reshape(-1, 2).min(axis=0) == pytest.approx((ground.west, ground.south), abs=1.0)
    assert corners.reshape(-1, 2).max(axis=0) == pytest.approx((ground.east, ground.north), abs=1.0)


def test_text_can_be_found_and_fonts_travel_with_it(chart):
    "Name, caution, dangers, closed areas and spots are text; every font is embedded; no date and no maker's clock."
    reader = read(chart)
    text = " ".join(" ".join(page.extract_text() for page in reader.pages).split())
    for words in ("Long Pike Water", "old pier: keep 20 m away", "closed 04-01 to 05-31: spawning", "1 stump 1",
                  "water surface on the day", "2025-05-18 to 2025-06-02", "Is it there".lower(), "3 of 3 times"):
        assert words in text, words
    assert CAUTION in text
    for page in reader.pages:
        for font in page["/Resources"]["/Font"].get_object().values():
            told = font.get_object()["/DescendantFonts"][0].get_object()["/FontDescriptor"].get_object()
            assert "/FontFile2" in told
    assert not {"/CreationDate", "/ModDate", "/Producer"} & set(reader.metadata)


def test_only_the_units_asked_for_are_printed():
    "In feet no length is in metres, not even inside the reasons."
    text = " ".join(page.extract_text() for page in read(chart_pdf(paper_lake(), ChartSettings(units="ft"))).pages)
    assert not re.search(r"\d m\b|metre", text) and re.search(r"above the floor at \d+\.\d ft", " ".join(text.split()))


def test_the_same_map_makes_the_same_bytes(chart):
    "Again here, and in another process with another hash seed."
    assert chart_pdf(paper_lake(), ChartSettings()) == chart
    code = ("import hashlib; from paper_lake import paper_lake; from lakemap.publish.chart.chart import chart_pdf; "
            "from lakemap.publish.chart.settings import ChartSettings; "
            "print(hashlib.sha256(chart_pdf(paper_lake(), ChartSettings())).hexdigest())")
    around = os.environ | {"PYTHONHASHSEED": "77", "PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=around, check=True)
    assert done.stdout.strip() == hashlib.sha256(chart).hexdigest()


def test_a_finer_scale_takes_several_sheets_and_an_index():
    "At 1:1500 the index comes first, every sheet says what goes on where, and all pixels are on one of them."
    lake = paper_lake()
    mosaic = lay_out(lake.depth, "letter", 1500)
    assert 2 <= len(mosaic.sheets) <= 12
    x_m, y_m = np.meshgrid(*lake.depth.frame.centres())
    left = np.isfinite(lake.depth.values)
    for sheet in mosaic.sheets:
        ground = sheet.view.ground
        left &= ~((x_m >= ground.west) & (x_m <= ground.east) & (y_m >= ground.south) & (y_m <= ground.north))
        for word, number in mosaic.neighbours(sheet).items():
            back = {"north": "south", "south": "north", "east": "west", "west": "east"}[word]
            assert mosaic.neighbours(mosaic.sheets[number - 1])[back] == sheet.number
    assert not left.any()
    reader = read(chart_pdf(lake, ChartSettings(paper="letter", scale=1500)))
    assert f"Index of {len(mosaic.sheets)} sheets" in reader.pages[0].extract_text()
    first = reader.pages[1]
    assert "/VP" in first and "/VP" not in reader.pages[0] and "Goes on:" in first.extract_text()
    assert sorted(float(side) for side in first.mediabox[2:]) == pytest.approx([612.0, 792.0], abs=0.1)


def test_scales_that_make_no_sense_are_one_line():
    "No number, none that paper can have, an atlas of thousands."
    assert parse_scale("1:2500") == parse_scale("2 500") == 2500
    for text in ("1:0", "big", "1:99999999", "2500:1"):
        with pytest.raises(UsageError, match=r"--scale .*write it as 1:2500"):
            parse_scale(text)
    with pytest.raises(UsageError, match="larger number behind the colon"):
        lay_out(paper_lake().depth, "a4", 50)


@pytest.mark.parametrize("shape", [(1, 1), (1, 40), (3, 2)])
def test_a_lake_of_a_few_cells_has_a_chart(shape):
    "One cell, one row, hardly more: one sheet."
    reader = read(chart_pdf(floor_lake(lambda x, y: 4.0 + 0.0 * x, shape), ChartSettings()))
    assert len(reader.pages) == 1 and re.search(r"Scale 1:\d+ ", reader.pages[0].extract_text())


def test_a_lake_where_nothing_is_drawn_has_a_chart():
    "No depth, no spots, no shore: a sheet that says so by being empty."
    reader = read(chart_pdf(floor_lake(lambda x, y: np.nan * x), ChartSettings()))
    assert "no shoreline given" in reader.pages[0].extract_text()


def test_names_in_any_script_are_text():
    "Markup, formulas, right-to-left, controls, characters without a font: printed or replaced, never run."
    hostile = r"$\frac{1}{0}$ <b>&amp; %s {} \n" + "\u202e\x07 שלום مرحبا 湖 \U0001f41f" + "x" * 300
    lake = paper_lake()
    many = len(lake.spots)
    spots = dataclasses.replace(lake.spots, name=(hostile,) * many, reasons=((hostile * 3,),) * many)
    here = lake.spots.x_m[0] + 20, lake.spots.y_m[0] + 20
    made = dataclasses.replace(lake, name=hostile, spots=spots, dangers=(Danger(Point(*here), 5.0, hostile),))
    text = read(chart_pdf(made, ChartSettings())).pages[0].extract_text()
    assert (r"$\frac{1}{0}$ <b>&amp;" in text and "שלום"[::-1] in text) or "שלום" in text


def test_without_spots_there_is_no_table():
    "One page, and no sign of spots in what the signs mean."
    reader = read(chart_pdf(paper_lake(spots=Spots.empty()), ChartSettings()))
    assert len(reader.pages) == 1 and "spot:" not in reader.pages[0].extract_text()
