"""GPX tracks and waypoints, tables of marks."""

from __future__ import annotations

import numpy as np
import pytest
from log_lines import source_of

from lakemap.errors import InputError
from lakemap.model.flags import Flag
from lakemap.model.marks import KINDS
from lakemap.read.gpx_marks import GpxMarksReader
from lakemap.read.gpx_track import GpxTrackReader
from lakemap.read.mark_kinds import kind_and_note, kind_of
from lakemap.read.marks_table import MarksTableReader
from lakemap.read.note_words import thing_of
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source

GPX = '<?xml version="1.0"?><gpx xmlns="http://www.topografix.com/GPX/1/1" xmlns:d="urn:x" version="1.1" creator="t">'
PLAIN = ReadSettings()


def track(*points):
    "A track of points given as (lat, lon, inner XML)."
    inner = "".join(f'<trkpt lat="{lat}" lon="{lon}">{rest}</trkpt>' for lat, lon, rest in points)
    return f"{GPX}<trk><trkseg>{inner}</trkseg></trk></gpx>"


def depth(value, tag="d:depth", second=0):
    "Time and a depth in extensions."
    return f"<time>2025-06-01T10:00:{second:02d}Z</time><extensions><{tag}>{value}</{tag}></extensions>"


def waypoint(name="", kind="", sym="", desc=""):
    "One waypoint."
    parts = (("name", name), ("desc", desc), ("sym", sym), ("type", kind))
    return '<wpt lat="46.8" lon="-100.3">' + "".join(f"<{k}>{v}</{k}>" for k, v in parts if v) + "</wpt>"


def test_track_points_become_rows(tmp_path):
    "A point without depth stays as a row; metres are presumed and it is said."
    text = track((46.8, -100.3, depth(4.5)), (46.81, -100.3, ""), (200, -100.3, depth(4.7, second=2)))
    rows = GpxTrackReader().read(source_of(tmp_path, text, "a.gpx"), PLAIN)
    assert rows.logged_depth_m[[0, 2]].tolist() == [4.5, 4.7] and rows.row.tolist() == [1, 2, 3]
    assert rows.has(Flag.no_depth).tolist() == [False, True, False]
    assert rows.has(Flag.no_position).tolist() == [False, False, True]
    assert rows.time_utc[2] - rows.time_utc[0] == np.timedelta64(2, "s") and rows.time_s[1] - rows.time_s[0] == 1
    assert any("taken as m" in text for text in rows.messages)


@pytest.mark.parametrize("tag, metres", [
    ("d:depth", 10), ("d:WaterDepth", 10), ("d:waterdepth", 10), ("d:depth_ft", 3.048), ("d:depthM", 10),
])
def test_names_of_the_depth_extension(tmp_path, tag, metres):
    "Any namespace, and a unit in the name is honoured."
    rows = GpxTrackReader().read(source_of(tmp_path, track((46, -100, depth(10, tag))), "a.gpx"), PLAIN)
    assert rows.logged_depth_m[0] == pytest.approx(metres)


def test_feet_by_the_option_and_nested_extensions(tmp_path):
    "--depth-unit ft; a depth inside a group of extensions is found."
    inner = "<extensions><d:group><d:depth>10</d:depth><d:watertemp>18.5</d:watertemp></d:group></extensions>"
    source = source_of(tmp_path, track((46, -100, inner)), "a.gpx")
    rows = GpxTrackReader().read(source, ReadSettings(depth_unit="ft"))
    assert rows.logged_depth_m[0] == pytest.approx(3.048) and rows.water_c[0] == 18.5
    assert rows.logs[0].depth_unit == "ft"


def test_a_track_without_depth_is_refused(tmp_path):
    "Height above the reference surface (ele) is no depth."
    with pytest.raises(InputError, match=r"a\.gpx: no track point has a depth"):
        GpxTrackReader().read(source_of(tmp_path, track((46, -100, "<ele>3</ele>")), "a.gpx"), PLAIN)


HOSTILE = {
    "entities that grow": GPX.replace("?><", '?><!DOCTYPE gpx [<!ENTITY a "aa"><!ENTITY b "&a;&a;">]><')
    + "<wpt lat='1' lon='1'><name>&b;</name></wpt></gpx>",
    "a file from outside": GPX.replace("?><", '?><!DOCTYPE gpx [<!ENTITY a SYSTEM "file:///etc/hostname">]><')
    + "<wpt lat='1' lon='1'><name>&a;</name></wpt></gpx>",
    "a document type": GPX.replace("?><", "?><!DOCTYPE gpx><") + "</gpx>",
    "a cut file": GPX + "<trk><trkseg><trkpt",
    "an unknown encoding": '<?xml version="1.0" encoding="x-none"?><gpx></gpx>',
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_or_broken_xml_is_one_line(tmp_path, name):
    "Entities and document types are refused before anything is expanded."
    source = source_of(tmp_path, HOSTILE[name], "a.gpx")
    for reader in (GpxTrackReader(), GpxMarksReader()):
        with pytest.raises(InputError, match=r"^a\.gpx: (broken )?XML [^\n]*$"):
            reader.read(source, PLAIN)


def test_waypoints_become_marks(tmp_path):
    "The kind comes from type, symbol or the name's leading word; what means none stays in the note."
    text = GPX + waypoint("001", kind="Stump") + waypoint("Rock 12", sym="Flag", desc="big") + waypoint(
        "002", sym="Boulders") + waypoint("Brush pile 3") + waypoint("Joe's spot") + "</gpx>"
    marks = GpxMarksReader().read(source_of(tmp_path, text, "m.gpx"), PLAIN)
    assert marks.kind == ("stump", "rock", "rock", "brush", "place")
    assert marks.note == ("", "Flag; big", "", "", "") and marks.name[1] == "Rock 12"
    assert set(marks.source) == {"m.gpx"} and np.isnat(marks.time_utc).all()


def test_words_for_kinds():
    "Every kind and its plural; other words stay in the note of a place."
    assert all(kind_of(kind) == kind and kind_of(kind.upper() + "s") == kind for kind in KINDS)
    assert kind_and_note(["sofa"], "x", "soft") == ("place", "sofa; soft")
    assert kind_of("") is None and kind_of("drop off") == "drop-off"


def test_a_table_of_marks(tmp_path):
    "Kind, name, note and time; a row without a position is left out and said."
    text = "lat,lon,kind,name,note,time\n46,-100,Stump,A,deep,2025-06-01T10:00:00Z\n,,rock,B,,\n46,-100,sofa,C,,\n"
    marks = MarksTableReader().read(source_of(tmp_path, text, "m.csv"), PLAIN)
    assert marks.kind == ("stump", "place") and marks.name == ("A", "C") and marks.note == ("deep", "sofa")
    assert marks.time_utc[0] == np.datetime64("2025-06-01T10:00:00") and np.isnat(marks.time_utc[1])
    assert any("line 3" in text for text in marks.messages)


def test_range_and_direction_of_marks(tmp_path):
    "Feet by the header; words for a side; bearing goes before aim; what cannot be costs one line and its cell."
    text = ("time,lat,lon,kind,Range (ft),bearing,aim\n"
            "2025-06-14T12:00:00Z,46,-100,rock,50,90,\n,46,-100,rock,20,,port\n,46,-100,rock,30,10,20\n"
            ",46,-100,rock,-4,90,\n,46,-100,rock,20,400,\n,46,-100,rock,20,soon,\n,46,-100,rock,,45,\n"
            ",,,rock,20,,\n,46,-100,nothing,40,,\n")
    marks = MarksTableReader().read(source_of(tmp_path, text, "m.csv"), PLAIN)
    nan = float("nan")
    np.testing.assert_allclose(marks.range_m / 0.3048, [50, 20, 30, nan, 20, 20, nan, 40], atol=1e-9)
    np.testing.assert_allclose(marks.bearing_deg, [90, nan, 10, 90, nan, nan, 45, nan])
    np.testing.assert_allclose(marks.aim_deg, [nan, -90, nan, nan, nan, nan, nan, nan])
    assert marks.kind[-1] == "nothing" and len(marks) == 8
    for words in ("range = -1.2192 in line 5: must be 0 to 300 m", "bearing = 400 in line 6: must be 0 to 360 degrees",
                  "bearing = 'soon' is no number", "bearing and aim in line 4; the bearing is taken",
                  "a direction without a range in line 5 + 1 more", "line 9"):
        assert sum(words in said for said in marks.messages) == 1, words


def test_a_range_without_a_unit_is_not_used(tmp_path):
    "Unless --depth-unit says it: then it counts for ranges, too."
    text = "lat,lon,kind,range,aim\n46,-100,rock,20,90\n"
    source = source_of(tmp_path, text, "m.csv")
    marks = MarksTableReader().read(source, PLAIN)
    assert np.isnan(marks.range_m[0]) and marks.aim_deg[0] == 90.0
    assert any("does not say its unit" in said for said in marks.messages)
    assert MarksTableReader().read(source, ReadSettings(depth_unit="m")).range_m[0] == 20.0


def test_looked_nothing_there():
    "Words for it, by kind and by name; a bay of that name is a place; a note speaks of it only by itself."
    assert all(kind_of(word) == "nothing" for word in ("Nothing", "nothing there", "gone"))
    assert kind_and_note([""], "Nothing there 3", "")[0] == "nothing"
    assert kind_and_note([""], "Nothing Bay", "")[0] == "place"
    assert thing_of("Nothing there!") == "nothing" and thing_of("second bottom: nothing") == ""


def test_odd_headers_of_marks(tmp_path):
    "--columns serves marks too; without positions the line names it."
    text = "y,x,kind\n46,-100,rock\n"
    source = source_of(tmp_path, text, "m.csv")
    assert MarksTableReader().read(source, ReadSettings(columns="lat=y,lon=x")).kind == ("rock",)
    with pytest.raises(InputError, match=r"--columns lat=\.\.\.,lon=\.\.\."):
        MarksTableReader().read(source, PLAIN)


def test_a_comma_between_quotes_parts_no_cell(tmp_path):
    "Quotes doubled inside a quoted note are quotes of the note, and its comma is the note's."
    path = tmp_path / "marks.csv"
    path.write_text('lat,lon,kind,name,note\n45.0,15.0,stump,a,"two, ""big"" ones"\n')
    assert MarksTableReader().read(Source.of(path), ReadSettings()).note == ('two, "big" ones',)
