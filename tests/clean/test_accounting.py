"""Laws of cleaning, whatever comes in: rows are counted once, never changed, and the order of logs does not matter."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from sailed import UTM_33, flat, logged, sounded

from lakemap.clean import CleanSettings, clean, flag_off_water
from lakemap.errors import InputError
from lakemap.geo.crs import unproject
from lakemap.model.flags import Flag, count_first_faults
from lakemap.model.shoreline import Shoreline
from lakemap.model.soundings import COLUMN_DTYPES, Soundings

ROWS = st.integers(0, 60)
DEPTHS = st.one_of(st.floats(-5.0, 300.0), st.sampled_from([0.0, np.nan, 5.0, 10.0]))
PLACES = st.one_of(st.floats(-500.0, 500.0), st.sampled_from([0.0, np.nan, 20_000.0]))
TIMES = st.one_of(st.floats(0.0, 300.0), st.just(np.nan))


@st.composite
def any_log(draw):
    "One log of arbitrary rows: places, times and depths that may repeat, jump, be absurd or be missing."
    n = draw(ROWS)
    x, y = (draw(arrays(float, n, elements=PLACES)) for _ in range(2))
    made = logged(x, y, draw(arrays(float, n, elements=DEPTHS)), has_time=draw(st.booleans()))
    times = draw(arrays(float, n, elements=TIMES))
    early = draw(arrays(bool, n)) & draw(st.booleans())
    return made.with_columns(time_s=times).with_flag(Flag.bad_checksum_fix, early)


@settings(max_examples=60, deadline=None)
@given(parts=st.lists(any_log(), min_size=1, max_size=3))
def test_rows_in_are_rows_used_plus_rows_flagged(parts):
    "For every log; each flagged row counts once; a used row has place, depth and sigma; flags that came stay."
    soundings = replace(Soundings.concatenate(parts), crs=UTM_33)
    cleaned = clean(soundings, CleanSettings())
    assert len(cleaned) == len(soundings)
    for code in range(len(cleaned.logs)):
        of_log = cleaned.log == code
        used = np.count_nonzero(cleaned.usable() & of_log)
        assert used + sum(count_first_faults(cleaned.flags[of_log]).values()) == np.count_nonzero(of_log)
    used = cleaned.usable()
    assert np.isfinite(cleaned.x_m[used] + cleaned.depth_m[used]).all() and (cleaned.depth_sigma_m[used] > 0).all()
    assert ((cleaned.flags & soundings.flags) == soundings.flags).all()


@settings(max_examples=25, deadline=None)
@given(soundings=any_log())
def test_what_was_read_stays_as_it_was(soundings):
    "Cleaning adds flags, passes, depths and errors; it changes no reading."
    cleaned = clean(soundings, CleanSettings())
    made = {"flags", "pass_id", "depth_m", "depth_sigma_m", "depth_shared_m", "level_m", "draft_m",
            "position_sigma_m"}
    for name in set(COLUMN_DTYPES) - made:
        np.testing.assert_array_equal(getattr(cleaned, name), getattr(soundings, name))


def test_the_same_rows_give_the_same_bytes():
    "Twice the same input, twice the same columns."
    one, two = (clean(sounded(flat, seed=3), CleanSettings()) for _ in range(2))
    for name in COLUMN_DTYPES:
        assert getattr(one, name).tobytes() == getattr(two, name).tobytes()


def test_no_rows_at_all():
    "An empty lake is cleaned without a word."
    assert len(clean(replace(Soundings.build(0), crs=UTM_33), CleanSettings())) == 0


def shoreline(west, south, east, north):
    "A square of water, given in metres on the working CRS from the corner of the tiny worlds."
    ring = shapely.get_coordinates(shapely.box(west, south, east, north)) + [500_000.0, 5_000_000.0]
    return Shoreline(shapely.Polygon(np.column_stack(unproject(UTM_33, ring[:, 0], ring[:, 1]))), "pond.geojson")


def test_rows_outside_the_shoreline_are_off_water():
    "Water up to x = 200 with a margin of 15 m: rows east of 215 are off the water, those between are not."
    flagged = flag_off_water(sounded(flat), shoreline(-50, -50, 200, 150), CleanSettings())
    x = flagged.x_m - 500_000
    np.testing.assert_array_equal(flagged.has(Flag.off_water)[np.abs(x - 215) > 0.5], (x > 215)[np.abs(x - 215) > 0.5])


def test_a_shoreline_elsewhere_is_refused_with_both_places():
    "No row in its water: the message names the file and where both lie."
    with pytest.raises(InputError, match=r"pond.geojson: none of \d+ soundings lies in its water \(longitude 15"):
        flag_off_water(sounded(flat), shoreline(5000, 5000, 6000, 6000), CleanSettings())
    assert flag_off_water(sounded(flat), None, CleanSettings()).usable().all()
