"""What was given is corrected to the centimetre: boat facts, level, water temperature; each can be switched off."""

from __future__ import annotations

import numpy as np
import pytest
from corrected_lake import (
    DRAFT_M,
    FIRST_DAY_S,
    NOMINAL_MPS,
    RISE_M,
    WATER_C,
    boat,
    bowl_m,
    gauge,
    known_facts,
    lonlat,
    truth_m,
    two_days,
)
from hypothesis import given
from hypothesis import settings as runs
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from lakemap.clean import CleanSettings, clean, prove_corrections
from lakemap.clean.boat_facts import set_clocks, settle_facts
from lakemap.clean.settings import CORRECTIONS
from lakemap.errors import InputError, SettingError
from lakemap.geo.crossovers import find_crossovers
from lakemap.model.boat import Boat, Sounder
from lakemap.model.lake_facts import Cast, LakeFacts, WaterProfile
from lakemap.model.log_facts import DraftSpan

KNOWN = CleanSettings(water_c=WATER_C)


def proved(soundings, settings=KNOWN, facts=None):
    "Cleaned and proved where passes cross."
    cleaned = clean(soundings, settings, known_facts() if facts is None else facts)
    return prove_corrections(cleaned, find_crossovers(cleaned))


def test_what_was_given_is_corrected_to_under_a_centimetre():
    "Draft, 10 degC water under a 1500 m/s sounder and 0.6 m of level: depths are true, and the common error is small."
    cleaned = proved(two_days())
    assert np.abs(cleaned.depth_m - truth_m(cleaned)).max() < 0.01
    assert cleaned.usable().all()
    assert cleaned.common_offset_m == pytest.approx(np.hypot(0.05, 0.02)) and cleaned.common_scale == 0.003
    assert cleaned.datum == "zero of the gauge in gauge.csv"


def test_each_correction_shows_what_it_did_where_passes_cross():
    "The level's change is what crossings disagree by: 0.6 m before, the noise after; the others hardly change them."
    cleaned = proved(two_days(noise_m=0.03))
    listed = {one.name: one for one in cleaned.corrections}
    assert list(listed) == ["draft", "sound speed", "lake level"]
    assert_allclose(listed["draft"].shift_m, DRAFT_M)
    assert listed["lake level"].before_m == pytest.approx(RISE_M, abs=0.03)
    assert listed["lake level"].after_m < 0.05
    assert listed["draft"].before_m == pytest.approx(listed["draft"].after_m)
    assert listed["sound speed"].before_m == pytest.approx(RISE_M * NOMINAL_MPS / 1447.289, abs=0.03)
    assert all(one.by_row is None for one in cleaned.corrections)


def test_a_gauge_that_tells_half_shows_half():
    "0.3 m of the 0.6 m that the lake rose: 0.6 m before, 0.3 m after."
    listed = proved(two_days(), facts=known_facts(levels=(gauge(rise_m=RISE_M / 2),))).corrections[-1]
    assert listed.before_m == pytest.approx(RISE_M, abs=0.03)
    assert listed.after_m == pytest.approx(RISE_M / 2, abs=0.03)


@pytest.mark.parametrize("name", ["draft", "sound speed", "lake level"])
def test_a_correction_switched_off_is_really_off(name):
    "It is not listed, and depths are those of a lake where it was never known; text and list both switch it."
    without = {
        "draft": known_facts(boats=(boat(draft_m=None),)), "lake level": known_facts(levels=()),
        "sound speed": known_facts(boats=(boat(nominal_sound_speed_mps=None),)),
    }[name]
    soundings = two_days()
    off = clean(soundings, CleanSettings(water_c=WATER_C, off=[name]), known_facts())
    assert name not in [one.name for one in off.corrections]
    assert_allclose(off.depth_m, clean(soundings, KNOWN, without).depth_m, rtol=0, atol=0)
    assert not np.allclose(off.depth_m, truth_m(off), atol=0.05)
    assert CleanSettings(off=name.replace(" ", "_")).off == (name,)


@pytest.mark.parametrize("name", CORRECTIONS)
def test_every_correction_has_a_switch(name):
    "All names are accepted, and applies() follows them."
    assert not CleanSettings(off=[name]).applies(name) and CleanSettings().applies(name)


def test_a_switch_that_does_not_exist_is_refused():
    "The message has the names there are."
    with pytest.raises(SettingError, match=r"off = .*drafts.*lake level"):
        CleanSettings(off=["drafts"])


@runs(max_examples=6, deadline=None)
@given(draft=st.floats(0.0, 2.0), water=st.floats(0.5, 30.0), feet=st.sampled_from([0.3048, 1.8288]))
def test_corrections_commute_with_units(draft, water, feet):
    "Depths read in feet or fathoms and turned into metres are corrected as those read in metres: to a hair."
    soundings = two_days()
    metres = clean(soundings, CleanSettings(draft_m=draft, water_c=water, nominal_sound_speed_mps=1500.0))
    other = soundings.with_columns(logged_depth_m=(soundings.logged_depth_m / feet) * feet)
    turned = clean(other, CleanSettings(draft_m=(draft / feet) * feet, water_c=(water * 1.8) / 1.8,
                                        nominal_sound_speed_mps=(1500.0 / 0.3048) * 0.3048))
    assert_allclose(turned.depth_m, metres.depth_m, rtol=0, atol=1e-9)


def test_feet_per_second_is_a_nominal_speed_too():
    "A sounder set to 4800 ft/s shows 10 degC water's 8 m as 8.087 m: both ways give one depth."
    one = settle_facts(two_days(), [boat(nominal_sound_speed_mps=4800 * 0.3048)], CleanSettings()).logs[0]
    assert one.nominal_sound_speed_mps == pytest.approx(1463.04)


def test_a_profile_is_followed_through_its_layers():
    "24, 23.5, 15, 9, 7 degC at 0, 5, 8, 12, 20 m: a 1500 m/s sounder shows 20.52791 m for 20 m."
    profile = WaterProfile((Cast(np.nan, np.array([0.0, 5, 8, 12, 20]), np.array([24.0, 23.5, 15, 9, 7])),), "p.csv")
    soundings = two_days().with_columns(logged_depth_m=np.full(len(two_days()), 20.52791))
    facts = known_facts(boats=(boat(draft_m=0.0),), levels=(), profile=profile)
    assert_allclose(clean(soundings, CleanSettings(), facts).depth_m, 20.0, atol=2e-5)


def test_the_cast_nearest_in_time_counts():
    "Two casts, one a day: each day's rows go through their own; rows a season away stay as shown and it is said."
    def cast(day, water_c):
        return Cast(FIRST_DAY_S + day * 86_400.0, np.array([0.0, 20.0]), np.full(2, water_c))

    facts = known_facts(levels=(), profile=WaterProfile((cast(0, 10.0), cast(1, 20.0)), "p.csv"))
    cleaned = clean(two_days(), CleanSettings(), facts)
    plain = [clean(two_days(), CleanSettings(water_c=c), known_facts(levels=())) for c in (10.0, 20.0)]
    first = cleaned.log == 0
    assert_allclose(cleaned.depth_m[first], plain[0].depth_m[first], atol=1e-9)
    assert_allclose(cleaned.depth_m[~first], plain[1].depth_m[~first], atol=1e-9)
    late = known_facts(levels=(), profile=WaterProfile((cast(90, 10.0),), "p.csv"))
    far = clean(two_days(), CleanSettings(), late)
    assert any("p.csv" in text and "30 days" in text for text in far.messages)
    assert far.common_scale == 0.015


def test_a_transducer_lowered_for_a_day_has_that_days_draft():
    "Spans of time count before the usual draft."
    span = DraftSpan(FIRST_DAY_S + 80_000, FIRST_DAY_S + 200_000, 0.9)
    facts = LakeFacts(boats=(boat(drafts=(span,)),))
    cleaned = clean(two_days(), CleanSettings(), facts)
    assert_allclose(np.unique(np.round((cleaned.depth_m - cleaned.logged_depth_m)[cleaned.log == 0], 9)), [DRAFT_M])
    assert_allclose(np.unique(np.round((cleaned.depth_m - cleaned.logged_depth_m)[cleaned.log == 1], 9)), [0.9])


def test_a_draft_by_span_that_no_reading_can_take_is_said():
    "Of a log without a date, and of a year in which nobody sailed; the usual draft counts. A set draft is less sure."
    span = DraftSpan(FIRST_DAY_S + 80_000, FIRST_DAY_S + 200_000, 0.9)
    year = 365 * 86_400.0
    late = DraftSpan(span.from_s + year, span.until_s + year, 0.9)
    undated = clean(two_days(facts={"has_date": False}), CleanSettings(), LakeFacts(boats=(boat(drafts=(span,)),)))
    elsewhere = clean(two_days(), CleanSettings(), LakeFacts(boats=(boat(drafts=(late,)),)))
    for cleaned, words in ((undated, "log0: has no date, so drafts by span"), (elsewhere, "2026-06-02 on: no reading")):
        assert any(words in text for text in cleaned.messages), cleaned.messages
        assert_allclose(cleaned.depth_m - cleaned.logged_depth_m, DRAFT_M, atol=1e-9)
    plain = clean(two_days(), CleanSettings(), LakeFacts(boats=(boat(),)))
    parts = [one.budget.logs[0].parts["draft"] for one in (plain, elsewhere)]
    assert parts == pytest.approx([0.03, np.hypot(0.03, 0.05)])


def test_settings_count_before_the_boat_and_the_boat_before_the_log():
    "Every fact says where it came from, and a contradiction is said."
    soundings = two_days(facts={"draft_m": 0.2, "origins": {"depth_reference": "x", "draft_m": "comment"}})
    of_boat = settle_facts(soundings, [boat()], CleanSettings())
    assert (of_boat.logs[0].draft_m, of_boat.logs[0].origins["draft_m"]) == (DRAFT_M, "boat.toml")
    assert any("0.4 (boat.toml) counts, not 0.2 (comment)" in text for text in of_boat.messages)
    of_setting = settle_facts(soundings, [boat()], CleanSettings(draft_m=0.7))
    assert (of_setting.logs[0].draft_m, of_setting.logs[0].origins["draft_m"]) == (0.7, "setting")
    alone = settle_facts(soundings, [], CleanSettings())
    assert (alone.logs[0].draft_m, alone.logs[0].origins["draft_m"]) == (0.2, "comment")
    twice = settle_facts(of_boat, [boat()], CleanSettings())
    assert twice.logs == of_boat.logs


def test_an_unknown_speed_is_unknown_whatever_the_log_says():
    "boat.toml's word unknown leaves depths unscaled and the common error wide."
    soundings = two_days(facts={"nominal_sound_speed_mps": 1500.0})
    facts = known_facts(boats=(boat(nominal_sound_speed_mps=None, speed_unknown=True),))
    cleaned = clean(soundings, KNOWN, facts)
    assert cleaned.common_scale == 0.015 and "sound speed" not in [one.name for one in cleaned.corrections]


def test_a_clock_that_is_ahead_is_put_back_once():
    "An hour ahead: times move back, and a gauge is read at the true time."
    ahead = Boat("boat.toml", (Sounder(),), clock_offset_s=3600.0)
    soundings = two_days()
    moved = set_clocks(soundings, [ahead], CleanSettings())
    assert_allclose(soundings.time_s - moved.time_s, 3600.0)
    assert (soundings.time_utc - moved.time_utc == np.timedelta64(3600, "s")).all()
    assert set_clocks(soundings, [ahead], CleanSettings(off=["clock"])) is soundings


def sounders(*names):
    "Sounders of these names with drafts of 0.1, 0.2 m and so on."
    return tuple(Sounder(name=name, draft_m=0.1 * (i + 1)) for i, name in enumerate(names))


@pytest.mark.parametrize(("boats", "log_sounder", "words"), [
    ([Boat("boat.toml", sounders("bow")), Boat("skiff.toml", sounders("stern"))], None,
     r"log0: .*boat\.toml and skiff\.toml both claim"),
    ([Boat("boat.toml", sounders("bow", "stern"))], None, r"log0: boat\.toml has 2 sounders \(bow, stern\)"),
    ([Boat("boat.toml", sounders("bow"))], "keel", r"log0: lake\.toml says sounder 'keel'"),
    ([Boat("boat.toml", sounders("bow")), Boat("skiff.toml", sounders("bow"))], "bow",
     r"log0: .*both have a sounder 'bow'"),
])
def test_a_log_whose_sounder_cannot_be_known_is_refused(boats, log_sounder, words):
    "One line with the way out; nothing is applied by guess."
    with pytest.raises(InputError, match=words) as fault:
        settle_facts(two_days(facts={"sounder": log_sounder}), boats, CleanSettings())
    assert "\n" not in str(fault.value)


def test_one_log_of_each_sounder():
    "Named sounders give each log its own draft; none means no sounder's."
    two = [Boat("boat.toml", sounders("bow", "stern"))]
    drafts = [settle_facts(two_days(facts={"sounder": name}), two, CleanSettings()).logs[0].draft_m
              for name in ("bow", "stern", "none")]
    assert drafts[:2] == pytest.approx([0.1, 0.2]) and drafts[2] is None


def test_a_depth_by_line_has_neither_draft_nor_sound_speed():
    "Readings without sound stay what they are, whatever the boat's sounder does; their zero and scale are known."
    soundings = two_days(facts={"acoustic": False, "single": True, "depth_reference": "surface"})
    cleaned = clean(soundings, CleanSettings(draft_m=0.5, water_c=10.0, nominal_sound_speed_mps=1500.0))
    assert_allclose(cleaned.depth_m, cleaned.logged_depth_m)
    assert (cleaned.common_offset_m, cleaned.common_scale) == (0.05, 0.003)


def test_the_bowl_is_where_the_tests_say():
    "The world itself: 12 m at its middle, but for the hump, and degrees that lie on it."
    assert bowl_m(150.0, 100.0) == pytest.approx(12.0 - 2.0 * np.exp(-4.0))
    assert np.isfinite(lonlat(0.0, 0.0)).all() and gauge().level_m[-1] == RISE_M
