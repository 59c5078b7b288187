"""depth_area_volume.csv and soundings.parquet."""

from __future__ import annotations

import csv
import dataclasses
import io
import json

import numpy as np
import pyarrow.parquet
import pytest
from worlds import small_lake_map, small_soundings

from lakemap.model.soundings import COLUMN_DTYPES, SECOND_SEEN, Soundings
from lakemap.model.terrain import Intervals
from lakemap.publish.soundings_file import soundings_table, write_soundings
from lakemap.publish.table import depth_area_volume_csv


def read_table(unit):
    "The table of the small lake, read back."
    return list(csv.DictReader(io.StringIO(depth_area_volume_csv(small_lake_map().terrain.table, unit))))


def test_table_in_feet_has_si_beside_it():
    "1 acre = 4046.8564224 m2, 1 acre-foot = 1233.48183754752 m3, exact by the international foot."
    row = read_table("ft")[1]
    assert list(row) == ["depth_m", "area_m2", "volume_m3", "depth_ft", "area_acre", "volume_acre_ft"]
    assert float(row["depth_ft"]) == pytest.approx(2 / 0.3048, abs=1e-3)
    assert float(row["area_acre"]) == pytest.approx(float(row["area_m2"]) / 4046.8564224, abs=1e-4)
    assert float(row["volume_acre_ft"]) == pytest.approx(float(row["volume_m3"]) / 1233.48183754752, abs=1e-4)


def test_table_in_metres_is_si_alone():
    "Area and volume of the bowl: rim pi a b (1 - d/8), volume half of the cap of depth 8 - d (paraboloid)."
    row = read_table("m")[2]
    assert list(row) == ["depth_m", "area_m2", "volume_m3"]
    assert float(row["area_m2"]) == pytest.approx(np.pi * 140 * 115 / 2, abs=0.1)
    assert float(row["volume_m3"]) == pytest.approx(np.pi * 140 * 115 / 2 * 4 / 2, abs=0.1)


def test_every_row_is_in_the_soundings_file(tmp_path):
    "Held out rows too, with the bits of their flags and the name of their first fault; log names as text."
    made = small_soundings()
    write_soundings(made, tmp_path / "s.parquet")
    table = pyarrow.parquet.read_table(tmp_path / "s.parquet")
    assert table.num_rows == 558 and table.column_names == [*COLUMN_DTYPES, "fault"]
    rows = table.to_pydict()
    assert rows["fault"][:13] == ["spike"] * 5 + ["lost_bottom"] * 4 + ["spike"] * 3 + [None]
    assert rows["flags"] == made.flags.tolist() and rows["log"][-1] == "screen <b>.csv"
    np.testing.assert_array_equal(table["depth_m"].to_numpy(), made.depth_m)
    np.testing.assert_array_equal(table["logged_depth_m"].to_numpy(), made.logged_depth_m)
    assert rows["heading_deg"][0] is None and rows["second_seen"][0] is None
    assert str(rows["time_utc"][0]) == "2024-05-29 16:26:40+00:00"


def test_soundings_file_says_what_its_depths_refer_to():
    "CRS, datum, common error and corrections stand in the file's own description."
    told = soundings_table(small_soundings()).schema.metadata
    assert told[b"crs"] == b"EPSG:32632" and told[b"datum"] == b"water surface on the day"
    assert told[b"common_offset_m"] == b"0.3"
    assert json.loads(told[b"corrections"]) == [["draft of evening.nmea", 0.0, 0.4]]


def test_words_for_the_second_bottom():
    "Codes become words; not noted becomes null."
    table = soundings_table(Soundings.build(3, second_seen=[-1, 0, 3]))
    assert table["second_seen"].to_pylist() == [None, SECOND_SEEN[0], SECOND_SEEN[3]]


def test_an_empty_soundings_file_has_its_columns(tmp_path):
    "No row, no log: still a whole file."
    write_soundings(Soundings.build(0), tmp_path / "s.parquet")
    assert pyarrow.parquet.read_table(tmp_path / "s.parquet").column_names == [*COLUMN_DTYPES, "fault"]


def test_intervals_stand_beside_what_they_bound():
    "With realisations every area and volume gets a low and a high end, in SI and in a reader's units."
    told = small_lake_map().terrain.table
    half = Intervals(0.9, 50, told.area_m2 * 0.9, told.area_m2 * 1.1, told.volume_m3 * 0.8, told.volume_m3 * 1.2)
    for unit, area, volume in (("m", "area_low_m2", "volume_high_m3"), ("ft", "area_low_acre", "volume_high_acre_ft")):
        table = dataclasses.replace(told, intervals=half)
        rows = list(csv.DictReader(io.StringIO(depth_area_volume_csv(table, unit))))
        plain = {"area_low_m2": "area_m2", "area_low_acre": "area_acre"}[area]
        assert float(rows[0][area]) == pytest.approx(0.9 * float(rows[0][plain]), rel=1e-3)
        assert float(rows[0][volume]) > float(rows[0][volume.replace("high_", "")])
        assert "area_low_m2" not in read_table(unit)[0]
