"""Positions in tables: degrees, or a projected CRS by the user's word; single readings with their errors; Parquet."""

from __future__ import annotations

import io

import geopandas
import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from log_lines import source_of
from numpy.testing import assert_allclose
from pyarrow import parquet
from pyproj import Transformer

from lakemap.errors import InputError, SettingError
from lakemap.geo.projected import GivenCrs
from lakemap.model.soundings import COLUMN_DTYPES
from lakemap.publish.soundings_file import write_soundings
from lakemap.read.find import sort_files
from lakemap.read.load import read_logs
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source
from lakemap.read.table import TableReader

LON, LAT = -93.4, 45.1


def read(folder, text, **settings):
    "The rows of a table with this content."
    return TableReader().read(source_of(folder, text, "t.csv"), ReadSettings(**settings))


def said(rows, *words):
    "Whether one message holds all these words."
    return any(all(word in text for word in words) for text in rows.messages)


def projected(code):
    "A table of one place on a CRS, by pyproj's own transformer."
    x, y = Transformer.from_crs("EPSG:4326", code, always_xy=True).transform(LON, LAT)
    return f"easting,northing,depth_m\n{x:.4f},{y:.4f},3\n"


@pytest.mark.parametrize("code", ["EPSG:32615", "EPSG:26915", "EPSG:3857", "EPSG:26993", "EPSG:2812"])
def test_projected_coordinates_with_their_crs(tmp_path, code):
    "UTM, Web Mercator, state planes in metres and feet: the place within 2 cm."
    rows = read(tmp_path, projected(code), crs=code)
    assert_allclose([rows.lon_deg[0], rows.lat_deg[0]], [LON, LAT], rtol=0, atol=2e-7)


def test_the_crs_as_well_known_text(tmp_path):
    "WKT means the same as the code."
    text = GivenCrs.of("EPSG:32615").crs.to_wkt()
    assert read(tmp_path, projected("EPSG:32615"), crs=text).lat_deg[0] == pytest.approx(LAT, abs=1e-7)


def test_metres_without_a_crs_are_asked_for(tmp_path):
    "The error names both columns and the option; x and y that can only be degrees are taken so, aloud."
    with pytest.raises(InputError, match=r"'easting' and 'northing' \(such as 468.*no degrees.*--crs EPSG"):
        read(tmp_path, projected("EPSG:32615"))
    rows = read(tmp_path, "y,x,z\n49.66621,-93.74006,-2.59\n49.66617,-93.74007,-2.68\n", depth_unit="m")
    assert rows.lat_deg[0] == 49.66621 and rows.logged_depth_m.tolist() == [2.59, 2.68]
    assert said(rows, "'x' and 'y' are taken as longitude and latitude")
    with pytest.raises(InputError, match="--crs"):
        read(tmp_path, "x,y,depth_m\n" + "".join(f"{i},{i / 2},3\n" for i in range(80)))


def test_a_datum_shift_that_is_only_guessed_is_refused_with_its_grid(tmp_path):
    "ATS77 needs a grid that PROJ does not bring: its name stands in the error; NAD27 is shifted with its error said."
    with pytest.raises(SettingError, match=r"PROJ lacks the grid \S+\.(gsb|tif)"):
        read(tmp_path, "lat,lon,depth_m\n45,-63,3\n", crs="EPSG:4122")
    rows = read(tmp_path, "lat,lon,depth_m\n46,-93,3\n", crs="EPSG:4267")
    assert said(rows, "EPSG:4267", "error of") and 1e-5 < abs(rows.lon_deg[0] + 93) < 1e-3


@pytest.mark.parametrize("text, words", [
    ("EPSG:1", "no such CRS"), ("moon", "no such CRS"), ("EPSG:5773", "neither projected"),
])
def test_what_is_no_crs_for_places_is_refused(tmp_path, text, words):
    "With an example of one that is."
    with pytest.raises(SettingError, match=f"{words}.*EPSG:32632"):
        read(tmp_path, projected("EPSG:32615"), crs=text)


def test_the_unit_of_a_header_must_be_that_of_the_crs(tmp_path):
    "Feet on a CRS in metres would be another continent."
    with pytest.raises(InputError, match=r"'northing_ft' is in ft, but EPSG:32615 counts in m"):
        read(tmp_path, "easting_ft,northing_ft,depth_m\n1,2,3\n", crs="EPSG:32615")


def test_single_readings_by_how_they_were_taken(tmp_path):
    "Their own errors where written, else those of the way; no track, no sounder, counted from the surface."
    rows = read(tmp_path, "lat,lon,depth_m,how,depth_error,position_error\n"
                "45,-93,4,line,,\n45,-93.01,2,Pole,0.02,\n45,-93.02,3,lead line,,8\n")
    facts = rows.logs[0]
    assert facts.single and not facts.acoustic and facts.depth_reference == "surface" and facts.reference_known
    assert_allclose(rows.depth_sigma_m, [np.hypot(0.05, 0.08), 0.02, np.hypot(0.05, 0.06)], rtol=1e-6)
    assert rows.position_sigma_m.tolist() == [5, 5, 8] and said(rows, "line 2, pole 1", "no pass")


def test_holes_in_the_ice(tmp_path):
    "From the water in the hole as it is; from the top of the ice 8.3 % of the thickness less; no thickness: said."
    rows = read(tmp_path, "lat,lon,depth_ft,how,ice_thickness_in,ice_thickness_ft\n45,-93,10,ice,,2\n"
                "45,-93,10,ice top,,2\n45,-93,10,ice_top,,\n")
    assert_allclose(rows.logged_depth_m / 0.3048, [10, 10 - 2 * (1 - 917 / 1000), 10], rtol=1e-12)
    assert said(rows, "2 depths from the top of the ice", "8.3 %", "1 do not say the thickness")


def test_a_castable_sounder(tmp_path):
    "A sounder after all; its place is the phone's, a cast away. Beside a line in one table it is said."
    rows = read(tmp_path, "time,lat,lon,depth_m,how\n2025-06-01T10:00:00Z,45,-93,4,cast\n")
    assert rows.logs[0].single and rows.logs[0].acoustic and rows.position_sigma_m[0] == 25
    mixed = read(tmp_path, "lat,lon,depth_m,how\n45,-93,4,cast\n45,-93,4,line\n")
    assert mixed.logs[0].acoustic and said(mixed, "castings beside")


def test_a_table_with_hardly_any_way_is_a_track(tmp_path):
    "An unknown word is counted; errors that a table writes stay with its rows all the same."
    rows = read(tmp_path, "lat,lon,depth_m,how,depth_error_m\n45,-93,4,,0.3\n45,-93,4,line,\n45,-93,4,sonar,\n")
    assert not rows.logs[0].single and rows.depth_sigma_m[0] == pytest.approx(0.3) and np.isnan(rows.depth_sigma_m[1])


def frame():
    "A small table in memory."
    n = 5
    return pd.DataFrame({
        "time": pd.date_range("2025-06-01", periods=n, freq="s", tz="UTC"), "lat": LAT + np.arange(n) * 1e-5,
        "lon": LON, "depth_ft": 10.0 + np.arange(n), "second_seen": ["none", "strong", "odd", None, "third"],
    })


def read_file(path, **settings):
    "A file found as a log by its content."
    return read_logs(sort_files([path]).logs, ReadSettings(**settings))


def test_parquet_reads_as_the_same_table_in_csv(tmp_path):
    "Every column to the byte, whatever the types: timestamps, texts, dictionaries, dates apart, nulls."
    table = frame()
    table.to_csv(tmp_path / "a.csv", index=False, date_format="%Y-%m-%dT%H:%M:%SZ")
    csv = read_file(tmp_path / "a.csv").with_columns(row=np.arange(1, 6))
    split = table.assign(date=table.time.dt.date, time=table.time.dt.time)
    forms = {"plain": table, "texts": table.assign(time=table.time.astype(str), depth_ft=table.depth_ft.astype(str)),
             "category": table.astype({"second_seen": "category"}), "split": split,
             "small": table.astype({"depth_ft": "float32"})}
    for name, form in forms.items():
        form.to_parquet(tmp_path / f"{name}.parquet")
        rows = read_file(tmp_path / f"{name}.parquet")
        assert all(getattr(rows, key).tobytes() == getattr(csv, key).tobytes() for key in COLUMN_DTYPES), name
        assert said(rows, "'odd'")


@pytest.mark.parametrize("crs, encoding", [(4326, "WKB"), (32615, "WKB"), (4326, "geoarrow"), (26915, "geoarrow")])
def test_geoparquet_points(tmp_path, crs, encoding):
    "Points on any CRS that the file names, in both encodings of GeoParquet 1.1; an empty one has no place."
    table = frame()
    at = geopandas.points_from_xy(table.lon, table.lat)
    points = geopandas.GeoDataFrame(table[["time", "depth_ft"]], geometry=at, crs=4326).to_crs(crs)
    points.to_parquet(tmp_path / "g.parquet", geometry_encoding=encoding)
    rows = read_file(tmp_path / "g.parquet")
    assert_allclose([rows.lat_deg, rows.lon_deg], [table.lat, table.lon], rtol=0, atol=1e-8)


def test_parquet_that_cannot_be_used_is_one_clear_line(tmp_path):
    "Cut off, filled with zeros, without a unit, of no known CRS, of our own making, without rows."
    table = frame()
    table.to_parquet(tmp_path / "a.parquet")
    whole = (tmp_path / "a.parquet").read_bytes()
    (tmp_path / "cut.parquet").write_bytes(whole[:-40])
    (tmp_path / "torn.parquet").write_bytes(whole[:8] + bytes(len(whole) // 3) + whole[8 + len(whole) // 3 :])
    table.rename(columns={"depth_ft": "depth"}).to_parquet(tmp_path / "unit.parquet")
    table.iloc[:0].to_parquet(tmp_path / "none.parquet")
    table.drop(columns="depth_ft").to_parquet(tmp_path / "depthless.parquet")
    write_soundings(read_file(tmp_path / "a.parquet"), tmp_path / "own.parquet")
    points = geopandas.GeoDataFrame(table[["depth_ft"]], geometry=geopandas.points_from_xy(table.lon, table.lat))
    points.to_parquet(tmp_path / "free.parquet")
    for name, words in (("cut", "damaged"), ("torn", "damaged"), ("unit", "--depth-unit"), ("none", "no rows"),
                        ("depthless", "depth"), ("own", "a result of lakemap"), ("free", "--crs")):
        with pytest.raises(InputError, match=words) as fault:
            read_file(tmp_path / f"{name}.parquet")
        assert "\n" not in str(fault.value) and f"{name}.parquet" in str(fault.value)
    assert len(read_file(tmp_path / "free.parquet", crs="EPSG:4326")) == 5


def test_a_stream_that_cannot_jump_is_held_whole(tmp_path, monkeypatch):
    "As a packed file is: read from its start to its end."
    parquet.write_table(pa.table({"lat": [LAT], "lon": [LON], "depth_m": [3.0]}), tmp_path / "a.parquet")

    class Forward(io.BytesIO):
        def seekable(self):
            return False

    content = (tmp_path / "a.parquet").read_bytes()
    monkeypatch.setattr(Source, "open", lambda self: Forward(content))
    assert read_file(tmp_path / "a.parquet").logged_depth_m.tolist() == [3.0]
