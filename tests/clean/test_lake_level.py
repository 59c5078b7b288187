"""Lake level: interpolated in time to a named datum; gaps said; tides, slopes and other years refused; dry readings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from corrected_lake import (
    DAY_S,
    FIRST_DAY_S,
    NOMINAL_MPS,
    RISE_M,
    WATER_C,
    boat,
    gauge,
    known_facts,
    lonlat,
    truth_m,
    two_days,
)
from numpy.testing import assert_allclose
from sailed import UTM_33, logged

from lakemap.clean import CleanSettings, clean, flag_off_water
from lakemap.clean.lake_level import level_at, level_at_times
from lakemap.errors import InputError
from lakemap.model.flags import Flag
from lakemap.model.lake_facts import LakeFacts, LakeLevels
from lakemap.model.shoreline import Shoreline
from lakemap.model.soundings import Soundings

KNOWN = CleanSettings(water_c=WATER_C)
PLAIN = CleanSettings()


def readings(hours, level_m, name="gauge.csv", **more):
    "A gauge read at hours after the first day's start."
    return LakeLevels(FIRST_DAY_S + 3600.0 * np.asarray(hours, float), np.asarray(level_m, float),
                      more.pop("elevation", False), name, **more)


def at_hours(hours, **facts):
    "Soundings 6 m deep at hours after the first day's start."
    soundings = logged(np.arange(len(hours)) * 5.0, np.zeros(len(hours)), np.full(len(hours), 6.0), **facts)
    time_s = FIRST_DAY_S + 3600.0 * np.asarray(hours, float)
    return soundings.with_columns(time_s=time_s, time_utc=(time_s * 1000).astype("datetime64[ms]"))


def test_the_level_is_interpolated_in_time():
    "Half way between two readings, half way between their levels; beyond the last one, for a day, the last one."
    told = level_at(at_hours([0, 6, 12, 18]), [readings([0, 12], [1.0, 2.0])], PLAIN)
    assert_allclose(told.above_datum_m, [1.0, 1.5, 2.0, 2.0])
    assert any("within a day" in text for text in told.messages)


def test_a_level_between_readings_is_less_sure_than_at_them():
    "A centimetre at a reading; more in between, the more the longer apart, as the level wanders."
    often = readings(np.arange(0, 97, 12), 0.05 * np.arange(9))
    rarely = readings([0, 96], [0.0, 0.4])
    hours = [0, 6, 48]
    assert level_at(at_hours(hours), [often], PLAIN).sigma_m[0] == pytest.approx(0.01)
    a, b = (level_at(at_hours(hours), [one], PLAIN).sigma_m for one in (often, rarely))
    assert a[1] > a[0] and b[2] > 2 * a[1]
    assert b[2] == pytest.approx(np.hypot(0.25 * 0.4, 0.01))
    rng = np.random.default_rng(2)
    restless = readings(np.arange(0, 240, 12), 0.1 * np.cumsum(rng.standard_normal(20)))
    told = level_at(at_hours([114, 108]), [restless], PLAIN).sigma_m
    assert told[0] > 0.03 and told[1] == pytest.approx(0.01)


def test_elevations_need_the_full_pool_and_give_the_same_depths():
    "Pool elevation 214.4 and 215.0 under a full pool of 214.4 is a relative level of 0 and 0.6."
    elevations = gauge(elevation=True, zero_m=214.4, full_pool_m=214.4)
    cleaned = clean(two_days(), KNOWN, known_facts(levels=(elevations,)))
    assert np.abs(cleaned.depth_m - truth_m(cleaned)).max() < 0.01
    assert cleaned.datum == "full pool, elevation 214.40 m"
    by_setting = clean(two_days(), replace(KNOWN, full_pool_m=214.4, datum="full pool of 1962"),
                       known_facts(levels=(gauge(elevation=True, zero_m=214.4),)))
    assert_allclose(by_setting.depth_m, cleaned.depth_m)
    assert by_setting.datum == "full pool of 1962"
    with pytest.raises(InputError, match=r"gauge\.csv: .*clean\.full_pool_m"):
        clean(two_days(), KNOWN, known_facts(levels=(gauge(elevation=True, zero_m=214.4),)))


def test_a_gap_in_the_gauge_is_said_when_readings_lie_in_it():
    "Four silent days: a warning with how far the level moved; none where nobody sailed then."
    gapped = readings([0, 6, 12, 108, 114], [0.0, 0.0, 0.0, 0.5, 0.5])
    said = level_at(at_hours([3, 60, 110]), [gapped], PLAIN).messages
    assert len(said) == 1 and "silent" in said[0] and "{0.500 m:2}" in said[0] and "1 readings" in said[0]
    assert level_at(at_hours([3, 110]), [gapped], PLAIN).messages == ()


def test_a_gauge_of_another_year_is_refused():
    "One line with both dates; a file that ends two days early as well."
    for levels, words in ((replace(gauge(), time_s=gauge().time_s - 365 * DAY_S), r"gauge\.csv: levels from 2024-06-01 "
                           r"to 2024-06-02, but log0 has readings of 2025-06-01"),
                          (readings([-60, -50], [0.0, 0.1]), r"levels from 2025-05-29")):
        with pytest.raises(InputError, match=words) as fault:
            clean(two_days(), KNOWN, known_facts(levels=(levels,)))
        assert "\n" not in str(fault.value)


def test_tides_and_rivers_are_refused():
    "Salt water; a level that turns every six hours; two gauges on a slope: one line each."
    hours = np.arange(0, 72)
    tide = readings(hours, 0.4 * np.sin(2 * np.pi * hours / 12.42))
    with pytest.raises(InputError, match=r"gauge\.csv: rises and falls .* a tide, which is not corrected"):
        level_at(at_hours([3, 30]), [tide], PLAIN)
    with pytest.raises(InputError, match=r"salt water are tides"):
        level_at(at_hours([3]), [gauge()], CleanSettings(water="salt"))
    upper, lower = readings([0, 48], [1.0, 1.0], "upper.csv"), readings([0, 24, 48], [0.8, 0.8, 0.8], "lower.csv")
    with pytest.raises(InputError, match=r"upper\.csv and lower\.csv: .*river"):
        level_at(at_hours([3]), [upper, lower], PLAIN)


def test_a_reservoir_that_fills_and_empties_once_a_day_is_no_tide():
    "Half a metre up and down each day is what a power station does."
    hours = np.arange(0, 96)
    daily = readings(hours, 0.25 * np.sin(2 * np.pi * hours / 24.0))
    assert level_at(at_hours([3, 30]), [daily], PLAIN) is not None


def test_two_files_of_one_gauge_follow_each_other():
    "June and July of the same gauge are one."
    june, july = readings([0, 24], [0.0, 0.2], "june.csv"), readings([24, 48], [0.2, 0.4], "july.csv")
    told = level_at(at_hours([12, 36]), [june, july], PLAIN)
    assert_allclose(told.above_datum_m, [0.1, 0.3])
    assert_allclose(level_at_times([june, july], FIRST_DAY_S + 3600.0 * np.array([12, 100]), PLAIN), [0.1, np.nan])


def test_a_log_without_a_date_stays_on_its_day():
    "Its level is not known: said, and nothing is taken off."
    cleaned = clean(two_days(facts={"has_date": False}), KNOWN, known_facts())
    assert any("log0, log1: no date" in text for text in cleaned.messages)
    assert "lake level" not in [one.name for one in cleaned.corrections]


def test_a_stump_measured_dry_at_low_pool_is_a_reading_like_any_other():
    "Low pool, 3 m below full: a stump top 1 m above the water lies 2 m below full; higher is land."
    wet = logged(np.arange(200.0), np.zeros(200), np.full(200, 5.0), depth_reference="surface",
                 origins={"depth_reference": "header"})
    dry = logged([20.0, 40.0], [10.0, 10.0], [-1.0, -3.5], log=1, depth_reference="surface", single=True,
                 acoustic=False, origins={"depth_reference": "header"})
    soundings = replace(Soundings.concatenate([wet, dry]), crs=UTM_33)
    soundings = soundings.with_columns(time_s=soundings.time_s + FIRST_DAY_S)
    low = LakeFacts(levels=(readings([-1, 24], [-3.0, -3.0]),))
    cleaned = clean(soundings, PLAIN, low)
    assert cleaned.usable()[200] and cleaned.depth_m[200] == pytest.approx(2.0)
    assert cleaned.has(Flag.off_water)[201] and not cleaned.has(Flag.lost_bottom)[200:].any()
    assert_allclose(cleaned.depth_m[:200], 8.0)
    without = clean(soundings, PLAIN)
    assert without.has(Flag.lost_bottom)[200:].all()


def test_the_depth_of_the_day_is_kept_for_what_hears_it():
    "0.6 m of level: the sounder was over that much more water; without a gauge nothing is added."
    cleaned = clean(two_days(), KNOWN, known_facts())
    second = cleaned.log == 1
    assert_allclose((cleaned.depth_that_day_m() - cleaned.depth_m)[second], RISE_M, atol=1e-6)
    assert_allclose(cleaned.depth_that_day_m()[~second], cleaned.depth_m[~second], atol=1e-6)
    bare = clean(two_days(), KNOWN, known_facts(levels=()))
    assert_allclose(bare.depth_that_day_m(), bare.depth_m)


def test_a_high_lake_reaches_beyond_its_shoreline():
    "Rows 40 m outside: off the water at datum level, on it when the lake stands 2 m higher."
    soundings = at_hours([3] * 20).with_columns(x_m=at_hours([3] * 20).x_m + np.where(np.arange(20) < 10, 0.0, 40.0))
    lon, lat = lonlat([-50.0, 60.0, 60.0, -50.0], [-50.0, -50.0, 50.0, 50.0])
    shore = Shoreline(shapely.Polygon(np.column_stack([lon, lat])), "shore.geojson")
    dry = flag_off_water(soundings, shore, PLAIN).has(Flag.off_water)
    flooded = LakeFacts(levels=(readings([0, 24], [2.0, 2.0]),))
    wet = flag_off_water(soundings, shore, PLAIN, flooded).has(Flag.off_water)
    assert dry.any() and not wet[dry & (soundings.x_m - 500_000 < 100)].any()


def test_days_are_compared_as_if_the_lake_had_stood_still():
    "A draw-down of 8 m between days makes no outlier of the day that is alone against others."
    deep = two_days()
    second = deep.log == 1
    drawn = deep.with_columns(logged_depth_m=deep.logged_depth_m + np.where(second, -8.0 * NOMINAL_MPS / 1447.289, 0.0))
    drawn = drawn.take(drawn.logged_depth_m > 0.5)
    facts = known_facts(boats=(boat(),), levels=(gauge(rise_m=RISE_M - 8.0),))
    cleaned = clean(drawn, KNOWN, facts)
    assert cleaned.usable().mean() > 0.99
    assert np.abs(cleaned.depth_m - truth_m(cleaned))[cleaned.usable()].max() < 0.01
