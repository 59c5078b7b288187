"""What stands up along a pass becomes a hit; one ping alone only with support; the floor's shape never."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from sailed import CORNER_M, UTM_33, flat, hump, ledge, logged, sail, sounded, tilted

from lakemap.clean import CleanSettings, clean
from lakemap.echo import EchoSettings, find_rises, place_marks
from lakemap.geo.crs import unproject
from lakemap.model.flags import Flag
from lakemap.model.hits import FROM_MARK, FROM_RISE, Hits
from lakemap.model.marks import Marks
from lakemap.model.soundings import Soundings
from lakemap.physics.beam import footprint_diameter_m

SETTINGS = EchoSettings()
NO_LOG = replace(Soundings.build(0), crs=UTM_33)


def planted(things, floor=flat, noise_m=0.04, seed=1, facts=None, **way):
    "Cleaned passes over a floor on which things (x, y, length, height) stand, all in metres."
    x, y, sailed = sail(**way)
    depth = floor(x, y) + np.random.default_rng(seed).normal(0.0, noise_m, len(x))
    for px, py, length, height in things:
        depth = np.where(np.hypot(x - px, y - py) <= length / 2, depth - height, depth)
    return clean(logged(x, y, depth, sailed, **(facts or {})), CleanSettings())


def mark_at(x, y):
    "One mark as a hit."
    lon, lat = unproject(UTM_33, np.array([CORNER_M[0] + x]), np.array([CORNER_M[1] + y]))
    return place_marks(
        Marks(lon, lat, ("stump",), ("S1",), ("",), np.array(["NaT"], "datetime64[ms]"), ("m.gpx",)), NO_LOG, SETTINGS
    )[0]


def test_a_thing_of_three_pings_is_one_hit_of_its_place_height_and_floor():
    "A thing 3 m long and 1 m high at (120, 20): place within 1 m, height within 0.15 m, the floor's depth below it."
    hits = find_rises(planted([(120.0, 20.0, 3.0, 1.0)]), SETTINGS)
    assert len(hits) == 1 and hits.kind[0] == "cover" and hits.origin[0] == FROM_RISE and hits.pings[0] >= 2
    assert np.hypot(hits.x_m[0] - CORNER_M[0] - 120, hits.y_m[0] - CORNER_M[1] - 20) < 1.0
    assert hits.height_m[0] == pytest.approx(1.0, abs=0.15) and hits.depth_m[0] == pytest.approx(6.0, abs=0.15)
    assert hits.pass_id[0] == 1 and hits.confidence[0] > 0.9


@pytest.mark.parametrize("floor", [flat, tilted, hump, ledge], ids=lambda f: f.__name__)
def test_bare_floors_give_no_hits(floor):
    "Plane, slope, hump and ledge without anything on them."
    assert len(find_rises(clean(sounded(floor, passes=8, seed=2), CleanSettings()), SETTINGS)) == 0


def test_one_ping_alone_is_no_hit():
    "A stump that one ping met: noted as a rise, not a hit."
    cleaned = planted([(119.7, 20.0, 0.5, 1.0)])
    assert np.count_nonzero(cleaned.has(Flag.rise)) == 1
    assert len(find_rises(cleaned, SETTINGS)) == 0


def test_one_ping_with_another_pass_beside_it_is_a_hit():
    "Passes 4 m apart each meet something 0.9 m high within 4 m of each other: both are hits."
    hits = find_rises(planted([(120.6, 20.0, 0.5, 0.9), (121.5, 24.0, 0.5, 1.0)], apart_m=4.0, passes=10), SETTINGS)
    assert hits.pings.tolist() == [1, 1]
    apart = find_rises(planted([(120.6, 20.0, 0.5, 0.9), (180.0, 24.0, 0.5, 1.0)], apart_m=4.0, passes=10), SETTINGS)
    assert len(apart) == 0


def test_a_pass_does_not_support_itself():
    "Two single pings 5.4 m apart on one pass: neither is a hit, nobody else saw them."
    cleaned = planted([(119.7, 20.0, 0.5, 1.0), (125.1, 20.0, 0.5, 1.0)])
    assert np.count_nonzero(cleaned.has(Flag.rise)) == 2
    assert len(find_rises(cleaned, SETTINGS)) == 0


def test_unlike_heights_do_not_support_each_other():
    "0.5 m beside 2.4 m, one ping each: not sightings of one thing."
    assert len(find_rises(planted([(120.6, 20.0, 0.5, 0.5), (121.5, 24.0, 0.5, 2.4)], apart_m=4.0, passes=10),
                          SETTINGS)) == 0


def test_one_ping_with_a_mark_beside_it_is_a_hit():
    "A mark 6 m away supports it, one 40 m away does not."
    cleaned = planted([(119.7, 20.0, 0.5, 1.0)])
    assert find_rises(cleaned, SETTINGS, mark_at(120.0, 26.0)).pings.tolist() == [1]
    assert len(find_rises(cleaned, SETTINGS, mark_at(120.0, 60.0))) == 0


def test_two_false_echoes_in_a_row_on_a_turn_are_no_hit():
    "A rise whose shoulders lie on another course is not taken: the floor may simply be shallower at the turn."
    there = np.arange(0.0, 100.0, 0.9)
    x = np.concatenate([there, np.full(len(there), there[-1])])
    y = np.concatenate([np.zeros(len(there)), there])
    depth = flat(x, y) + np.random.default_rng(6).normal(0, 0.04, len(x))
    corner = len(there)
    depth[corner - 1 : corner + 1] -= 1.0
    assert len(find_rises(clean(logged(x, y, depth), CleanSettings()), SETTINGS)) == 0


def test_position_sigma_joins_fix_and_footprint():
    "2.5 m of fix and a quarter of the beam's footprint at the floor; the log's beam counts before the assumed one."
    for facts, beam in (({}, 20.0), ({"beam_deg": 40.0}, 40.0)):
        hits = find_rises(planted([(120.0, 20.0, 3.0, 1.0)], facts=facts), SETTINGS)
        expected = np.hypot(2.5, footprint_diameter_m(6.0, beam) / 4)
        assert_allclose(hits.position_sigma_m, expected, rtol=0.02)


def test_confidence_rises_with_height_and_support():
    "Higher things are surer, and so are those another pass saw."
    low, high = (find_rises(planted([(120.0, 20.0, 3.0, height)]), SETTINGS) for height in (0.4, 1.2))
    assert low.confidence[0] < high.confidence[0]
    seen_twice = find_rises(planted([(120.0, 22.0, 6.0, 0.4)], apart_m=4.0, passes=10), SETTINGS)
    assert len(seen_twice) == 2 and seen_twice.confidence.min() > low.confidence[0]


def test_most_things_on_a_lake_are_found_and_few_hits_are_false():
    "100 things 0.5 to 1.5 m high, 1.5 to 5 m long, in 5 to 10 m with 4 cm + 0.7 %: 85 % of those two pings met found."
    rng = np.random.default_rng(8)

    def rolling(x, y):
        return 7.5 + 2.0 * np.sin(np.asarray(x) / 60) + 0.5 * np.sin(np.asarray(y) / 40)

    x, y, sailed = sail(length_m=800.0, passes=20)
    depth = rolling(x, y)
    things = np.column_stack([rng.uniform(20, 780, 100), 20.0 * rng.integers(0, 20, 100), rng.uniform(1.5, 5, 100),
                              rng.uniform(0.5, 1.5, 100)])
    met = np.zeros(len(things), dtype=int)
    for number, (px, py, length, height) in enumerate(things):
        inside = np.hypot(x - px, y - py) <= length / 2
        met[number] = np.count_nonzero(inside)
        depth = np.where(inside, depth - height, depth)
    depth = depth + rng.normal(0, 1, len(x)) * np.hypot(0.04, 0.007 * depth)
    hits = find_rises(clean(logged(x, y, depth, sailed), CleanSettings()), SETTINGS)
    near = np.hypot(hits.x_m[:, None] - CORNER_M[0] - things[:, 0], hits.y_m[:, None] - CORNER_M[1] - things[:, 1]) < 6
    assert near.any(axis=0)[met >= 2].mean() >= 0.85
    assert near.any(axis=1).mean() >= 0.9


def test_no_rows_no_hits():
    "Nothing usable, no marks: empty, not an error."
    x, y, sailed = sail(passes=1)
    assert len(find_rises(clean(logged(x, y, np.full(len(x), np.nan), sailed), CleanSettings()), SETTINGS)) == 0
    assert len(place_marks(Marks.empty(), NO_LOG, SETTINGS)[0]) == 0


def test_marks_keep_kind_words_and_time():
    "Kind as it was, name and note joined, 8 m of sigma, seconds since 1970; a mark without a place is left out."
    lon, lat = unproject(UTM_33, np.array([500_100.0, np.nan]), np.array([5_000_050.0, np.nan]))
    marks = Marks(lon, lat, ("brush", "rock"), ("B7", "R1"), ("near the dock", ""),
                  np.array(["2025-06-14T12:30:00", "NaT"], "datetime64[ms]"), ("m.csv", "m.csv"))
    hits, _ = place_marks(marks, NO_LOG, SETTINGS)
    assert isinstance(hits, Hits) and len(hits) == 1
    assert (hits.kind[0], hits.note[0], hits.origin[0]) == ("brush", "B7: near the dock", FROM_MARK)
    assert_allclose([hits.x_m[0], hits.y_m[0], hits.position_sigma_m[0]], [500_100.0, 5_000_050.0, 8.0], atol=1e-3)
    # 2025-06-14T12:30:00Z, by date -u -d
    assert hits.time_s[0] == 1749904200.0 and hits.pings[0] == 0 and np.isnan(hits.height_m[0])
