"""The owner's word on rows, and part of what was recorded: what is asked for, counted, and undone by taking it out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from corrected_lake import DAY_S, FIRST_DAY_S, WATER_C, known_facts, lonlat, two_days
from numpy.testing import assert_array_equal

from lakemap.clean import CleanSettings, clean, part_of, shore_within
from lakemap.errors import NothingUsable
from lakemap.model.flags import Flag
from lakemap.model.lake_facts import Edit, Edits
from lakemap.model.shoreline import Shoreline

KNOWN = CleanSettings(water_c=WATER_C)
NAN = float("nan")


def edit(what, from_s=NAN, until_s=NAN, place=(NAN, NAN, NAN, NAN), log="", line=2, why="weeds on the transducer"):
    "One line of edits.csv."
    return Edit(what, why, from_s, until_s, *place, log, (), line, "edits.csv")


def cleaned_with(*lines, soundings=None, settings=KNOWN):
    "The lake of two days, cleaned with the owner's word."
    return clean(two_days() if soundings is None else soundings, settings, known_facts(edits=Edits(lines)))


def test_a_stretch_of_time_is_marked_bad_and_said():
    "Rows of the first 100 s are out, by_owner; the message names line, count and reason; without the line they are in."
    cleaned = cleaned_with(edit("bad", FIRST_DAY_S, FIRST_DAY_S + 100.0))
    expected = two_days().time_s <= FIRST_DAY_S + 100.0
    assert_array_equal(cleaned.has(Flag.by_owner), expected)
    assert not cleaned.usable()[expected].any()
    assert any("edits.csv, line 2" in text and f"{expected.sum()} rows" in text and "weeds" in text
               for text in cleaned.messages)
    assert cleaned_with().usable().all()
    off = cleaned_with(edit("bad", FIRST_DAY_S, FIRST_DAY_S + 100.0), settings=replace(KNOWN, off=("edits",)))
    assert off.usable().all()


def test_a_place_and_a_log_narrow_what_is_meant():
    "A box in the west, of the second log alone."
    west, south = (float(side) for side in lonlat(-5.0, -5.0))
    east, north = (float(side) for side in lonlat(50.0, 400.0))
    cleaned = cleaned_with(edit("bad", place=(west, south, east, north), log="LOG1"))
    bad = cleaned.has(Flag.by_owner)
    assert bad.any() and (cleaned.log[bad] == 1).all() and (cleaned.x_m[bad] < 500_051).all()
    middle = float(lonlat(0.0, 100.0)[1])
    half = cleaned_with(edit("bad", place=(west, middle, east, north))).has(Flag.by_owner)
    assert half.any() and (cleaned.lat_deg[half] >= middle).all() and half.sum() < bad.sum() + (cleaned.log == 0).sum()
    undated = two_days(facts={"has_date": False})
    assert not cleaned_with(edit("bad", FIRST_DAY_S), soundings=undated).has(Flag.by_owner).any()


def test_flagged_rows_are_restored_with_a_note():
    "A spike that the owner knows to be a pillar is used, keeps the note, and comes back out without the line."
    soundings = two_days()
    spiked = soundings.with_columns(logged_depth_m=np.where(np.arange(len(soundings)) == 150, 25.0,
                                                            soundings.logged_depth_m))
    assert cleaned_with(soundings=spiked).has(Flag.spike)[150]
    time_s = float(spiked.time_s[150])
    kept = cleaned_with(edit("restore", time_s - 1, time_s + 1, why="bridge pillar's hole"), soundings=spiked)
    assert kept.usable()[150] and kept.has(Flag.kept_by_owner)[150] and np.isfinite(kept.depth_sigma_m[150])
    assert kept.has(Flag.kept_by_owner).sum() == 1
    assert any("1 rows restored (bridge pillar's hole)" in text for text in kept.messages)


def test_what_has_no_depth_cannot_be_restored():
    "A row without a depth stays out."
    soundings = two_days()
    hole = soundings.with_columns(logged_depth_m=np.where(np.arange(len(soundings)) == 150, NAN,
                                                          soundings.logged_depth_m))
    kept = cleaned_with(edit("restore", log="log0"), soundings=hole)
    assert not kept.usable()[150]


def test_bad_counts_before_restore():
    "Both on one stretch: the rows stay out."
    word = cleaned_with(edit("bad", log="log0"), edit("restore", log="log0", line=3))
    assert not word.usable()[word.log == 0].any()


def test_part_of_the_time():
    "From the second day on: the first log is gone, rows_in counts what was asked for."
    part = part_of(two_days(), None, FIRST_DAY_S + DAY_S - 3600, None)
    assert [log.name for log in part.logs] == ["log1"] and part.logs[0].rows_in == len(part)
    assert set(part.log) == {0}
    first = part_of(two_days(), None, None, FIRST_DAY_S + DAY_S - 3600)
    assert len(first) + len(part) == len(two_days())
    assert part_of(two_days(), None, None, None).logs == two_days().logs


def test_part_of_the_lake():
    "Rows inside the polygon only; the shoreline is cut with it and the cut is no shore."
    corners = lonlat([-10.0, 100.0, 100.0, -10.0], [-10.0, -10.0, 300.0, 300.0])
    area = Shoreline(shapely.Polygon(np.column_stack(corners)), "arm.geojson")
    part = part_of(two_days(), area, None, None)
    assert 0 < len(part) < len(two_days()) and (part.x_m <= 500_100.01).all()
    assert "arm.geojson" in part.messages[0]
    shore = Shoreline(shapely.Polygon(np.column_stack(lonlat([-5.0, 305, 305, -5], [-5.0, -5, 205, 205]))), "s.geojson")
    cut = shore_within(shore, area)
    assert cut.water.area < 0.5 * shore.water.area
    edge = shapely.Point(*lonlat(100.0, 100.0))
    bank = shapely.Point(*lonlat(-5.0, 100.0))
    assert cut.walls.distance(edge) < 1e-6 and cut.walls.distance(bank) > 1e-5
    assert shore_within(None, area) is None and shore_within(shore, None) is shore


def test_nothing_left_is_said_with_the_options():
    "A span before the first day; an area elsewhere; rows without dates."
    for soundings, span in ((two_days(), (None, 0.0)), (two_days(facts={"has_date": False}), (0.0, None))):
        with pytest.raises(NothingUsable, match=r"--area, --since or --until"):
            part_of(soundings, None, *span)
