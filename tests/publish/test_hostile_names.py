"""Names and words of users, hostile or in any script, through every file that leaves: text, each time, and whole."""

from __future__ import annotations

import csv
import dataclasses
import json
import re
import sqlite3
import unicodedata
from html.parser import HTMLParser
from xml.etree import ElementTree

import numpy as np
import pyarrow.parquet
import pyogrio
import pypdf
import pytest
import shapely
from worlds import SMALL_CENTRE, SMALL_CRS, small_lake_map, small_spots

from lakemap.cli.main import run
from lakemap.geo.crs import unproject
from lakemap.model.keep_out import ClosedAreas, Hazards
from lakemap.project import Lake
from lakemap.publish import letters, publish
from lakemap.publish.letters import MISSING, legible, letters_missing

HOSTILE = (
    "<script>alert(1)</script>", '"><img src=x onerror=alert(1)>', "'; DROP TABLE spots;--", '=HYPERLINK("x")',
    "@SUM(1+1)", "\t=1+1", "-2+3|cmd", "]]>&amp;<!--", "סלע & שן (12)", "صخرة كبيرة", "\u202egnp.exe", "岩石 シ 바위",
    "a\r\nb\0c\x1b[31m", "${x} {1 m} %s $x^2$ \\", "\ud800 lone", "a" * 300, "../../etc/passwd", "😀 Ǆ ﬁ",
)
PARTS = ("reasons", "note")


def held(text):
    "The text as XML and HTML can hold it; readers of XML turn every line end into a line feed."
    return re.sub("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]", "\ufffd", text)


def read(text):
    "The same after a reader of XML."
    return held(text).replace("\r\n", "\n").replace("\r", "\n")


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    "A folder with every file that a map of such names can be turned into."
    small, many = small_lake_map(), len(HOSTILE)
    x, y = SMALL_CENTRE
    lon, lat = unproject(SMALL_CRS, [x, x + 20.0], [y, y + 10.0])
    spots = dataclasses.replace(small_spots().take(np.zeros(many, np.int64)), name=HOSTILE, kind=HOSTILE,
                                reasons=tuple((text,) for text in HOSTILE))
    logs = tuple(dataclasses.replace(facts, name=name)
                 for facts, name in zip(small.soundings.logs, HOSTILE[:2], strict=True))
    bottom = dataclasses.replace(small.bottom, sample_words=HOSTILE, sample_told=np.linspace(0, 1, many),
                                 sample_read=np.linspace(0, 1, many), calibrated=many)
    lake = dataclasses.replace(
        small, name="".join(HOSTILE[:10]), spots=spots, bottom=bottom, inputs=dict.fromkeys(HOSTILE, "ab" * 32),
        soundings=dataclasses.replace(small.soundings, logs=logs), messages=HOSTILE,
        hits=dataclasses.replace(small.hits.take(np.zeros(many, np.int64)), note=np.array(HOSTILE)),
        hazards=Hazards(tuple(shapely.Point(lon[0], lat[0]) for _ in HOSTILE), (15.0,) * many, HOSTILE),
        closed=ClosedAreas((shapely.box(lon[0], lat[0], lon[1], lat[1]),) * many, ("04-01",) * many, ("",) * many,
                           HOSTILE))
    out = tmp_path_factory.mktemp("hostile") / "out"
    publish(lake, out)
    more = {"kmz": "l.kml", "gpx-spots": "s.gpx", "gpx-contours": "c.gpx", "gpx-passes": "p.gpx",
            "gpx-dangers": "d.gpx", "geojson": "l.geojson", "mbtiles": "d.mbtiles"}
    asked = [word for option, name in more.items() for word in (f"--{option}", str(out / name))]
    assert run(["export", str(out), *asked, "--quiet"]) == 0
    assert run(["export", str(out), "--gpx-spots", str(out / "a.gpx"), "--name-length", "8", "--ascii", "--quiet"]) == 0
    assert run(["print", str(out), "--to", str(out / "chart.pdf"), "--quiet"]) == 0
    assert run(["print", str(out), "--cards", "--to", str(out / "cards.pdf"), "--quiet"]) == 0
    return out


class Page(HTMLParser):
    "Tags, attributes' names and text of a page."

    def __init__(self, text):
        super().__init__()
        self.tags, self.handlers, self.text = [], [], ""
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.handlers += [name for name, _ in attrs if name.startswith("on")]

    def handle_data(self, data):
        self.text += data


def gpx_words(path, parent):
    "Names and comments of the elements of a GPX file."
    space = "{http://www.topografix.com/GPX/1/1}"
    found = ElementTree.parse(path).iter(f"{space}{parent}")
    return [(one.findtext(f"{space}name"), one.findtext(f"{space}cmt") or "") for one in found]


def in_waypoints(out):
    "Every name in order, each kind and reason in the comment."
    for (name, said), text in zip(gpx_words(out / "waypoints.gpx", "wpt"), HOSTILE, strict=True):
        assert name == read(text) and read(text) in said


def in_kml(out):
    "Names as text; what a reader shows as HTML is escaped once more, so that no tag is left in it."
    for path in ("waypoints.kml", "l.kml"):
        space = "{http://www.opengis.net/kml/2.2}"
        marks = list(ElementTree.parse(out / path).iter(f"{space}Placemark"))
        names = [mark.findtext(f"{space}name") for mark in marks]
        assert all(read(text) in names for text in HOSTILE)
        assert not [mark for mark in marks if "<" in (mark.findtext(f"{space}description") or "")]


def in_csv(out):
    "As many rows as spots, and no cell that a spreadsheet would run."
    text = (out / "waypoints.csv").read_text(encoding="utf-8")
    with (out / "waypoints.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["name"].removeprefix("'") for row in rows] == [held(name).removeprefix("'") for name in HOSTILE]
    number = re.compile(r"-?\d+(\.\d+)?")
    cells = [cell for row in rows for cell in row.values()]
    assert not [cell for cell in cells if cell.lstrip(" \"")[:1] in tuple("=+-@\t\r") and not number.fullmatch(cell)]
    assert "\0" not in text


def in_geojson(out):
    "JSON that any parser reads; names and words as they are."
    spots = json.loads((out / "spots.geojson").read_text(encoding="utf-8"))["features"]
    assert [one["properties"]["name"] for one in spots] == [held(name) for name in HOSTILE]
    shapes = json.loads((out / "l.geojson").read_text(encoding="utf-8"))["features"]
    for layer, field in (("hazards", "what"), ("closed_areas", "why")):
        assert [one["properties"][field] for one in shapes if one["properties"]["layer"] == layer] == [
            held(name) for name in HOSTILE]


def in_geopackage(out):
    "Names, kinds, notes, dangers, reasons to close and logs in their layers; the tables are all there."
    for layer, field in (("spots", "name"), ("spots", "kind"), ("hits", "note"), ("hazards", "what"),
                         ("closed_areas", "why")):
        assert pyogrio.read_dataframe(out / "lake.gpkg", layer=layer)[field].tolist() == [held(n) for n in HOSTILE]
    assert set(pyogrio.read_dataframe(out / "lake.gpkg", layer="passes")["log"]) == set(HOSTILE[:2])


def in_summary(out):
    "The lake, its logs, messages and inputs."
    told = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    assert told["name"] == held("".join(HOSTILE[:10])) and [one["name"] for one in told["logs"]] == list(HOSTILE[:2])
    assert set(told["inputs"]) == {held(name) for name in HOSTILE}
    assert all(held(name) in told["messages"] for name in HOSTILE if "{" not in name)


def in_parquet(out):
    "The rows keep the names of their logs."
    assert set(pyarrow.parquet.read_table(out / "soundings.parquet")["log"].to_pylist()) == set(HOSTILE[:2])


def in_report(out):
    "No tag and no handler out of a name; every name is there to read, the way its letters run."
    text = (out / "report.html").read_text(encoding="utf-8")
    page = Page(text)
    assert not {"script", "img", "iframe", "a", "form"} & set(page.tags) and page.handlers == []
    for name in HOSTILE:
        assert re.sub(r"\s", "", held(name)) in re.sub(r"\s", "", page.text), name
    assert 'dir="auto"' in text


def in_map(out):
    "The page has its own scripts and no more; the names travel as data."
    text = (out / "map.html").read_text(encoding="utf-8")
    page = Page(text)
    plain = Page(map_of_plain_names())
    assert page.tags.count("script") == plain.tags.count("script") and page.tags.count("img") == plain.tags.count("img")
    assert page.handlers == []


def map_of_plain_names():
    "The small lake's page."
    from lakemap.publish.html_map.page import map_page

    return map_page(small_lake_map(), "m")


def in_tracks(out):
    "Logs in the passes' comments, dangers as waypoints; lines under the depth's name."
    assert {said.rpartition(" ")[0] for _, said in gpx_words(out / "p.gpx", "trk")} == set(HOSTILE[:2])
    assert [name for name, _ in gpx_words(out / "d.gpx", "wpt")] == [read(name) for name in HOSTILE]
    assert len(gpx_words(out / "c.gpx", "trk")) > 2


def in_a_plotters_waypoints(out):
    "ASCII within eight signs, none twice, none empty."
    names = [name for name, _ in gpx_words(out / "a.gpx", "wpt")]
    assert len(set(names)) == len(HOSTILE) and all(name and name.isascii() and len(name) <= 8 for name in names)
    assert [name for name, _ in gpx_words(out / "s.gpx", "wpt")] == [read(name) for name in HOSTILE]


def in_tiles(out):
    "Metadata are text in a whole database."
    base = sqlite3.connect(out / "d.mbtiles")
    told = dict(base.execute("SELECT name, value FROM metadata"))
    base.close()
    assert told["name"] and "<script" not in json.dumps(told)


def in_print(out):
    "Chart and cards open in another reader, run nothing, and hold the names that have letters."
    for name in ("chart.pdf", "cards.pdf"):
        raw = (out / name).read_bytes()
        assert b"/JavaScript" not in raw and b"/Launch" not in raw and b"/URI" not in raw
        pages = pypdf.PdfReader(out / name).pages
        text = " ".join(page.extract_text() for page in pages)
        assert ("alert(1)" in text and "岩石" in unicodedata.normalize("NFKC", text)) or "岩" not in legible("岩")


@pytest.mark.parametrize("check", [
    in_waypoints, in_kml, in_csv, in_geojson, in_geopackage, in_summary, in_parquet, in_report, in_map, in_tracks,
    in_a_plotters_waypoints, in_tiles, in_print], ids=lambda check: check.__name__)
def test_words_of_users_stay_words(made, check):
    "What each file must keep to stands in the check's own sentence."
    check(made)


@pytest.mark.parametrize("name", HOSTILE[:14])
def test_a_lakes_own_name_is_taken_as_it_is(tmp_path, name):
    "lake.toml's name, whatever it holds."
    (tmp_path / "lake.toml").write_text(f"name = {json.dumps(name)}\n".replace("\\u007f", ""), encoding="utf-8")
    (tmp_path / "marks.csv").write_text("lat,lon,kind\n46.8,-100.3,stump\n")
    assert Lake.from_files([tmp_path]).name == name


def test_letters_without_a_font_are_named_with_what_to_do(monkeypatch, made, tmp_path, capsys):
    "With the first font alone: CJK and Hangul are told, Hebrew and Arabic drawn; a square stands for the others."
    monkeypatch.setattr(letters, "font_names", lambda: (letters.FONT,))
    letters._known_characters.cache_clear()
    try:
        assert legible("岩 rock שן") == f"{MISSING} rock שן"
        assert letters_missing(["סלע", "صخرة", "rock"]) == ""
        said = letters_missing(["岩 rock", "바"])
        assert "岩 바" in said and "Install one" in said
        assert run(["print", str(made), "--to", str(tmp_path / "c.pdf")]) == 0
        assert "No font here has the letters" in capsys.readouterr().out
        assert f"stand as {MISSING}" in " ".join(
            " ".join(page.extract_text() for page in pypdf.PdfReader(tmp_path / "c.pdf").pages).split())
    finally:
        letters._known_characters.cache_clear()
