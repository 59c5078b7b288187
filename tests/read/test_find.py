"""Which file is what, and what happens to the rest."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from log_lines import dbt, rmc, source_of

from lakemap import Lake
from lakemap.errors import AmbiguousFile, InputError, LakemapError, NothingUsable, UnknownFormat
from lakemap.model.outputs import SUMMARY
from lakemap.model.soundings import Soundings
from lakemap.read.find import find_readers, sort_files
from lakemap.read.load import read_logs, read_marks, read_shore
from lakemap.read.reader import OPTIONS, Reader
from lakemap.read.settings import ReadSettings

LOG = rmc("120000") + dbt(4) + rmc("120001", "4807.0001") + dbt(5) + rmc("120002", "4807.0002")
TABLE = "time,lat,lon,depth_m\n2025-06-01T10:00:00Z,46.8,-100.3,4.5\n2025-06-01T10:00:01Z,46.8,-100.31,4.6\n"
MARKS = "lat,lon,kind\n46.8,-100.3,stump\n"
SHORE = '{"type": "Polygon", "coordinates": [[[0, 0], [1, 0], [1, 1], [0, 0]]]}'
GPX = '<gpx version="1.1" creator="t">{}</gpx>'
WAYPOINT = '<wpt lat="46.8" lon="-100.3"><name>stump</name></wpt>'
TRACK = '<trk><trkseg><trkpt lat="46.8" lon="-100.3"><extensions><depth>4</depth></extensions></trkpt></trkseg></trk>'
PLAIN = ReadSettings()


def names(files):
    "Names by role."
    return [[source.name for source in part] for part in (files.logs, files.marks, files.shore)]


def test_every_reader_keeps_the_contract():
    "Found by the scan, named once, with a role, suffixes and a line of summary."
    readers = find_readers()
    assert {"log", "marks", "shore"} <= {reader.role for reader in readers} <= set(OPTIONS)
    assert len({reader.name for reader in readers}) == len(readers)
    for reader in readers:
        assert isinstance(reader, Reader) and reader.summary and all(s.startswith(".") for s in reader.suffixes)


def test_content_tells_the_role_whatever_the_name(tmp_path):
    "All formats under names that say nothing, given as one folder with a folder inside."
    (tmp_path / "deep").mkdir()
    content = {"a.x": LOG, "deep/b.x": TABLE, "c.x": MARKS, "d.x": SHORE, "e.x": GPX.format(WAYPOINT),
               "f.x": GPX.format(TRACK), "README.x": "How I went out on the lake, and more.\n", ".hidden": LOG}
    for name, text in content.items():
        (tmp_path / name).write_text(text)
    files = sort_files([tmp_path])
    assert names(files) == [["a.x", "b.x", "f.x"], ["c.x", "e.x"], ["d.x"]]
    assert files.messages == ("README.x: not read, no reader takes it",)


@pytest.mark.parametrize("text, options", [
    (GPX.format(WAYPOINT + TRACK), ("--log", "--marks")),
    ("lat,lon,depth_m,kind\n46.8,-100.3,4,stump\n", ("--log", "--marks")),
])
def test_a_file_of_two_roles_is_refused_until_told(tmp_path, text, options):
    "The message names the options that settle it, and with one it is settled."
    path = tmp_path / "two.x"
    path.write_text(text)
    with pytest.raises(AmbiguousFile, match=f"two.x.*{options[0]}.*{options[1]}"):
        sort_files([path])
    assert names(sort_files([path], {path: "log"})) == [["two.x"], [], []]
    assert names(sort_files([tmp_path], {path: "marks"})) == [[], ["two.x"], []]


def test_one_file_may_be_told_to_be_two_things(tmp_path):
    "Depths and kinds in one table: given under both options, however its path is written, it keeps one name."
    path = tmp_path / "two.x"
    path.write_text("lat,lon,depth_m,kind\n46.8,-100.3,4,stump\n")
    files = sort_files([path], {path: "log", Path(os.path.relpath(path)): ("marks",)})
    assert names(files) == [["two.x"], ["two.x"], []] and files.of("levels") == () and not files.messages
    lake = Lake.from_files([path], roles={"log": [path], "marks": [path]})
    assert lake.inputs == {"two.x": files.logs[0].sha256} and len(lake.logs) == len(lake.marks) == 1


def test_a_role_that_cannot_be_is_refused(tmp_path):
    "A shoreline given as marks: what marks may be is named."
    (tmp_path / "s.json").write_text(SHORE)
    with pytest.raises(UnknownFormat, match="GPX waypoints"):
        sort_files([tmp_path / "s.json"], {tmp_path / "s.json": "marks"})


def test_a_single_unknown_file_is_refused_with_what_can_be_read(tmp_path):
    "By itself it was meant; so it is an error."
    (tmp_path / "x.bin").write_bytes(bytes(range(256)) * 8)
    with pytest.raises(UnknownFormat, match=r"x\.bin.*NMEA 0183 log.*lakemap formats"):
        sort_files([tmp_path / "x.bin"])


@pytest.mark.parametrize("make, words", [
    (lambda path: path.write_bytes(b""), "empty"), (lambda path: None, "cannot be read"),
    (lambda path: __import__("os").mkfifo(path), "not a plain file"),
])
def test_a_file_that_is_none(tmp_path, make, words):
    "Empty, missing, or a pipe that would never end."
    make(tmp_path / "f.csv")
    with pytest.raises(InputError, match=rf"f\.csv.*{words}"):
        sort_files([tmp_path / "f.csv"])


def test_the_same_content_is_read_once(tmp_path):
    "The name that comes first stands, in whatever order they are given."
    for name in ("b.nmea", "a.nmea"):
        (tmp_path / name).write_text(LOG)
    given = [tmp_path / "b.nmea", tmp_path / "a.nmea", tmp_path]
    for paths in (given, given[::-1]):
        files = sort_files(paths)
        assert names(files)[0] == ["a.nmea"]
        assert files.messages == ("b.nmea: the same content as a.nmea; read once",)


def test_equal_names_are_numbered_by_their_content(tmp_path):
    "Folders do not matter."
    folders = [tmp_path / "p", tmp_path / "q"]
    texts = [LOG, LOG.replace("4807.0001*", "4807.0001*") + dbt(6)]
    seen = []
    for order in (texts, texts[::-1]):
        for folder, text in zip(folders, order, strict=True):
            folder.mkdir(exist_ok=True)
            (folder / "t.nmea").write_text(text)
        seen.append([(source.name, source.sha256) for source in sort_files(folders).logs])
    assert seen[0] == seen[1] and [name for name, _ in seen[0]] == ["t.nmea (1)", "t.nmea (2)"]
    assert seen[0][0][1] < seen[0][1][1]


def test_a_folder_is_not_left(tmp_path):
    "Links out of it, folders of results and Shapefile parts are passed by."
    outside, inside = tmp_path / "outside.nmea", tmp_path / "lake"
    outside.write_text(LOG)
    (inside / "out").mkdir(parents=True)
    (inside / "link.nmea").symlink_to(outside)
    (inside / "loop").symlink_to(inside)
    (inside / "out" / SUMMARY).write_text("{}")
    (inside / "out" / "waypoints.csv").write_text(MARKS)
    files = sort_files([inside])
    assert names(files) == [[], [], []] and len(files.messages) == 3


def test_a_log_that_cannot_be_read_costs_that_log_only(tmp_path):
    "The others go on and the fault is a message; one alone raises its own fault, several none usable."
    bad = source_of(tmp_path, TABLE.replace("depth_m", "depth"), "bad.csv")
    good = source_of(tmp_path, LOG, "good.nmea")
    rows = read_logs([bad, good], PLAIN)
    assert len(rows) == 2 and any("left out: bad.csv" in text and "--depth-unit" in text for text in rows.messages)
    with pytest.raises(InputError, match=r"bad\.csv.*--depth-unit"):
        read_logs([bad], PLAIN)
    other = source_of(tmp_path, rmc("120000"), "none.nmea")
    with pytest.raises(NothingUsable, match=r"none of 2 logs.*bad\.csv"):
        read_logs([bad, other], PLAIN)
    with pytest.raises(NothingUsable, match="no log"):
        read_logs([], PLAIN)


def test_the_order_given_does_not_matter(tmp_path):
    "Rows come by name."
    sources = [source_of(tmp_path, LOG, "b.nmea"), source_of(tmp_path, TABLE, "a.csv")]
    one, other = read_logs(sources, PLAIN), read_logs(sources[::-1], PLAIN)
    assert [facts.name for facts in one.logs] == ["a.csv", "b.nmea"] == [facts.name for facts in other.logs]
    assert np.array_equal(one.time_s, other.time_s) and one.log.tolist() == [0, 0, 1, 1]


def test_bad_marks_cost_a_message(tmp_path):
    "A waypoint file cut in the middle does not stop the map."
    marks = read_marks([source_of(tmp_path, GPX.format(WAYPOINT)[:-12], "m.gpx"),
                        source_of(tmp_path, MARKS, "n.csv")], PLAIN)
    assert marks.kind == ("stump",) and any("left out: m.gpx" in text for text in marks.messages)


PIECES = st.sampled_from([
    b"$GPRMC,120000,A,4807.0,N,01131.0,E,0,0,010625,,,A", b"$SDDBT,1,f,2,M,3,F", b"*47", b"\r", b"\n", b",", b";",
    b"\t", b"lat,lon,depth_m", b"time", b"kind", b"46.5", b"-100", b"1e400", b'"', b"<gpx>", b"<wpt lat='1' lon='2'>",
    b"</wpt>", b"<trkpt lat='x'>", b"<extensions><depth>1</depth></extensions>", b"</trkpt>", b"</gpx>",
    b"$GPGGA,", b"$GPZDA,1,2,3",
    b'{"type": "Polygon", "coordinates": [', b"[[0,0],[1,0],[1,1],[0,0]]", b"]}", b"fgb\x03fgb\x00",
    b"\x00\x00\x27\x0a",
    b"\xff\xfe", b"\xef\xbb\xbf", b"\0", b"#", b"$", b"\\", b"2025-06-01T10:00:00Z", b"99:99:99", b"\xb0",
])


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(content=st.one_of(st.binary(max_size=400), st.lists(PIECES, max_size=40).map(b"".join)))
@example(b"lat,lon,depth_m\n46,-100,1\x1c2\n")
@example(b"$SDDBT,,,,\n" * 3)
@example(b"time,lat,lon,depth_m\n1e300,46,-100,3\n")
@example(b"time,lat,lon,depth_m\n99999999-01-01,46,-100,3\n")
def test_no_bytes_whatever_raise_anything_but_our_own_errors(tmp_path, content):
    "Sorted or forced into each role and read, by every reader too: rows, or one line."
    path = tmp_path / "any.x"
    path.write_bytes(content)
    for role, read in (("log", read_logs), ("marks", read_marks), ("shore", read_shore), (None, read_logs)):
        try:
            files = sort_files([path], {path: role} if role else {})
            read([*files.logs, *files.marks, *files.shore], ReadSettings(depth_unit="m"))
        except LakemapError as fault:
            assert "\n" not in str(fault)
    for reader in find_readers():
        try:
            rows = reader.read(source_of(tmp_path, content or b" ", "any.x"), ReadSettings(depth_unit="m"))
        except LakemapError as fault:
            assert "\n" not in str(fault)
        else:
            assert not isinstance(rows, Soundings) or np.isfinite(rows.time_s).all()


def test_nothing_is_written_beside_the_users_files(tmp_path):
    "Reading leaves the folder as it was, also for a database."
    import geopandas
    import shapely

    geopandas.GeoDataFrame(geometry=[shapely.box(0, 0, 1, 1)], crs="EPSG:4326").to_file(tmp_path / "s.gpkg")
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    read_shore(sort_files([tmp_path]).shore, PLAIN)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before
    shutil.rmtree(tmp_path)
