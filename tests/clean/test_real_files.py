"""Real recordings, where a folder of them is named by LAKEMAP_REAL_DATA; counts made with the standard library."""

from __future__ import annotations

import csv
import lzma
import os
from pathlib import Path

import numpy as np
import pytest

from lakemap.clean import CleanSettings, clean
from lakemap.geo.crs import on_crs, working_crs
from lakemap.model.flags import Flag, count_first_faults
from lakemap.model.log_facts import LogFacts
from lakemap.model.soundings import Soundings

FOLDER = os.environ.get("LAKEMAP_REAL_DATA")
pytestmark = pytest.mark.skipif(not FOLDER, reason="LAKEMAP_REAL_DATA names no folder of real recordings")


def cleaned_table(lines, lon, lat, depth):
    "A table read with the standard library (column numbers given, depth negative down), cleaned; and its raw rows."
    raw = list(csv.reader(lines))[1:]
    values = np.array(raw, dtype=float)
    n = len(values)
    rows = Soundings.build(
        n, [LogFacts("table", rows_in=n, has_time=False, has_date=False)], row=np.arange(1, n + 1),
        lon_deg=(values[:, lon] + 180.0) % 360.0 - 180.0, lat_deg=values[:, lat], logged_depth_m=-values[:, depth],
    )
    return clean(on_crs(rows, working_crs(rows)), CleanSettings()), raw


def test_points_four_kilometres_away_are_no_part_of_the_small_lake():
    "Its first six rows are far outliers; of the other thousand hardly any is held out."
    with (Path(FOLDER) / "small_lake_yxz.csv").open() as file:
        cleaned, _ = cleaned_table(file, 1, 0, 2)
    assert np.flatnonzero(cleaned.has(Flag.far_outlier)).tolist() == [0, 1, 2, 3, 4, 5]
    assert np.count_nonzero(~cleaned.usable()) <= 6 + 0.005 * len(cleaned)


def test_rows_that_came_twice_in_the_ship_tracks():
    "As many duplicates as a set of the text rows says, and hardly anything else held out."
    with lzma.open(Path(FOLDER) / "ship_tracks.csv.xz", "rt") as file:
        cleaned, raw = cleaned_table(file, 0, 1, 2)
    counts = count_first_faults(cleaned.flags)
    assert counts.pop("duplicate") == len(raw) - len(set(map(tuple, raw)))
    assert sum(counts.values()) < 0.001 * len(cleaned)
