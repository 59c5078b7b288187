from __future__ import annotations

import itertools

import numpy as np
import pytest

from lakemap.geo.tracks import along_pass_m, cut_passes
from lakemap.model.flags import Flag
from lakemap.model.log_facts import LogFacts
from lakemap.model.soundings import NO_PASS, Soundings


def sailed(corners, step_m=1.0, noise_m=0.0, has_time=True):
    "A log along straight legs between corners, 1 s a step."
    legs = [np.linspace(a, b, max(2, int(np.hypot(*np.subtract(b, a)) / step_m)), endpoint=False)
            for a, b in itertools.pairwise(corners)]
    xy = np.concatenate(legs) + np.random.default_rng(1).normal(0, noise_m, (sum(map(len, legs)), 2))
    n = len(xy)
    return Soundings.build(n, [LogFacts("a", has_time=has_time)], x_m=xy[:, 0], y_m=xy[:, 1],
                           time_s=np.arange(n), logged_depth_m=np.ones(n))


def test_lawn_mower_lines_become_one_pass_each():
    "Four long lines joined by short turns: four passes, turns stay with the line before."
    corners = [(0, 0), (300, 0), (300, 20), (0, 20), (0, 40), (300, 40), (300, 60), (0, 60)]
    out = cut_passes(sailed(corners, noise_m=0.5))
    assert np.unique(out.pass_id).tolist() == [0, 1, 2, 3]
    middle = np.abs(out.x_m - 150) < 100
    for line, y in enumerate((0, 20, 40, 60)):
        assert set(out.pass_id[middle & (np.abs(out.y_m - y) < 3)]) == {line}


def test_a_gentle_bend_is_one_pass():
    "A quarter circle of 300 m radius turns slowly and is cut once at the most."
    angle = np.linspace(0, np.pi / 2, 40)
    out = cut_passes(sailed([(300 * np.cos(a), 300 * np.sin(a)) for a in angle]))
    assert len(np.unique(out.pass_id)) <= 2


def test_a_pause_ends_a_pass():
    "Ten minutes without rows: the boat may have been anywhere."
    rows = sailed([(0, 0), (200, 0)])
    late = rows.with_columns(time_s=np.where(np.arange(len(rows)) >= 100, rows.time_s + 600, rows.time_s))
    assert np.unique(cut_passes(late).pass_id).tolist() == [0, 1]


def test_flagged_rows_belong_to_no_pass():
    "A row with a fault is passed over and the pass goes on behind it."
    rows = sailed([(0, 0), (200, 0)])
    out = cut_passes(rows.with_flag(Flag.position_jump, np.arange(len(rows)) == 50))
    assert out.pass_id[50] == NO_PASS and set(np.delete(out.pass_id, 50)) == {0}


def test_gathered_points_are_no_track():
    "Rows in random order without times get no pass."
    rows = sailed([(0, 0), (300, 0), (300, 20), (0, 20)], has_time=False)
    shuffled = rows.take(np.random.default_rng(2).permutation(len(rows)))
    assert set(cut_passes(shuffled).pass_id) == {NO_PASS}
    assert set(cut_passes(rows).pass_id) != {NO_PASS}


def test_distance_along_a_pass_starts_again_with_each():
    "100 m in 1 m steps; the second pass starts at zero."
    out = cut_passes(sailed([(0, 0), (100, 0), (100, 100)]))
    along = along_pass_m(out)
    for number in np.unique(out.pass_id):
        rows = along[out.pass_id == number]
        assert rows[0] == 0 and rows[-1] == pytest.approx(len(rows) - 1, abs=1.0)


def wandering(n, sigma_m, memory_s, seed=0):
    "Error of n fixes a second apart: a first-order drift, (n, 2)."
    rng = np.random.default_rng(seed)
    keep = np.exp(-1.0 / memory_s)
    out = np.zeros((n, 2))
    for row in range(1, n):
        out[row] = keep * out[row - 1] + sigma_m * np.sqrt(1 - keep**2) * rng.standard_normal(2)
    return out


def placed(xy, **facts):
    "A log of places a second apart."
    n = len(xy)
    return Soundings.build(n, [LogFacts("a", **facts)], x_m=xy[:, 0], y_m=xy[:, 1], time_s=np.arange(n),
                           logged_depth_m=np.ones(n))


def line(start, end, seconds):
    "Places on a straight way, a second apart."
    return np.linspace(start, end, seconds, endpoint=False)


def test_an_hour_at_anchor_is_one_pass():
    "3600 rows that swing on a rope under a fix that wanders by 3 m: one pass between the way there and the way back."
    swing = 12 * np.sin(np.arange(3600) / 90)[:, None] * [[1, 0.3]]
    xy = np.concatenate([line((-300, 0), (0, 0), 200), swing, line((0, 0), (0, 300), 200)])
    out = cut_passes(placed(xy + wandering(len(xy), 3.0, 120.0)))
    assert len(np.unique(out.pass_id)) == 3
    assert len(np.unique(out.pass_id[230:3770])) == 1


def test_a_drift_is_one_pass():
    "20 minutes at 0.3 m/s, on a bent way: one pass, whatever course the fixes seem to take."
    along = np.arange(1200) * 0.3
    xy = np.column_stack([along, 80 * np.sin(along / 90)]) + wandering(1200, 2.0, 60.0)
    assert np.unique(cut_passes(placed(xy)).pass_id).tolist() == [0]


def test_halts_on_the_way_end_no_pass():
    "Paddling by fits and starts, 20 s on and 25 s off, on one course: one pass."
    speed = np.where(np.arange(900) % 45 < 20, 1.4, 0.05)
    xy = np.column_stack([np.cumsum(speed), np.zeros(900)]) + wandering(900, 0.7, 60.0)
    assert np.unique(cut_passes(placed(xy)).pass_id).tolist() == [0]


@pytest.mark.parametrize("radius_m", [25.0, 45.0, 70.0])
def test_trolling_loops_make_passes_of_some_length(radius_m):
    "Half an hour in circles at 1.2 m/s: passes of 100 to 260 m, not one for each turn."
    angle = np.arange(1800) * 1.2 / radius_m
    xy = radius_m * np.column_stack([np.cos(angle), np.sin(angle)]) + np.arange(1800)[:, None] * [[0.05, 0.0]]
    out = cut_passes(placed(xy + wandering(1800, 0.7, 60.0)))
    lengths = np.bincount(out.pass_id) * 1.2
    assert lengths.max() < 270 and (lengths > 100).mean() > 0.8


def test_single_readings_make_no_pass():
    "Readings taken one by one, however they are ordered, were never sailed."
    assert set(cut_passes(placed(line((0, 0), (300, 0), 200), single=True)).pass_id) == {NO_PASS}
