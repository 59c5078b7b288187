"""Real recordings, where a folder of them is named by LAKEMAP_REAL_DATA; counts made with the standard library."""

from __future__ import annotations

import csv
import lzma
import os
from pathlib import Path

import numpy as np
import pynmea2
import pytest
from numpy.testing import assert_allclose
from pyproj import CRS

from lakemap.errors import InputError
from lakemap.geo.crs import project
from lakemap.read.find import sort_files
from lakemap.read.load import read_logs
from lakemap.read.settings import ReadSettings

FOLDER = os.environ.get("LAKEMAP_REAL_DATA")
pytestmark = pytest.mark.skipif(not FOLDER, reason="LAKEMAP_REAL_DATA names no folder of real recordings")


def read(path, **settings):
    "One real file, found as a log by its content."
    return read_logs(sort_files([path]).logs, ReadSettings(**settings))


def test_sites_on_a_projected_crs():
    "137 sites in easting and northing: without a CRS it is asked for; UTM gives them back to the metre."
    path = Path(FOLDER) / "hard_sites.csv"
    with pytest.raises(InputError, match="--crs"):
        read(path)
    rows = read(path, crs="EPSG:32735")
    with path.open(newline="") as file:
        names = ("easting", "northing", "depth_m")
        theirs = [[float(row[name]) for name in names] for row in csv.DictReader(file)]
    x, y = project(CRS.from_epsg(32735), rows.lon_deg, rows.lat_deg)
    assert len(rows) == len(theirs) == 137
    assert_allclose(np.column_stack([x, y, rows.logged_depth_m]), theirs, rtol=0, atol=1e-3)


def test_a_coastal_passage_without_any_date():
    "As many depths as lines say DBT, at the GLL of the same second, else on the way to it, as another parser reads it."
    path = Path(FOLDER) / "coastal_passage.nmea"
    rows = read(path)
    depths, places, same_second, zda = [], [], [], ""
    for line in path.read_text(encoding="ascii").splitlines():
        zda = line.split(",")[1] if line[3:6] == "ZDA" else zda
        if line[3:6] in ("DBT", "GLL"):
            message = pynmea2.parse(line, check=True)
            if line[3:6] == "DBT":
                depths.append(float(message.depth_meters))
            else:
                same_second.append(message.data[4] == zda)
                places.append((message.longitude, message.latitude))
    assert len(rows) == rows.usable().sum() == len(depths) == 7250
    assert rows.logged_depth_m.tolist() == depths and (min(depths), max(depths)) == (1.43, 38.05)
    off = np.hypot(*(np.column_stack([rows.lon_deg, rows.lat_deg]) - np.array(places)).T)
    step = np.hypot(*np.diff(np.array(places), axis=0, prepend=[places[0]]).T)
    fresh, longest = step > 0, np.maximum(step, np.append(step[1:], 0))
    assert sum(same_second) == 5277 and (off[np.array(same_second) & fresh] < 1e-9).all()
    assert (off[fresh] <= step[fresh] + 1e-9).all()
    # a place told again is bridged to where the boat goes on
    assert (~fresh).sum() == 653 and (off[~fresh] <= longest.max()).all()
    assert np.isnat(rows.time_utc).all() and not rows.logs[0].has_date and (np.diff(rows.time_s) > 0).all()


def test_a_small_lake_with_odd_headers():
    "1,039 rows of y, x, z, negative down; all that the file truly lacks is the unit, and that is asked for."
    path = Path(FOLDER) / "small_lake_yxz.csv"
    with pytest.raises(InputError, match=r"'z' does not say the unit.*--depth-unit"):
        read(path)
    rows = read(path, depth_unit="m")
    named = read(path, columns="lat=y,lon=x,depth=z", depth_unit="m")
    assert named.lat_deg.tolist() == rows.lat_deg.tolist()
    with path.open(newline="") as file:
        theirs = [(float(row["y"]), float(row["x"]), -float(row["z"])) for row in csv.DictReader(file)]
    assert len(rows) == rows.usable().sum() == 1039
    assert_allclose(np.column_stack([rows.lat_deg, rows.lon_deg, rows.logged_depth_m]), theirs, rtol=0, atol=1e-12)


def test_ship_tracks_with_longitudes_to_360():
    "82,970 rows with no option and packed as they are: negative down found, longitudes wrapped, duplicates kept."
    path = Path(FOLDER) / "ship_tracks.csv.xz"
    rows = read(path)
    theirs = list(csv.reader(lzma.decompress(path.read_bytes()).decode().splitlines()))[1:]
    twice = len(theirs) - len(set(map(tuple, theirs)))
    ours = np.column_stack([rows.lon_deg, rows.lat_deg, rows.logged_depth_m])
    assert twice == len(ours) - len(np.unique(ours, axis=0)) == 1954
    assert len(rows) == rows.usable().sum() == len(theirs) == 82970
    assert_allclose(rows.lon_deg, [float(row[0]) - 360 for row in theirs], rtol=0, atol=1e-9)
    assert rows.logged_depth_m.sum() == pytest.approx(-sum(float(row[2]) for row in theirs))
