"""Which readings belong to one date, and what the comparison of dates leaves alone."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from sailed import flat, logged, sail

from lakemap.changes import find_changes
from lakemap.changes.dates import UNDATED, dates_of
from lakemap.changes.medians import group_medians
from lakemap.changes.moved import level_between_dates
from lakemap.changes.settings import ChangesSettings
from lakemap.model.soundings import PassBias

SETTINGS = ChangesSettings()


def on_days(days, lat_deg=45.0):
    "One sounding a day."
    rows = logged(np.arange(len(days)) * 5.0, np.zeros(len(days)), np.full(len(days), 5.0))
    return rows.with_columns(time_utc=np.array(days, "datetime64[ms]"), lat_deg=np.full(len(days), lat_deg))


def test_trips_of_one_season_close_together_are_one_date():
    "A gap of more than 30 days, or the start of the months of weed, begins another."
    dates = dates_of(on_days(["2025-04-01", "2025-04-20", "2025-05-31", "2025-06-02", "2025-11-02", "NaT"]), SETTINGS)
    assert dates.of_row.tolist() == [0, 0, 1, 2, 3, UNDATED]
    assert dates.weedy.tolist() == [False, False, True, False]


def test_seasons_are_six_months_off_in_the_south():
    "January is a month of weed there, July is not."
    assert dates_of(on_days(["2025-01-10", "2025-07-10"], lat_deg=-38.0), SETTINGS).weedy.tolist() == [True, False]
    assert dates_of(on_days(["2025-01-10", "2025-07-10"], lat_deg=38.0), SETTINGS).weedy.tolist() == [False, True]


def test_readings_without_a_date_or_of_one_date_alone_are_left_as_they_are():
    "Nothing to compare: the same rows, no squares."
    x, y, sailed = sail(passes=3)
    rows = logged(x, y, flat(x, y), sailed)
    for given_rows in (rows, rows.with_columns(time_utc=np.full(len(rows), np.datetime64("2025-05-01", "ms")))):
        noted, squares = find_changes(given_rows, PassBias.none(), SETTINGS)
        assert squares == () and noted is given_rows


def test_older_readings_say_less_of_today():
    "Ten years at 0.01 m a year: 0.1 m more error, squares added."
    rows = on_days(["2015-07-01", "2025-07-01"])
    rows = rows.with_columns(depth_m=np.full(2, 5.0), depth_sigma_m=np.full(2, 0.1))
    noted, _ = find_changes(rows, PassBias.none(), SETTINGS)
    assert np.allclose(noted.depth_sigma_m, [np.hypot(0.1, 0.1), 0.1], atol=1e-3)


@given(st.lists(st.tuples(st.integers(0, 4), st.floats(-10, 10)), max_size=40))
def test_medians_of_groups_are_numpy_s(pairs):
    "Group by group the same as numpy's median; NaN for a group without values."
    group = np.array([g for g, _ in pairs], np.int64)
    value = np.array([v for _, v in pairs], np.float64)
    told = group_medians(group, value, 5)
    for number in range(5):
        inside = value[group == number]
        assert np.isnan(told[number]) if len(inside) == 0 else told[number] == np.median(inside)


def test_the_level_of_a_date_is_the_median_over_shared_squares():
    "Thirty squares half a metre deeper, five that moved: the level is 0.5 m; a date that shares nothing has none."
    first = np.linspace(3, 6, 35)
    second = first + 0.5
    second[:5] -= 2.0
    depth = np.column_stack([first, second, np.full(35, np.nan)])
    assert np.allclose(level_between_dates(depth), [0.0, 0.5, 0.0])
