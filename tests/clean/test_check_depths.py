"""Check depths settle a constant and a scale, as far as they tell; what they cannot tell is said."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
import shapely
from corrected_lake import (
    DRAFT_M,
    FIRST_DAY_S,
    RISE_M,
    WATER_C,
    boat,
    bowl_m,
    known_facts,
    lonlat,
    truth_m,
    two_days,
)
from numpy.testing import assert_allclose
from sailed import CORNER_M

from lakemap.clean import CleanSettings, clean
from lakemap.errors import InputError
from lakemap.model.boat import Boat, Sounder
from lakemap.model.lake_facts import CheckDepths, LakeFacts
from lakemap.model.shoreline import Shoreline

KNOWN = CleanSettings(water_c=WATER_C)
PLACES = (np.array([30.0, 90.0, 150.0, 210.0, 270.0, 60.0, 150.0, 240.0]),
          np.array([28.0, 56.0, 84.0, 112.0, 140.0, 168.0, 112.0, 56.0]))


def checks(places=PLACES, off_m=0.0, sigma_m=0.03, risen_m=0.0, seed=1, day=0):
    "Depths by line at places of the bowl, on a day when the lake stands risen_m high, with errors of sigma_m."
    x, y = places
    lon, lat = lonlat(x, y)
    depth = bowl_m(x, y) + risen_m + off_m + np.random.default_rng(seed).normal(0.0, sigma_m, len(x))
    n, when = len(x), FIRST_DAY_S + day * 86_400.0 + 3600.0
    return CheckDepths(
        lon, lat, depth, np.full(n, sigma_m), np.full(n, when), np.arange(2, n + 2), ("check.csv",) * n
    )


def test_an_unknown_draft_is_settled_by_check_depths():
    "0.4 m of draft that nobody gave: depths come right within 3 cm, the common error falls from 0.3 m to below 0.05."
    facts = known_facts(boats=(boat(draft_m=None),))
    without = clean(two_days(0.03), KNOWN, facts)
    with_checks = clean(two_days(0.03), KNOWN, replace(facts, checks=checks()))
    assert np.median(without.depth_m - truth_m(without)) == pytest.approx(-DRAFT_M, abs=0.02)
    assert abs(np.median(with_checks.depth_m - truth_m(with_checks))) < 0.03
    assert without.common_offset_m == pytest.approx(np.hypot(0.3, 0.02)) and with_checks.common_offset_m < 0.05
    listed = with_checks.corrections[-1]
    assert (listed.name, listed.measure) == ("check depths", "check depths")
    assert listed.before_m > 0.3 and listed.after_m < 0.05


def test_draft_and_sound_speed_come_apart_where_checks_are_shallow_and_deep():
    "Neither draft nor speed known: both settled; the scale too, which is 3.5 %, within 2 of its own sigma."
    unknown = LakeFacts(levels=known_facts().levels, checks=checks(sigma_m=0.02))
    cleaned = clean(two_days(0.02), CleanSettings(), unknown)
    error = cleaned.depth_m - truth_m(cleaned)
    assert np.abs(np.median(error)) < 0.05 and np.percentile(np.abs(error), 95) < 0.12
    assert cleaned.common_scale < 0.012 and cleaned.common_offset_m < 0.2


def test_a_draft_counted_twice_is_found_and_named():
    "The sounder had added its draft and the owner gave it again: the constant is minus the draft, and it is said so."
    twice = two_days(0.02).with_columns(logged_depth_m=two_days(0.02).logged_depth_m + DRAFT_M * 1500 / 1447.289)
    cleaned = clean(twice, KNOWN, known_facts(checks=checks()))
    assert abs(np.median(cleaned.depth_m - truth_m(cleaned))) < 0.05
    assert any("counted twice" in text for text in cleaned.messages)


def test_estimates_lie_within_two_of_their_own_sigma():
    "Over 60 drawn sets of checks: constant and scale together within 2 sigma of the truth in at least 90 of 100."
    base = clean(two_days(0.02), KNOWN, known_facts(boats=(boat(draft_m=None),)))
    inside = 0
    for seed in range(60):
        facts = known_facts(boats=(boat(draft_m=None),), checks=checks(seed=seed))
        cleaned = clean(two_days(0.02), KNOWN, facts) if seed < 1 else _checked(base, facts)
        error = float(np.median(cleaned.depth_m - truth_m(cleaned)))
        inside += abs(error) <= 2 * np.hypot(cleaned.common_offset_m, cleaned.common_scale * 9.0)
    assert inside >= 54


def _checked(base, facts):
    from lakemap.clean.check_depths import apply_checks

    return apply_checks(base, facts, None, KNOWN)


def test_checks_at_one_depth_do_not_tell_scale_from_constant():
    "All in 11 m, nothing else known: said, and the scale keeps its error."
    x = np.full(6, 210.0)
    same = checks((x, np.linspace(84, 112, 6)))
    cleaned = clean(two_days(0.02), CleanSettings(), LakeFacts(levels=known_facts().levels, checks=same))
    assert any("do not tell" in text and "shallow and some in the deepest" in text for text in cleaned.messages)
    assert cleaned.common_scale > 0.8 * 0.015


def test_one_wrong_check_does_not_carry_the_lake_away():
    "One line caught on a stump, 2 m short, among eight."
    wrong = checks()
    wrong = replace(wrong, depth_m=wrong.depth_m - np.where(np.arange(8) == 3, 2.0, 0.0))
    cleaned = clean(two_days(0.02), KNOWN, known_facts(checks=wrong))
    assert abs(np.median(cleaned.depth_m - truth_m(cleaned))) < 0.05


def test_checks_along_a_pass_that_is_off_do_not_carry_the_lake_away():
    "A pass that shows 0.5 m too little, and five checks along it: as far as other passes tell, that is the pass's own."
    both = two_days(0.02)
    one = (both.log == 0) & (np.abs(both.y_m - CORNER_M[1] - 112.0) < 5.0)
    off = both.with_columns(logged_depth_m=both.logged_depth_m - 0.5 * one)
    along = checks((np.linspace(45, 255, 5), np.full(5, 112.0)))
    cleaned = clean(off, KNOWN, known_facts(checks=along))
    assert 0.02 < one.mean() < 0.2
    assert abs(np.median((cleaned.depth_m - truth_m(cleaned))[~one])) < 0.05


def test_good_depths_stay_where_they_are():
    "Checks that agree move nothing by more than their own error."
    cleaned = clean(two_days(0.02), KNOWN, known_facts(checks=checks()))
    assert np.abs(cleaned.depth_m - truth_m(cleaned)).mean() < 0.03


def test_checks_of_another_day_are_brought_to_the_datum():
    "Measured when the lake stood 0.6 m high."
    late = known_facts(checks=checks(risen_m=RISE_M, day=1), boats=(boat(draft_m=None),))
    cleaned = clean(two_days(0.02), KNOWN, late)
    assert abs(np.median(cleaned.depth_m - truth_m(cleaned))) < 0.03
    timeless = replace(late, checks=replace(late.checks, time_s=np.full(8, np.nan)))
    said = clean(two_days(0.02), KNOWN, timeless)
    assert any("check.csv: 8 check depths without a time" in text for text in said.messages)


def test_check_depths_on_land_are_one_line():
    "All of them: refused; some: left out and said, and the others count."
    lon, lat = lonlat([-20.0, 320.0, 320.0, -20.0], [-20.0, -20.0, 220.0, 220.0])
    shore = Shoreline(shapely.Polygon(np.column_stack([lon, lat])), "shore.geojson")
    away = (np.full(8, 900.0), PLACES[1])
    with pytest.raises(InputError, match=r"check\.csv: check depths on land by shore\.geojson, line 2 and all 8"):
        clean(two_days(), KNOWN, known_facts(checks=checks(away)), shore)
    some = (np.where(np.arange(8) < 2, 900.0, PLACES[0]), PLACES[1])
    cleaned = clean(two_days(), KNOWN, known_facts(checks=checks(some)), shore)
    assert any("on land by shore.geojson, line 2 + 1 more; left out" in text for text in cleaned.messages)
    assert cleaned.corrections[-1].name == "check depths"


def test_checks_with_no_soundings_near_settle_nothing():
    "Said; the common error stays."
    away = (np.full(8, 900.0), PLACES[1])
    cleaned = clean(two_days(), KNOWN, known_facts(checks=checks(away)))
    assert any("no soundings near any check depth" in text for text in cleaned.messages)
    assert cleaned.common_offset_m == pytest.approx(np.hypot(0.05, 0.02))


def test_switched_off_they_settle_nothing():
    "clean.off."
    off = clean(two_days(), replace(KNOWN, off=("check depths",)), known_facts(checks=checks(off_m=0.5)))
    assert_allclose(off.depth_m, truth_m(off), atol=0.01)


def two_sounders(short_m=(DRAFT_M, 0.0), noise_m=0.02):
    """The first day by the bow's sounder, the second by the stern's; each shows less than it should by ``short_m``
    beside the draft that is known."""
    both = two_days(noise_m)
    shown = both.logged_depth_m - np.array(short_m)[both.log] * 1500.0 / 1447.289
    logs = tuple(replace(log, sounder=name) for log, name in zip(both.logs, ("bow", "stern"), strict=True))
    return replace(both.with_columns(logged_depth_m=shown), logs=logs)


TWO = Boat("boat.toml", tuple(
    Sounder(name=name, draft_m=DRAFT_M, nominal_sound_speed_mps=1500.0) for name in ("bow", "stern")))


def error_of(cleaned, log):
    "Median error of the depths of one log."
    return float(np.median((cleaned.depth_m - truth_m(cleaned))[(cleaned.log == log) & cleaned.usable()]))


def test_each_sounder_has_a_constant_of_its_own():
    "The bow's draft is wrong by 0.4 m, the stern's is right: each comes right within 4 cm, not both half."
    cleaned = clean(two_sounders(), KNOWN, known_facts(boats=(TWO,), checks=checks()))
    assert [abs(error_of(cleaned, log)) < 0.04 for log in (0, 1)] == [True, True]
    assert any("sounder bow moved by" in text for text in cleaned.messages)
    assert any("sounder stern moved by" in text for text in cleaned.messages)
    assert "least sure of 2 sounders" in cleaned.budget.common[0].origin


def test_a_sounder_that_sailed_over_no_check_is_told_by_crossings():
    "Checks on the bow's lines only; where the stern's cross them they say that its draft is wrong by 0.8 m."
    east_of_all_northward_lines = (np.full(8, 294.0), np.arange(8) * 28.0)
    told = known_facts(boats=(TWO,), checks=checks(east_of_all_northward_lines))
    cleaned = clean(two_sounders((0.0, 0.8)), KNOWN, told)
    assert abs(error_of(cleaned, 0)) < 0.04
    assert abs(error_of(cleaned, 1)) < 0.15 and abs(error_of(cleaned, 1)) <= 2 * cleaned.common_offset_m


def test_a_sounder_that_nothing_tells_stays_and_is_named():
    "No check and no crossing: its depths are those of a lake without checks; the larger of both errors is common."
    both = two_sounders()
    apart = both.with_columns(x_m=np.where(both.log == 1, both.x_m + 5000.0, both.x_m))
    facts = known_facts(boats=(TWO,), checks=checks())
    cleaned, plain = clean(apart, KNOWN, facts), clean(apart, KNOWN, replace(facts, checks=CheckDepths.none()))
    assert_allclose(cleaned.depth_m[both.log == 1], plain.depth_m[both.log == 1], atol=1e-12)
    assert any("tells the zero of sounder stern: its depths stay" in text for text in cleaned.messages)
    bow = float(re.search(r"sounder bow moved .*?sigma \{([\d.]+) m", " ".join(cleaned.messages))[1])
    assert cleaned.common_offset_m == pytest.approx(max(bow, np.hypot(0.05, 0.02)), abs=5e-4)


def test_depths_by_hand_are_not_moved_by_checks():
    "A pole on the second day is measured like the checks are; the sounder of the first day is 0.4 m short."
    both = two_sounders()
    by_hand = replace(both.logs[1], acoustic=False, single=True, depth_reference="surface", sounder="none")
    mixed = replace(both, logs=(both.logs[0], by_hand))
    cleaned = clean(mixed, KNOWN, known_facts(boats=(TWO,), checks=checks()))
    hand = cleaned.log == 1
    assert_allclose(cleaned.depth_m[hand], cleaned.logged_depth_m[hand] - cleaned.level_m[hand], atol=1e-6)
    assert abs(error_of(cleaned, 0)) < 0.04
