"""From logged to true depths: published cases of sound speed and draft, every reference, and what is not known."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as runs
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from reference_tables import rows
from sailed import flat, logged, sail, sounded

from lakemap.clean import CleanSettings, clean
from lakemap.errors import SettingError

KNOWN = {"depth_reference": "DBT sentences"}


def one_depth(shown_m, settings, **facts):
    "Cleaned soundings of a flat floor that all show shown_m."
    x, y, sailed = sail(passes=2, length_m=100.0)
    return clean(logged(x, y, np.full(len(x), shown_m), sailed, **facts), settings)


@pytest.mark.parametrize("case", rows("depth_for_speed.csv"), ids=lambda case: f"{case['water_degC']:g} degC")
def test_sound_speed_and_draft_give_the_reference_depths(case):
    "Depth from what a fixed-speed sounder shows below its transducer, source beside the table."
    settings = CleanSettings(
        draft_m=case["draft_m"], nominal_sound_speed_mps=case["nominal_mps"], water_c=case["water_degC"]
    )
    cleaned = one_depth(case["shown_m"], settings, depth_reference="transducer", origins=KNOWN)
    assert_allclose(cleaned.depth_m, case["depth_m"], atol=5e-5)
    assert (cleaned.common_offset_m, cleaned.common_scale) == (0.05, 0.003)


def test_a_sounder_that_added_its_draft_is_scaled_below_the_transducer_only():
    "8.4 m below the surface with 0.4 m of draft inside is 8 m below the transducer: 8.11887 m at 10 degC, not 8.105."
    settings = CleanSettings(nominal_sound_speed_mps=1500.0, water_c=10.0)
    cleaned = one_depth(8.4, settings, depth_reference="surface", draft_m=0.4, origins=KNOWN)
    assert_allclose(cleaned.depth_m, 8.11887, atol=5e-5)


def test_keel_and_waterline_offsets():
    "Below a keel 0.5 m under the transducer: 5.5 m below it; a positive offset is the draft, when none is given."
    keel = one_depth(5.0, CleanSettings(draft_m=0.3), depth_reference="keel", datum_offset_m=-0.5)
    assert_allclose(keel.depth_m, 5.8)
    assert keel.common_offset_m == 0.05
    offset = one_depth(5.0, CleanSettings(), depth_reference="transducer", datum_offset_m=0.35)
    assert_allclose(offset.depth_m, 5.35)
    settled = one_depth(5.0, CleanSettings(draft_m=0.6), depth_reference="transducer", datum_offset_m=0.35)
    assert_allclose(settled.depth_m, 5.6)


def test_what_is_not_known_is_not_corrected_and_is_said():
    "Nothing known: depth as logged, 0.3 m and 1.5 % of common error, two sentences, no correction listed."
    cleaned = one_depth(5.0, CleanSettings(), depth_reference="transducer")
    assert_allclose(cleaned.depth_m, 5.0)
    assert (cleaned.common_offset_m, cleaned.common_scale, cleaned.corrections) == (0.3, 0.015, ())
    assert "clean.draft_m" in cleaned.messages[0] and "clean.water_c" in cleaned.messages[1]


def test_a_table_without_a_word_on_its_reference_is_uncertain_by_it():
    "Depths taken as from the surface because nothing said it carry the common error; told ones do not."
    told = one_depth(5.0, CleanSettings(), depth_reference="surface", origins={"depth_reference": "--depth-from"})
    untold = one_depth(5.0, CleanSettings(), depth_reference="surface", origins={"depth_reference": "nothing said it"})
    assert (told.common_offset_m, untold.common_offset_m) == (0.05, 0.3)


def test_temperature_comes_from_the_log_when_not_given():
    "The median of what was logged, 10 degC, though one row says 35."
    x, y, sailed = sail(passes=2, length_m=100.0)
    soundings = logged(x, y, np.full(len(x), 10.0), sailed, depth_reference="transducer")
    warm = np.full(len(x), 10.0)
    warm[5] = 35.0
    cleaned = clean(soundings.with_columns(water_c=warm), CleanSettings(draft_m=0.0, nominal_sound_speed_mps=1500.0))
    assert_allclose(cleaned.depth_m, 9.64859, atol=5e-5)


def test_each_correction_is_listed_once_with_its_shift():
    "0.4 m of draft, and 3.5 % of 8 m: both in the list, in the order applied."
    settings = CleanSettings(draft_m=0.4, nominal_sound_speed_mps=1500.0, water_c=10.0)
    listed = one_depth(8.0, settings, depth_reference="transducer").corrections
    assert [entry.name for entry in listed] == ["draft", "sound speed"]
    assert_allclose([entry.shift_m for entry in listed], [0.4, 7.71887 - 8.0], atol=5e-5)


@pytest.mark.parametrize("name, value", [("draft_m", -0.1), ("max_speed_mps", 0.0), ("water", "mud")])
def test_a_setting_outside_its_range_is_refused_by_name(name, value):
    "The message names setting, value and rule."
    with pytest.raises(SettingError, match=rf"\[clean\] {name} = .*must be"):
        CleanSettings(**{name: value})


@runs(max_examples=20, deadline=None)
@given(draft_m=st.floats(0.0, 2.0), shown_m=st.floats(0.5, 60.0))
def test_raw_readings_are_never_changed(draft_m, shown_m):
    "logged_depth_m is what came, whatever is corrected."
    cleaned = one_depth(shown_m, CleanSettings(draft_m=draft_m), depth_reference="transducer")
    assert_allclose(cleaned.logged_depth_m, shown_m, rtol=0)


def test_draft_shifts_all_depths_alike():
    "0.5 m more draft: every depth 0.5 m deeper, the same rows flagged."
    soundings = sounded(flat, facts={"depth_reference": "transducer"})
    one, two = (clean(soundings, CleanSettings(draft_m=draft)) for draft in (0.1, 0.6))
    assert_allclose(two.depth_m - one.depth_m, 0.5)
    assert np.array_equal(one.flags, two.flags)
