"""Routes of trips and of lines to drive: whole by the schema of GPX 1.1, opened by a reader that is not ours."""

from __future__ import annotations

import io
import itertools

import numpy as np
import pyogrio
import pytest
from schemas import schema
from worlds import small_lake_map

from lakemap.geo.crs import project
from lakemap.model.outputs import CAUTION
from lakemap.model.trip import Stop, Trip
from lakemap.publish.routes import lines_gpx, trip_gpx

HOSTILE = ("<script>alert(1)</script>", "סלע & שן", "]]>", "صخرة \u202e", "&amp;", "石\u0000")
NOT_KNOWN = np.datetime64("NaT")


@pytest.fixture(scope="module")
def gpx_schema():
    "GPX 1.1."
    return schema("gpx_1_1", "gpx.xsd")


def trip(names):
    "From a ramp over stops of these names on longitude 180 and home again, a bend in each way."
    places = [(179.99 + 0.01 * k / max(len(names), 1), -16.5 + 0.01 * k) for k in range(len(names) + 1)]
    stops = [Stop(name, "hump", lon, lat, 3.04, 1.0, 60.0, 90.0 * k)
             for k, (name, (lon, lat)) in enumerate(zip(names, places[1:], strict=True))]
    ways = [np.array([a, ((a[0] + b[0]) / 2, a[1] + 0.003), b]) for a, b in itertools.pairwise([*places, places[0]])]
    return Trip(stops, ways, np.ones(len(ways)), 3600.0, 1.0, (), NOT_KNOWN, NOT_KNOWN)


@pytest.mark.parametrize("names", [HOSTILE, ("hump-1",), ()], ids=["hostile", "one", "none"])
def test_a_trip_is_one_route_by_the_schema(gpx_schema, tmp_path, names):
    "GDAL finds the stops by name in their order, depth in the comment and no height; the caution travels along."
    made = trip_gpx(trip(names), "ft")
    gpx_schema.validate(io.BytesIO(made))
    file = tmp_path / "trip.gpx"
    file.write_bytes(made)
    route = pyogrio.read_dataframe(file, layer="routes")
    assert route["desc"].tolist() == [CAUTION]
    points = pyogrio.read_dataframe(file, layer="route_points")
    said = [name.replace("\0", "\ufffd") for name in names]
    assert points["name"].dropna().tolist() == [*said, "home"] and points["ele"].isna().all()
    assert points["cmt"].dropna().str.startswith("hump at 10.0 ft, ").sum() == len(names)


def test_lines_to_drive_are_routes_of_two_points(gpx_schema, tmp_path):
    "Each end where it lies on the frame, to a centimetre, in the order and direction to drive."
    frame = small_lake_map().depth.frame
    west, south, east, north = frame.bounds
    lines = [(np.array([west, south]), np.array([east, north])), (np.array([east, south]), np.array([west, south]))]
    made = lines_gpx(lines, frame)
    gpx_schema.validate(io.BytesIO(made))
    file = tmp_path / "lines.gpx"
    file.write_bytes(made)
    points = pyogrio.read_dataframe(file, layer="route_points")
    assert points["name"].tolist() == ["01 start", "01 end", "02 start", "02 end"]
    placed = np.column_stack(project(frame.crs, points.geometry.x, points.geometry.y))
    np.testing.assert_allclose(placed, np.concatenate(lines).reshape(4, 2), atol=0.02)
