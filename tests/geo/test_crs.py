from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lakemap.errors import NothingUsable, SettingError
from lakemap.geo.crs import convergence_deg, on_crs, point_scale, project, unproject, utm_crs, utm_zone, working_crs
from lakemap.model.flags import Flag
from lakemap.model.log_facts import LogFacts
from lakemap.model.soundings import Soundings

REFERENCE = Path(__file__).parents[1] / "reference"


def reference_rows(name):
    with (REFERENCE / name).open() as lines:
        assert next(lines).startswith("# source")
        return list(csv.DictReader(lines))


@pytest.mark.parametrize("row", reference_rows("utm_points.csv"), ids=lambda row: row["name"])
def test_utm_zone_place_scale_and_convergence_as_published(row):
    "28 places: zone with the exceptions, easting and northing to 2 mm, scale and convergence to the printed digits."
    lon, lat = float(row["lon"]), float(row["lat"])
    assert utm_zone(lon, lat) == int(row["zone_rule_with_exceptions"])
    crs = utm_crs(lon, lat)
    assert crs.to_epsg() == int(row["epsg"])
    x, y = project(crs, lon, lat)
    assert (float(x), float(y)) == pytest.approx((float(row["easting_m"]), float(row["northing_m"])), abs=2e-3)
    assert float(point_scale(crs, lon, lat)) == pytest.approx(float(row["point_scale"]), abs=1e-7)
    assert float(convergence_deg(crs, lon, lat)) == pytest.approx(float(row["convergence_deg"]), abs=1e-5)


@given(lon=st.floats(-179, 179), lat=st.floats(-79, 79))
def test_there_and_back_gives_the_same_place(lon, lat):
    "Projecting and unprojecting gives the place back to a millionth of a degree."
    crs = utm_crs(lon, lat)
    back = unproject(crs, *project(crs, lon, lat))
    assert (float(back[0]), float(back[1])) == pytest.approx((lon, lat), abs=1e-6)


def placed(lon, lat):
    return Soundings.build(len(lon), [LogFacts("a")], lon_deg=lon, lat_deg=lat, logged_depth_m=np.ones(len(lon)))


def test_one_zone_for_a_lake_on_the_antimeridian():
    "Half the rows at 179.99 E, half at 179.99 W: one zone, and metres between them are few."
    rows = placed([179.999, -179.999, 179.998], [10.0, 10.0, 10.0])
    crs = working_crs(rows)
    assert crs.to_epsg() in (32601, 32660)
    x = on_crs(rows, crs).x_m
    assert np.ptp(x) == pytest.approx(0.003 * 109639, rel=0.01)


def test_one_zone_for_a_lake_on_a_zone_border():
    "A lake across 6 E stays whole on the zone of its median position."
    rows = placed([5.99, 6.01, 6.02], [45.0, 45.0, 45.0])
    crs = working_crs(rows)
    assert crs.to_epsg() == 32632
    assert np.isfinite(on_crs(rows, crs).x_m).all()


def test_rows_without_position_are_flagged_not_dropped():
    "A NaN position stays a row and carries no_position."
    rows = placed([5.0, np.nan], [45.0, 45.0])
    out = on_crs(rows, working_crs(rows))
    assert out.has(Flag.no_position).tolist() == [False, True]


def test_no_position_at_all_is_one_clear_line():
    "Nothing to place: the message says how many rows and what to try."
    with pytest.raises(NothingUsable, match=r"none of 2 rows has a position.*--columns"):
        working_crs(placed([np.nan, np.nan], [np.nan, np.nan]))


@pytest.mark.parametrize("text", ["EPSG:4326", "EPSG:999999", "no"])
def test_a_working_crs_must_be_metric(text):
    "Degrees, unknown codes and words are refused with an example that works."
    with pytest.raises(SettingError, match=r"EPSG:32632"):
        working_crs(placed([5.0], [45.0]), text)
