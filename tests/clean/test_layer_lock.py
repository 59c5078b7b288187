"""Locks on a layer or on weed, and locks on the second echo where the floor is steep or the rows are few."""

from __future__ import annotations

import numpy as np
from sailed import flat, logged, tilted

from lakemap.clean import CleanSettings, clean
from lakemap.model.flags import Flag
from lakemap.model.soundings import Soundings


def crossed_lake(floor, change=None, days_apart=0, step_m=0.9):
    "One pass of 200 m, its depths changed by ``change``, crossed by nine others on a later day."
    x = np.arange(0.0, 200.0, step_m)
    y = np.full(len(x), 50.0)
    depth = np.asarray(floor(x, y), float)
    depth = depth if change is None else change(x, depth)
    parts = [logged(x, y, depth, log=0)]
    for number in range(9):
        across = np.arange(0.0, 100.0, 0.9)
        at = np.full(len(across), 12.0 + 22.0 * number)
        parts.append(logged(at, across, floor(at, across), log=number + 1))
    joined = Soundings.concatenate(parts)
    noise = np.random.default_rng(2).normal(0, 0.04, len(joined))
    day = np.where(joined.log == 0, 0, days_apart)
    since = (joined.time_s * 1000 + day * 86_400_000).astype("timedelta64[ms]")
    stamp = np.datetime64("2025-06-01T08:00", "ms") + since
    return joined.with_columns(
        logged_depth_m=joined.logged_depth_m + noise, time_utc=stamp, time_s=joined.time_s + 86_400.0 * day
    ), len(x)


def layer(x, depth):
    "From 60 to 150 m along the pass the sounder follows a layer at 4 m."
    return np.where((x > 60) & (x < 150), 4.0, depth)


def test_a_lock_on_a_layer_is_seen_by_passes_that_cross_it():
    "90 m at 4 m over a floor of 6 m that four passes of the same day see: those rows and no others."
    rows, n = crossed_lake(flat, layer)
    cleaned = clean(rows, CleanSettings())
    x = rows.x_m[:n] - 500_000.0
    inside = (x > 60) & (x < 150)
    locked = cleaned.has(Flag.layer_lock)
    assert locked[:n][inside].mean() > 0.98
    assert not locked[:n][~inside].any() and not locked[n:].any()


def test_a_whole_pass_on_a_layer_is_seen_too():
    "From end to end 2 m above the floor of all that cross: the whole pass."
    rows, n = crossed_lake(flat, lambda x, depth: np.full(len(x), 4.0))
    locked = clean(rows, CleanSettings()).has(Flag.layer_lock)
    assert locked[:n].mean() > 0.98 and not locked[n:].any()


def test_what_only_other_dates_contradict_is_left_to_them():
    "The crossing passes are a month younger: it may be weed or a floor that moved, and is no fault."
    rows, _ = crossed_lake(flat, layer, days_apart=30)
    assert not clean(rows, CleanSettings()).has(Flag.layer_lock).any()


def test_a_real_bank_is_no_lock():
    "A bank 4 m deep with steep sides that every pass sees: nothing is flagged."
    def bank(x, y):
        return np.where((np.asarray(x) > 60) & (np.asarray(x) < 150), 4.0, 6.0)

    rows, _ = crossed_lake(bank)
    assert clean(rows, CleanSettings()).usable().all()


def test_a_lock_with_a_row_in_two_seconds_over_a_slope():
    "3.6 m between rows and a floor that falls 1 in 10: fourteen rows at twice the depth are held out, no others."
    def doubled(x, depth):
        inside = (x > 60) & (x < 110)
        return np.where(inside, 2 * depth, depth)

    rows, n = crossed_lake(tilted, doubled, step_m=3.6)
    cleaned = clean(rows, CleanSettings())
    x = rows.x_m[:n] - 500_000.0
    assert (~cleaned.usable()[:n] == ((x > 60) & (x < 110))).all()
    assert cleaned.usable()[n:].all()


def test_a_few_rows_held_over_a_slope_are_lost_bottom():
    "Seven rows of one depth while the floor falls by 0.5 m: six of them, the first was true."
    rows, _ = crossed_lake(tilted)
    depth = rows.logged_depth_m.round(2)
    depth[100:107] = depth[100]
    cleaned = clean(rows.with_columns(logged_depth_m=depth), CleanSettings())
    assert np.flatnonzero(~cleaned.usable()).tolist() == list(range(101, 107))
