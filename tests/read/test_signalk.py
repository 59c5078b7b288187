"""Signal K delta messages as JSON lines: units, one depth a ping, own vessel only, streams."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from log_lines import source_of

from lakemap.errors import InputError
from lakemap.model.flags import Flag
from lakemap.read.find import sort_files
from lakemap.read.settings import ReadSettings
from lakemap.read.signalk import SignalKReader

PLAIN = ReadSettings()
NORTH_M = 111_000.0


def at(second):
    "A time of a day in June."
    return f"2025-06-01T10:{int(second) // 60:02d}:{second % 60:06.3f}Z"


def delta(second, values, source="nmea.1", context="vessels.self", **more):
    "One message with values by path."
    update = {"$source": source, "values": [{"path": path, "value": value} for path, value in values.items()]}
    if second is not None:
        update["timestamp"] = at(second)
    return json.dumps({"context": context, "updates": [update], **more}) + "\n"


def place(second, **how):
    "A fix that runs north by 1e-5 degrees a second."
    return delta(second, {"navigation.position": {"latitude": 46.0 + 1e-5 * second, "longitude": 13.0}},
                 source="gps.1", **how)


def depth(second, depth_m, path="belowTransducer", **how):
    "A depth."
    return delta(second, {f"environment.depth.{path}": depth_m}, **how)


def read(folder, *lines):
    "The log of these messages."
    return SignalKReader().read(source_of(folder, "".join(lines), "s.jsonl"), PLAIN)


def test_each_depth_is_placed_between_the_fixes_around_it(tmp_path):
    "Half-way in time is half-way along; temperature comes from kelvin, heading from radians."
    rows = read(tmp_path, place(0), delta(0.2, {"environment.water.temperature": 293.15,
                                                "navigation.headingTrue": math.pi / 2}),
                depth(0.5, 4.25), place(1), depth(1.0, None), place(2))
    assert rows.logged_depth_m[0] == 4.25 and np.isnan(rows.logged_depth_m[1])
    assert rows.lat_deg == pytest.approx([46.000005, 46.00001]) and rows.lon_deg == pytest.approx([13.0, 13.0])
    assert rows.water_c[0] == pytest.approx(20.0) and rows.heading_deg[0] == pytest.approx(90.0)
    assert rows.time_utc[0] == np.datetime64("2025-06-01T10:00:00.500") and rows.row.tolist() == [3, 5]
    assert rows.has(Flag.no_depth).tolist() == [False, True] and rows.logs[0].rows_in == 2


def test_magnetic_headings_gain_their_variation(tmp_path):
    "And one without a variation is no true heading."
    magnetic = {"navigation.headingMagnetic": math.radians(350)}
    rows = read(tmp_path, place(0), delta(0, magnetic), depth(0, 4), place(1),
                delta(1, {**magnetic, "navigation.magneticVariation": math.radians(15)}), depth(1, 4))
    assert np.isnan(rows.heading_deg[0]) and rows.heading_deg[1] == pytest.approx(5.0)


@pytest.mark.parametrize("path, reference, facts", [
    ("belowTransducer", "transducer", {"draft_m": 0.4}),
    ("belowSurface", "surface", {"included_draft_m": 0.4}),
    ("belowKeel", "keel", {"draft_m": 0.4, "datum_offset_m": -0.7}),
])
def test_the_path_says_what_depths_count_from(tmp_path, path, reference, facts):
    "And the offsets that the server knows come along with their origin."
    rows = read(tmp_path, place(0), depth(0, 4, path), place(1),
                depth(1, 0.4, "surfaceToTransducer"), depth(1, 0.7, "transducerToKeel"))
    (log,) = rows.logs
    assert log.depth_reference == reference and log.origins["depth_reference"] == f"environment.depth.{path}"
    assert {name: getattr(log, name) for name in facts} == facts and set(facts) <= set(log.origins)


def test_one_reference_and_one_source_and_the_rest_is_said(tmp_path):
    "A derived depth below the surface beside the raw one, and a second sounder that says less."
    lines = [line for s in range(4) for line in (
        place(s), depth(s, 3.0, "belowSurface", source="derived"), depth(s, 2.6), depth(s, 2.6))]
    rows = read(tmp_path, *lines, depth(2, 9.0, source="nmea.2"))
    assert set(rows.logged_depth_m) == {2.6} and len(rows) == 8
    assert "belowTransducer of nmea.2 (1)" in rows.messages[0] and "belowSurface of derived (4)" in rows.messages[0]


def test_other_vessels_are_not_this_boat(tmp_path):
    "Ships around are in the same log; the greeting says which vessel is the own one."
    own, ship = "vessels.urn:mrn:imo:mmsi:230099999", "vessels.urn:mrn:imo:mmsi:244444444"
    hello = json.dumps({"name": "server", "version": "2.0", "self": own, "roles": ["master"]}) + "\n"
    far = delta(0.5, {"navigation.position": {"latitude": 10.0, "longitude": 10.0}}, context=ship)
    rows = read(tmp_path, hello, place(0, context=own), far, depth(0.5, 4, context=own), place(1, context=own))
    assert rows.lat_deg[0] == pytest.approx(46.000005) and any("1 other vessel" in text for text in rows.messages)


def test_damaged_lines_and_missing_times_are_counted(tmp_path):
    "A line cut off, a message without a time (it has that of the one before), an array of messages a line."
    rows = read(tmp_path, "[\n", place(0).strip() + ",\n", depth(0, 4)[:50] + "\n", place(1).strip() + ",\n",
                depth(None, 5), "]\n")
    assert rows.logged_depth_m.tolist() == [5.0] and rows.time_utc[0] == np.datetime64("2025-06-01T10:00:01")
    said = " ".join(rows.messages)
    assert "1 line not read" in said and "1 message without a time" in said


def test_without_any_time_rows_keep_their_order(tmp_path):
    "Lines stand for time, and nothing says a date."
    rows = read(tmp_path, place(0).replace("timestamp", "x"), depth(None, 4), place(2).replace("timestamp", "x"))
    assert not rows.logs[0].has_time and np.isnat(rows.time_utc).all() and rows.lat_deg[0] == pytest.approx(46.00001)


@pytest.mark.parametrize("lines, words", [
    ([place(0), place(1)], r"s\.jsonl: no depth"), ([depth(0, 4)], r"s\.jsonl: no position"),
])
def test_what_lacks_is_named(tmp_path, lines, words):
    "Depth or position."
    with pytest.raises(InputError, match=words):
        read(tmp_path, *lines)


def test_content_tells_it_from_other_json(tmp_path):
    "Also under a name that says nothing; GeoJSON is not taken for it."
    (tmp_path / "a.x").write_text(place(0) + depth(0, 4) + place(1))
    assert [source.name for source in sort_files([tmp_path]).logs] == ["a.x"]
    assert SignalKReader().likelihood(source_of(tmp_path, '{"type": "Polygon", "coordinates": []}')) == 0


@given(depths=st.lists(st.one_of(st.none(), st.floats(0, 300), st.just("text"), st.just(10 ** 400), st.just(True)),
                       min_size=1, max_size=30))
def test_a_row_for_each_depth_and_no_more(tmp_path_factory, depths):
    "Rows are the depths told, in order; what is no number is a row without a depth."
    lines = [line for s, value in enumerate(depths) for line in (place(s), depth(s, value))]
    numbers = [value if isinstance(value, float) else math.nan for value in depths]
    folder = tmp_path_factory.getbasetemp()
    if not np.isfinite(numbers).any():
        with pytest.raises(InputError):
            read(folder, *lines)
        return
    rows = read(folder, *lines)
    np.testing.assert_array_equal(rows.logged_depth_m, numbers)
    assert rows.lat_deg == pytest.approx(46.0 + 1e-5 * np.arange(len(depths)))
