"""Marks as people make them: tapped late, aimed to the side, logged where a fish was landed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from sailed import CORNER_M, UTM_33, logged

from lakemap.echo import EchoSettings, place_marks
from lakemap.geo.crs import convergence_deg, unproject
from lakemap.model.hits import Hits
from lakemap.model.marks import Marks
from lakemap.model.soundings import Soundings

SETTINGS = EchoSettings()
START = np.datetime64("2025-06-14T12:30:00.000")
SPEED_MPS, NAN = 1.8, float("nan")


def boat(length_m=1500.0, legs=6, apart_m=25.0):
    "A boat that goes to and fro at 1.8 m/s and reads twice a second; its rows carry dates."
    along = np.arange(0.0, length_m, SPEED_MPS / 2)
    x = np.concatenate([along if leg % 2 == 0 else along[::-1] for leg in range(legs)])
    y = np.repeat(np.arange(legs) * apart_m, len(along))
    rows = logged(x, y, np.full(len(x), 6.0))
    return rows.with_columns(
        depth_m=np.full(len(x), 6.0), position_sigma_m=np.full(len(x), 2.0),
        time_utc=START + (rows.time_s * 1000).astype("timedelta64[ms]"))


BOAT = boat()


def rises_at(rows):
    "Things shown right below the boat at some rows."
    n = len(rows)
    full = np.full(n, 1.0)
    return Hits(np.full(n, "cover"), np.full(n, 1, np.int8), BOAT.x_m[rows], BOAT.y_m[rows], 2 * full, 6 * full, full,
                full, np.full(n, 3, np.int32), np.zeros(n, np.int32), BOAT.time_s[rows], BOAT.time_utc[rows],
                np.full(n, ""))


def tapped(rows, kind="stump", source="m.csv", **aim):
    "Marks made where the boat was at some rows."
    n = len(rows)
    return Marks(BOAT.lon_deg[rows], BOAT.lat_deg[rows], (kind,) * n, ("",) * n, ("",) * n, BOAT.time_utc[rows],
                 (source,) * n, **{name: np.full(n, value) for name, value in aim.items()})


def things(count, seed, away=60):
    "Rows of the boat at which it passed things, not at the turns, and never two within 30 m on one leg."
    rng = np.random.default_rng(seed)
    leg = len(BOAT) // 6
    slots = np.arange(away, leg - away, 34)
    return np.sort(rng.choice(slots, count, replace=False) + leg * rng.integers(0, 6, count))


def miss_m(hits, rows):
    "How far each hit lies from the boat's place at a row."
    return np.hypot(hits.x_m - BOAT.x_m[rows], hits.y_m - BOAT.y_m[rows])


@pytest.mark.parametrize("lag_s", [3.0, 6.0, 9.5])
def test_a_lag_put_in_comes_back(lag_s):
    "Marks tapped late by a lag give or take 0.8 s, one in four of nothing shown: found to 0.6 s, misses fall."
    rng = np.random.default_rng(7)
    passed = things(32, 1)
    late = passed + np.rint(2 * (lag_s + rng.normal(0, 0.8, 32))).astype(int)
    hits, said = place_marks(tapped(late), BOAT, SETTINGS, rises_at(passed[:24]))
    found = float(said[0].split(" s late")[0].split()[-1])
    assert abs(found - lag_s) <= 0.6 and "32 marks were tapped" in said[0]
    assert np.median(miss_m(hits, passed)) < 2.0 < np.median(miss_m(hits, late)) and hits.position_sigma_m.max() < 4.0
    # names come from where it was noted, which the lag does not move
    assert_allclose(hits.noted_lon_deg, BOAT.lon_deg[late], rtol=0, atol=1e-12)


def test_marks_tapped_anywhere_show_no_lag():
    "Of 60 sets of marks that have nothing to do with what was shown at most one is moved, and it is said."
    moved = 0
    for seed in range(60):
        leg = len(BOAT) // 6
        rows = np.random.default_rng(seed).integers(60, leg - 60, 20) + leg * (np.arange(20) % 6)
        hits, said = place_marks(tapped(rows), BOAT, SETTINGS, rises_at(things(30, 100 + seed)))
        moved += "s late" in said[0]
        assert "s late" in said[0] or miss_m(hits, rows).max() < 0.01
    assert moved <= 1


def test_each_file_has_its_own_lag_and_too_few_marks_have_none():
    "One owner taps 8 s late, the other at once; three marks tell no lag and stay, the way of some seconds their error."
    passed = things(24, 3)
    both = Marks.concatenate([tapped(passed + 16, source="a.csv"), tapped(passed, source="b.csv")])
    hits, said = place_marks(both, BOAT, SETTINGS, rises_at(passed))
    assert miss_m(hits, np.tile(passed, 2)).max() < 2.0
    assert "a.csv: 24 marks were tapped 8.0 s late" in said[0] and "does not show" in said[1]
    few, said = place_marks(tapped(passed[:3] + 16), BOAT, SETTINGS, rises_at(passed))
    assert said == () and miss_m(few, passed[:3] + 16).max() < 0.01
    assert_allclose(few.position_sigma_m, np.sqrt(2.0**2 + (SPEED_MPS * SETTINGS.tap_lag_s) ** 2 / 2), rtol=1e-3)


def test_a_catch_has_a_lag_of_its_own_and_a_wide_error():
    "Fish fought for a minute and a half are put back where they bit; without a lag that shows they lie within 20 m."
    passed = things(16, 5, away=260)
    both = Marks.concatenate([tapped(passed + 180, "catch"), tapped(passed + 8)])
    hits, said = place_marks(both, BOAT, SETTINGS, rises_at(passed))
    assert any("16 catches were tapped 90" in text for text in said) and any("16 marks were" in text for text in said)
    assert miss_m(hits, np.tile(passed, 2)).max() < 3.0
    alone, _ = place_marks(tapped(passed[:2], "catch"), BOAT, SETTINGS)
    assert_allclose(alone.position_sigma_m, 20.0)


def test_a_bearing_and_an_aim_move_a_mark_to_the_side():
    "20 m on 90 deg true, on a boat that was not logging; 20 m to port of a boat that heads east: 20 m north."
    there = Marks(*unproject(UTM_33, np.array([520_000.0]), np.array([CORNER_M[1]])), ("rock",), ("",), ("",),
                  np.array(["NaT"], "datetime64[ms]"), ("m.csv",), (), np.array([20.0]), np.array([90.0]))
    hits, _ = place_marks(there, replace(Soundings.build(0), crs=UTM_33), SETTINGS)
    # true east is turned off the grid by the meridian convergence, computed by PROJ
    turn = np.radians(90.0 - convergence_deg(UTM_33, there.lon_deg, there.lat_deg)[0])
    assert_allclose([hits.x_m[0] - 520_000.0, hits.y_m[0] - CORNER_M[1]], 20 * np.array([np.sin(turn), np.cos(turn)]),
                    atol=1e-3)
    row = np.array([400])
    port, _ = place_marks(tapped(row, range_m=20.0, aim_deg=-90.0), BOAT, SETTINGS)
    assert_allclose([port.x_m[0] - BOAT.x_m[400], port.y_m[0] - BOAT.y_m[400]], [0.0, 20.0], atol=0.05)


def test_the_error_of_an_aimed_mark_is_an_ellipse_by_hand():
    "Along the sight hypot(1, 0.1 r), across it r times the angle's error; no heading: anywhere on the circle."
    row, r = np.array([400]), 30.0
    aimed, _ = place_marks(tapped(row, range_m=r, aim_deg=90.0), BOAT, SETTINGS)
    tapped_var = 2 * 2.0**2 + (SPEED_MPS * SETTINGS.tap_lag_s) ** 2
    expected = tapped_var + 1.0 + (0.1 * r) ** 2 + (r * np.radians(SETTINGS.aim_error_deg)) ** 2
    assert aimed.position_sigma_m[0] == pytest.approx(np.sqrt(expected / 2), rel=1e-3)
    ring, _ = place_marks(tapped(row, range_m=r), BOAT, SETTINGS)
    assert ring.position_sigma_m[0] == pytest.approx(np.sqrt((tapped_var + r**2) / 2), rel=1e-3)
    assert_allclose([ring.x_m[0], ring.y_m[0]], [BOAT.x_m[400], BOAT.y_m[400]], atol=0.01)


def test_aimed_marks_show_their_lag_too():
    "Things 15 m to port, tapped 5 s late on legs both ways: found and put where they are."
    passed = things(24, 9)
    shown = rises_at(passed)
    side = np.where(BOAT.x_m[passed + 1] > BOAT.x_m[passed], 15.0, -15.0)
    hits, said = place_marks(tapped(passed + 10, range_m=15.0, aim_deg=-90.0), BOAT, SETTINGS,
                             replace(shown, y_m=shown.y_m + side))
    assert "tapped 5.0 s late" in said[0]
    assert np.hypot(hits.x_m - shown.x_m, hits.y_m - shown.y_m - side).max() < 1.5


def test_a_look_covers_its_range_or_what_a_boat_sees():
    "A mark of nothing with a range and no direction: so far around; without a range some metres; aimed: over there."
    row = np.array([400])
    around, _ = place_marks(tapped(row, "nothing", range_m=25.0), BOAT, SETTINGS)
    plain, _ = place_marks(tapped(row, "nothing"), BOAT, SETTINGS)
    aside, _ = place_marks(tapped(row, "nothing", range_m=25.0, aim_deg=90.0), BOAT, SETTINGS)
    assert [around.reach_m[0], plain.reach_m[0], aside.reach_m[0]] == [25.0, SETTINGS.looked_m, SETTINGS.looked_m]
    assert around.position_sigma_m[0] == plain.position_sigma_m[0] < aside.position_sigma_m[0]
    assert aside.y_m[0] == pytest.approx(BOAT.y_m[400] - 25.0, abs=0.05)
