"""Files made to lead the program elsewhere: nothing but the file itself is opened, and the refusal is one line."""

from __future__ import annotations

import json
import socket
import sqlite3
import struct
import threading
from pathlib import Path

import geopandas
import pytest
import shapely

from lakemap.errors import InputError
from lakemap.read.find import sort_files
from lakemap.read.load import read_logs, read_shore
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source
from lakemap.read.vector_file import layers_of, vector_kind

PLAIN = ReadSettings(depth_unit="m")
FRAME = geopandas.GeoDataFrame({"depth_m": [4.0]}, geometry=shapely.points([13.0], [46.0]), crs="EPSG:4326")


def refused(path, words):
    "Sorted, or forced into a role and read: one line that matches."
    with pytest.raises(InputError, match=words) as caught:
        files = sort_files([path])
        read_logs(files.logs, PLAIN)
        read_shore(files.shore, PLAIN)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("name", [
    "/vsicurl/http://127.0.0.1:9/x.gpkg", "/vsizip/x.zip/a.shp", "http://127.0.0.1:9/a.shp", "/vsimem/a.fgb",
    "PG:dbname=x", "/vsicurl/http://127.0.0.1:9/x.gpkg.csv",
])
def test_virtual_paths_and_addresses_are_names_of_no_file(name, monkeypatch):
    "They are never handed to a library that would follow them."
    monkeypatch.setattr(socket, "socket", lambda *_, **__: pytest.fail("reached for the network"))
    refused(Path(name), "cannot be read")


def test_a_file_that_is_really_called_so_is_only_a_file(tmp_path):
    "A folder named as a virtual path: what is in it is read as what it is."
    odd = tmp_path / "vsicurl" / "http:"
    odd.mkdir(parents=True)
    FRAME.to_file(odd / "x.gpkg")
    assert read_logs(sort_files([odd / "x.gpkg"]).logs, PLAIN).logged_depth_m.tolist() == [4.0]


VRT = '<OGRVRTDataSource><OGRVRTLayer name="x"><SrcDataSource>{}</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>'


@pytest.mark.parametrize("ending", [".shp", ".vrt", ".gpkg", ".fgb", ".geojson", ".gpx"])
def test_a_virtual_layer_is_no_format_whatever_its_name(tmp_path, ending):
    "It would open any other file or address."
    FRAME.to_file(tmp_path / "real.gpkg")
    path = tmp_path / f"x{ending}"
    path.write_text(VRT.format(tmp_path / "real.gpkg"))
    assert vector_kind(Source.of(path)) == ""
    refused(path, "no reader takes it")


@pytest.mark.parametrize("start", [
    b"fgb\x03fgb\x01" + VRT.format("/etc/hostname").encode(),
    b"\x00\x00\x27\x0a" + VRT.format("/etc/hostname").encode(),
    b"SQLite format 3\0" + bytes(52) + b"GPKG" + VRT.format("/etc/hostname").encode(),
])
def test_a_virtual_layer_behind_the_first_bytes_of_a_format_is_refused(tmp_path, start):
    "Two formats in one file: the bytes that the library looks for text in end at a zero."
    path = tmp_path / "x.shp"
    path.write_bytes(start + bytes(200))
    with pytest.raises(InputError):
        layers_of(Source.of(path))
    with pytest.raises(InputError):
        read_logs(sort_files([path], {path: "log"}).logs, PLAIN)


@pytest.mark.parametrize("made", [
    "CREATE VIEW deep AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT i AS fid FROM n",
    "CREATE VIRTUAL TABLE deep USING fts5(a)",
])
def test_a_database_that_makes_up_its_layers_is_refused(tmp_path, made):
    "A view may run for ever, a virtual table may open other files."
    path = tmp_path / "x.gpkg"
    FRAME.to_file(path, layer="real")
    with sqlite3.connect(path) as database:
        database.execute(made)
        database.execute("INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) "
                         "VALUES ('deep', 'features', 'deep', 4326)")
    database.close()
    refused(path, r"x\.gpkg: 'deep' is a view or a virtual table")
    (tmp_path / "good.csv").write_text("lat,lon,depth_m\n46.0,13.0,4.5\n")
    files = sort_files([tmp_path])
    assert [source.name for source in files.logs] == ["good.csv"] and "virtual table" in files.messages[0]


def test_entities_and_document_types_in_xml_are_refused(tmp_path):
    "Also where they would only make the text longer."
    path = tmp_path / "x.gpx"
    path.write_text('<!DOCTYPE gpx [<!ENTITY a SYSTEM "file:///etc/hostname">]>'
                    '<gpx version="1.1" creator="t"><trk><trkseg>'
                    '<trkpt lat="1" lon="2"><extensions><depth>&a;</depth></extensions></trkpt></trkseg></trk></gpx>')
    refused(path, "entities or a document type")


def test_a_crs_with_an_address_is_not_fetched(tmp_path):
    "The old member of GeoJSON may link to one."
    heard = []
    with socket.create_server(("127.0.0.1", 0)) as server:
        threading.Thread(target=lambda: heard.append(server.accept()), daemon=True).start()
        link = {"type": "link", "properties": {"href": f"http://127.0.0.1:{server.getsockname()[1]}/", "name": "x"}}
        point = {"type": "Point", "coordinates": [1, 2]}
        feature = {"type": "Feature", "properties": {"depth_m": 4}, "geometry": point}
        path = tmp_path / "x.geojson"
        path.write_text(json.dumps({"type": "FeatureCollection", "crs": link, "features": [feature]}))
        refused(path, "CRS is of no use")
    assert not heard


def test_lengths_that_lie_do_not_fill_memory(tmp_path):
    "A header of 4 GB in a small file, and a Shapefile that says it is larger than it is."
    path = tmp_path / "x.fgb"
    path.write_bytes(b"fgb\x03fgb\x01" + struct.pack("<L", 0xFFFFFFF0) + bytes(64))
    refused(path, "no reader takes it")
    FRAME.to_file(tmp_path / "p.shp")
    whole = bytearray((tmp_path / "p.shp").read_bytes())
    struct.pack_into(">L", whole, 24, 0x7FFFFFF0)
    (tmp_path / "p.shp").write_bytes(whole)
    read = sort_files([tmp_path / "p.shp"], {tmp_path / "p.shp": "log"})
    assert len(read.logs) == 1


def test_no_journal_and_no_copy_is_left(tmp_path, monkeypatch):
    "Neither beside the user's file nor in the folder for temporary files."
    lake, spare = tmp_path / "lake", tmp_path / "spare"
    lake.mkdir()
    spare.mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(spare))
    FRAME.to_file(lake / "x.gpkg")
    read_logs(sort_files([lake]).logs, PLAIN)
    assert [path.name for path in lake.iterdir()] == ["x.gpkg"] and list(spare.iterdir()) == []


def test_a_scientific_container_is_refused_whatever_it_is_called(tmp_path):
    "HDF5 can hold links to other files; no reader takes it under any of our endings, and none follows such a link."
    for ending in (".csv", ".nmea", ".gpkg", ".tif", ".parquet", ".nc", ".h5"):
        path = tmp_path / f"log{ending}"
        path.write_bytes(b"\x89HDF\r\n\x1a\n" + b"\0" * 8 + b"external_link /etc/passwd\0" * 40)
        with pytest.raises(InputError):
            sort_files([path])
