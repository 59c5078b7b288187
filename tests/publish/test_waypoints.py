"""Waypoints that plotters, phones and spreadsheets open."""

from __future__ import annotations

import csv
import dataclasses
import io
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from schemas import schema
from worlds import small_spots

from lakemap.model.outputs import CAUTION
from lakemap.model.spots import Spots
from lakemap.publish.csv_cells import safe_cell
from lakemap.publish.gpx_xml import GPX_NAMESPACE
from lakemap.publish.waypoints import (
    KML_NAMESPACE,
    waypoints_csv,
    waypoints_gpx,
    waypoints_kml,
)

G, K = f"{{{GPX_NAMESPACE}}}", f"{{{KML_NAMESPACE}}}"


@pytest.fixture(scope="module")
def gpx_schema():
    "The GPX 1.1 schema."
    return schema("gpx_1_1", "gpx.xsd")


@pytest.fixture(scope="module")
def kml_schema():
    "The KML 2.2 schema of OGC 07-147r2."
    return schema("kml_2_2", "ogckml22.xsd")


def renamed(name, reason="x", lon=9.0, lat=47.0):
    "One spot with this name, reason and place."
    one = small_spots().take(np.array([0]))
    return dataclasses.replace(
        one, name=(name,), reasons=((reason,),), lon_deg=np.array([lon]), lat_deg=np.array([lat])
    )


def test_gpx_is_valid_by_its_schema(gpx_schema):
    "The two spots, no spot at all, and places at the ends of what GPX allows."
    for spots in (small_spots(), Spots.empty(), renamed("a", lon=180.0, lat=90.0), renamed("b", lon=-180.0, lat=-90.0)):
        gpx_schema.validate(io.BytesIO(waypoints_gpx(spots, "ft")))


def test_gpx_schema_would_find_longitude_180(gpx_schema):
    "The check above can fail: the schema refuses 180 itself."
    text = waypoints_gpx(renamed("a", lon=12.0), "m").replace(b'lon="12.0000000"', b'lon="180.0000000"')
    assert not gpx_schema.is_valid(io.BytesIO(text))


def test_kml_is_valid_by_its_schema(kml_schema):
    "The two spots and no spot at all."
    for spots in (small_spots(), Spots.empty(), renamed("<&>", lon=180.0)):
        kml_schema.validate(io.BytesIO(waypoints_kml(spots, "ft")))


def test_gpx_holds_names_notes_and_times_but_no_height():
    "Depth stands in the note and in an extension, never in ele; a time only where the readings have one."
    root = ElementTree.fromstring(waypoints_gpx(small_spots(), "ft"))
    brush, rock = root.findall(f"{G}wpt")
    assert root.get("creator").startswith("lakemap") and brush.find(f"{G}ele") is None
    assert brush.findtext(f"{G}name") == "brush-1" and brush.findtext(f"{G}type") == "brush"
    assert brush.findtext(f"{G}cmt").startswith("brush at 25.9 ft, seen by 2 of 3 passes. Brush marked by hand;")
    assert brush.findtext(f"{G}time") == "2024-05-29T16:34:10Z" and rock.find(f"{G}time") is None
    assert rock.findtext(f"{G}cmt").endswith("Marked by hand: old <wall> & rock.")
    assert root.findtext(f"{G}metadata/{G}desc") == CAUTION
    assert float(brush.get("lat")) == pytest.approx(small_spots().lat_deg[0], abs=1e-7)


@pytest.mark.parametrize(("lon", "written"), [
    (180.0, "-180.0000000"), (179.99999999, "-180.0000000"), (179.9999999, "179.9999999"), (-180.0, "-180.0000000"),
    (1e-9, "0.0000000"),
])
def test_gpx_longitude_stays_below_180(lon, written):
    "GPX 1.1 has -180 <= longitude < 180, after rounding too, and no exponent."
    root = ElementTree.fromstring(waypoints_gpx(renamed("a", lon=lon), "m"))
    assert root.find(f"{G}wpt").get("lon") == written


@given(st.text(max_size=30))
def test_any_name_and_reason_makes_whole_files(text):
    "Control characters, quotes, brackets: every file stays well formed and holds the text where its format can."
    spots = renamed(text, text)
    root = ElementTree.fromstring(waypoints_gpx(spots, "m"))
    if text.isprintable():
        assert root.findtext(f"{G}wpt/{G}name") == text
    assert ElementTree.fromstring(waypoints_kml(spots, "m")).find(f".//{K}Placemark") is not None
    assert len(list(csv.DictReader(io.StringIO(waypoints_csv(spots, "m"), newline="")))) == 1


def test_kml_description_is_no_markup():
    "What a reader shows as HTML is escaped once more, so that a note cannot bring markup with it."
    root = ElementTree.fromstring(waypoints_kml(renamed("a", "<img src=x onerror=alert(1)>"), "m"))
    assert "&lt;img" in root.findtext(f".//{K}Placemark/{K}description")
    assert root.findtext(f".//{K}coordinates") == "9.0000000,47.0000000"


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_csv_cells_cannot_run_as_formulas(start):
    "A text that a spreadsheet could take for a formula gets an apostrophe in front."
    row = next(csv.DictReader(io.StringIO(waypoints_csv(renamed(start + "cmd|x", start + "1+1|y"), "m"), newline="")))
    assert row["name"] == "'" + start + "cmd|x" and row["reasons"] == "'" + start + "1+1|y"


def test_csv_numbers_stay_numbers():
    "Negative numbers are no formulas; unknown ones are empty cells."
    assert safe_cell(-3.5) == -3.5 and safe_cell("-3.5") == "-3.5" and safe_cell("-x") == "'-x"
    rock = list(csv.DictReader(io.StringIO(waypoints_csv(small_spots(), "m"))))[1]
    assert rock["hardness"] == "" and float(rock["depth_m"]) == 6.1
