"""IHO B-12: what is written comes back the same to the standard's precision; metadata are asked for, never made up."""

from __future__ import annotations

import json
import zipfile

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from log_lines import source_of

from lakemap.errors import InputError, NothingUsable, UsageError
from lakemap.model.b12 import B12About
from lakemap.model.flags import Flag
from lakemap.model.log_facts import LogFacts
from lakemap.model.soundings import Soundings
from lakemap.publish.b12 import b12_readings, write_b12
from lakemap.read.find import sort_files
from lakemap.read.load import read_logs
from lakemap.read.settings import ReadSettings

ID = "LAKE-1b4e28ba-2fa1-11d2-883f-0016d3cca427"
SAID = {"organisation": "A Node", "email": "node@example.org", "platform_id": ID, "platform_name": "Söta Älva",
        "licence": "CC0 1.0", "logger": "own recorder", "logger_version": "1"}
PLAIN = ReadSettings()


def about(convention="3.0", **other):
    "Everything that the standard asks for."
    return B12About(convention=convention, **(SAID | other))


def log(lon, lat, depth, millis, reference="transducer", **facts):
    "Soundings of one log with these readings."
    n = len(lon)
    rows = Soundings.build(
        n, [LogFacts("a.nmea", rows_in=n, depth_reference=reference, **facts)], lon_deg=lon, lat_deg=lat,
        logged_depth_m=depth, time_utc=np.array(millis, "datetime64[ms]"), time_s=np.arange(n), row=np.arange(n) + 1,
    )
    return rows.with_flag(Flag.no_depth, np.isnan(rows.logged_depth_m))


def back(path):
    "What a written file is read as, by content."
    return read_logs(sort_files([path]).logs, PLAIN)


READING = st.tuples(st.floats(-180, 180), st.floats(-90, 90), st.floats(0.06, 300),
                    st.integers(315_532_800_000, 4_102_444_799_999))


@pytest.mark.parametrize("convention", ["3.0", "3.1"])
@pytest.mark.parametrize("ending", [".geojson", ".csv"])
@settings(max_examples=25)
@given(readings=st.lists(READING, min_size=1, max_size=20))
def test_written_and_read_back_the_timed_rows_are_the_same(tmp_path_factory, convention, ending, readings):
    "Six decimals of a degree, decimetres, milliseconds, in order of time; the reference comes back too."
    lon, lat, depth, millis = (np.array(column) for column in zip(*readings, strict=True))
    lon[(np.abs(lon) < 1e-6) & (np.abs(lat) < 1e-6)] = 1.0
    folder = tmp_path_factory.mktemp("b12")
    write_b12(b12_readings(log(lon, lat, depth, millis)), about(convention), folder / f"r{ending}")
    rows = back(folder / f"r{ending}")
    order = np.argsort(millis, kind="stable")
    assert rows.time_utc.astype(np.int64).tolist() == millis[order].tolist()
    for found, put in ((rows.lon_deg, lon), (rows.lat_deg, lat)):
        np.testing.assert_allclose(found, put[order], atol=0.5e-6 + 1e-9, rtol=0)
    np.testing.assert_allclose(rows.logged_depth_m, depth[order], atol=0.05 + 1e-9, rtol=0)
    (facts,) = rows.logs
    assert facts.depth_reference == "transducer" and facts.reader == "IHO B-12" and facts.depth_unit == "m"


def test_only_timed_sound_rows_leave_as_logged(tmp_path):
    "No time, a fault, no depth: left out and counted; a correction does not reach the file."
    rows = log([13.0] * 4, [46.0, 46.1, 46.2, 46.3], [4.04, 5.0, np.nan, 7.0], [0, 1000, 2000, "NaT"], draft_m=0.4)
    rows = rows.with_columns(depth_m=rows.logged_depth_m + 0.4).with_flag(Flag.spike, np.array([0, 1, 0, 0], bool))
    readings = b12_readings(rows)
    assert readings.depth_m.tolist() == [4.04] and readings.draft_m == 0.4
    assert readings.left_out == {"no date and time": 1, "held out": 2}
    write_b12(readings, about(), tmp_path / "r.geojson")
    whole = json.loads((tmp_path / "r.geojson").read_text())
    assert [feature["properties"]["depth"] for feature in whole["features"]] == [4.0]
    assert whole["properties"]["platform"]["sensors"] == [{"type": "Sounder", "draft": 0.4}]
    assert back(tmp_path / "r.geojson").logs[0].draft_m == 0.4
    with pytest.raises(NothingUsable, match="timed rows only"):
        b12_readings(rows.take(np.array([1, 3])))


def test_the_members_are_those_of_the_standard(tmp_path):
    "The form of 3.0 as its public sample has it; 3.1 writes the CRS as one word."
    rows = log([13.0], [46.0], [4.0], [0])
    write_b12(b12_readings(rows), about("3.0"), tmp_path / "r.geojson")
    whole = json.loads((tmp_path / "r.geojson").read_text())
    assert whole["type"] == "FeatureCollection"
    assert whole["crs"] == {"horizontal": {"type": "EPSG", "value": 4326}, "vertical": "Transducer"}
    said = whole["properties"]
    assert said["convention"] == "GeoJSON CSB 3.0" and said["dataLicense"] == "CC0 1.0"
    assert said["providerContactPoint"] == {
        "orgName": "A Node", "email": "node@example.org", "logger": "own recorder", "loggerVersion": "1"}
    assert said["platform"]["uniqueID"] == ID and said["platform"]["name"] == "Söta Älva"
    assert said["platform"]["correctors"] == {"positionReferencePoint": "GNSS"}
    assert whole["features"] == [{"type": "Feature", "geometry": {"type": "Point", "coordinates": [13.0, 46.0]},
                                  "properties": {"depth": 4.0, "time": "1970-01-01T00:00:00.000Z"}}]
    write_b12(b12_readings(rows), about("3.1"), tmp_path / "r.csv")
    beside = json.loads((tmp_path / "r.json").read_text())
    assert beside["crs"]["horizontal"] == "EPSG:4326" and beside["properties"]["convention"] == "XYZ CSB 3.1"
    assert (tmp_path / "r.csv").read_text().splitlines() == [
        "LON,LAT,DEPTH,TIME", "13.000000,46.000000,4.0,1970-01-01T00:00:00.000Z"]


@pytest.mark.parametrize("other, words", [
    ({"platform_id": "boat"}, "--platform-id boat.*UUID"), ({"email": "me"}, "--email me"),
    ({"licence": "MIT"}, r"--licence MIT.*CC0 1\.0"),
])
def test_wrong_metadata_are_refused(other, words):
    "Before anything is written."
    with pytest.raises(UsageError, match=words):
        about("3.1", **other)


def test_logs_of_two_references_ask_which():
    "One file, one vertical reference; all but the transducer's are unknown to the standard."
    both = Soundings.concatenate([log([13.0], [46.0], [4.0], [0]), log([13.1], [46.0], [5.0], [0], "surface")])
    with pytest.raises(UsageError, match=r"surface and transducer.*--depth-from"):
        b12_readings(both)
    assert b12_readings(both, "surface").depth_m.tolist() == [5.0]


@pytest.mark.parametrize("vertical, reference", [("Transducer", "transducer"), ("Unknown", "surface")])
def test_what_depths_count_from_is_read_from_the_metadata(tmp_path, vertical, reference):
    "Unknown stays unknown, and is said."
    text = json.dumps({
        "type": "FeatureCollection", "crs": {"horizontal": {"type": "EPSG", "value": 4326}, "vertical": vertical},
        "properties": {"convention": "GeoJSON CSB 3.0", "platform": {"dataProcessed": True}},
        "features": [{"type": "Feature", "geometry": {"type": "Point", "coordinates": [13, 46]},
                      "properties": {"depth": 4.5, "time": "2020-06-01T10:00:00.250Z"}}]})
    path = tmp_path / "r.json"
    path.write_text(text)
    rows = back(path)
    assert rows.logs[0].depth_reference == reference and rows.logged_depth_m.tolist() == [4.5]
    assert rows.logs[0].reference_known == (vertical == "Transducer")
    assert any("processed" in message for message in rows.messages)
    assert any("do not know" in message for message in rows.messages) == (vertical == "Unknown")


def test_a_table_without_its_metadata_is_a_plain_table(tmp_path):
    "Whose unit must be said; with the archive's own columns, or the metadata in the same zip, it is the standard's."
    rows = "LON,LAT,DEPTH,TIME\n13.0,46.0,4.5,2020-06-01T10:00:00Z\n"
    with pytest.raises(InputError, match="--depth-unit"):
        read_logs([source_of(tmp_path, rows, "r.csv")], PLAIN)
    archive = "UNIQUE_ID,FILE_UUID,LON,LAT,DEPTH,TIME,PLATFORM_NAME,PROVIDER\n" \
              "A-1,20200601,13.0,46.0,4.5,2020-06-01T10:00:00Z,Boat,Node\n"
    assert read_logs([source_of(tmp_path, archive, "x.csv")], PLAIN).logs[0].reader == "IHO B-12"
    write_b12(b12_readings(log([13.0], [46.0], [4.0], [0])), about(), tmp_path / "w.csv")
    with zipfile.ZipFile(tmp_path / "w.zip", "w") as packed:
        packed.write(tmp_path / "w.csv", "w.csv")
        packed.write(tmp_path / "w.json", "w.json")
    files = sort_files([tmp_path / "w.zip"])
    assert files.messages == () and [source.name for source in files.logs] == ["w.zip/w.csv"]
    assert back(tmp_path / "w.zip").logs[0].reader == "IHO B-12"
    files = sort_files([tmp_path / "w.csv", tmp_path / "w.json"])
    assert [source.name for source in files.logs] == ["w.csv"] and files.messages == ()
