"""Files beside the logs: levels, temperatures, check depths, edits, boat.toml, [[log]] rules; each fault one line."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from lakemap.errors import InputError, SettingError
from lakemap.model.lake_facts import Edits, LakeLevels
from lakemap.read import read_lake_facts
from lakemap.read.find import reader_for, sort_files
from lakemap.read.log_rules import log_rules, rules_for
from lakemap.read.moments import moment_s
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source

LEVELS = "# full_pool_ft: 840.0\n# datum: full pool of 1962\ntime,elevation_ft\n2025-06-01T00:00Z,838\n" \
    "2025-06-03T00:00Z,839\n2025-06-02T00:00Z,838.5\n"
PROFILE = "depth_ft,temp_f,date\n0,75,2025-06-01\n30,50,2025-06-01\n0,77,2025-07-01\n30,51,2025-07-01\n"
CHECKS = "lat,lon,check_depth_ft,sigma_ft,time\n46.8,-100.3,20,0.3,2025-06-01T10:00Z\n46.81,-100.3,30,,\n"
EDITS = "what,from,until,west,south,east,north,log,spots,why\n" \
    "bad,2025-06-01T10:00Z,2025-06-01,,,,,,,prop wash\nlooked nothing,,,-100.31,46.8,-100.3,46.81,,,dived there\n" \
    "merge_spots,,,,,,,,brush-1 brush-2,one pile\n"
BOAT = """clock_offset_s = 3600
[[sounder]]
name = "bow"
draft_m = 0.35
nominal_sound_speed_mps = "4800 ft/s"
drafts = [{ from = 2025-06-01, until = 2025-06-02T12:00:00Z, draft_m = 0.6 }]
[[sounder]]
name = "stern"
nominal_sound_speed_mps = "unknown"
"""


def taken(tmp_path, name, text, role=None):
    "What a file holds, in the role that its content tells (or the one given)."
    path = tmp_path / name
    path.write_text(text)
    found = role or next(iter(sort_files([path]).roles))
    source = Source.of(path)
    return found, reader_for(source, found).read(source, ReadSettings())


def test_levels_with_full_pool_and_datum(tmp_path):
    "Role by content; sorted by time; feet to metres; what comments above the header say."
    role, levels = taken(tmp_path, "pool.csv", LEVELS)
    assert role == "levels" and isinstance(levels, LakeLevels) and levels.elevation
    assert_allclose(levels.level_m, np.array([838.0, 838.5, 839.0]) * 0.3048)
    assert_allclose(np.diff(levels.time_s), 86_400.0)
    assert levels.full_pool_m == pytest.approx(840 * 0.3048) and levels.datum == "full pool of 1962"


def test_profiles_in_feet_and_fahrenheit(tmp_path):
    "Two casts by their dates."
    role, profile = taken(tmp_path, "t.csv", PROFILE)
    assert role == "profile" and len(profile.casts) == 2
    assert_allclose(profile.casts[0].depth_m, [0.0, 9.144])
    assert_allclose(profile.casts[1].temperature_c, [25.0, (51 - 32) / 1.8])


def test_check_depths_keep_their_own_error(tmp_path):
    "Feet to metres, 0.1 m where no error is given, time where given."
    role, checks = taken(tmp_path, "line.csv", CHECKS)
    assert role == "check_depths"
    assert_allclose(checks.depth_m, [6.096, 9.144])
    assert_allclose(checks.sigma_m, [0.09144, 0.1])
    assert np.isfinite(checks.time_s).tolist() == [True, False] and checks.line.tolist() == [2, 3]


def test_plain_depths_are_check_depths_when_told(tmp_path):
    "lat, lon, depth is a log by its content; with the option it is a table of check depths."
    text = "lat,lon,depth_m\n46.8,-100.3,6.0\n"
    assert taken(tmp_path, "a.csv", text)[0] == "log"
    assert taken(tmp_path, "a.csv", text, "check_depths")[1].depth_m.tolist() == [6.0]


def test_edits(tmp_path):
    "Words, open ends, a bare date as its last moment, places, spots."
    role, edits = taken(tmp_path, "edits.csv", EDITS)
    assert role == "edits" and isinstance(edits, Edits)
    bad, looked, merge = edits.lines
    assert (bad.what, looked.what, merge.what) == ("bad", "looked_nothing", "merge_spots")
    assert bad.until_s == pytest.approx(moment_s("2025-06-02", "x") - 0.001)
    assert np.isnan(looked.from_s) and looked.north == 46.81 and merge.spots == ("brush-1", "brush-2")
    assert looked.title == "edits.csv, line 3"


def test_a_boat_with_two_sounders(tmp_path):
    "Feet a second, unknown, a draft by time span, the clock."
    role, boat = taken(tmp_path, "boat.toml", BOAT)
    assert role == "boat" and boat.clock_offset_s == 3600
    bow, stern = boat.sounders
    assert bow.nominal_sound_speed_mps == pytest.approx(1463.04) and bow.drafts[0].draft_m == 0.6
    assert stern.speed_unknown and stern.nominal_sound_speed_mps is None and stern.draft_m is None


def test_all_of_them_from_one_folder(tmp_path):
    "Each found by its content, beside each other; lake.toml is no file of a role."
    files = {"pool.csv": LEVELS, "t.csv": PROFILE, "line.csv": CHECKS, "edits.csv": EDITS, "boat.toml": BOAT,
             "lake.toml": 'name = "x"\n'}
    for name, text in files.items():
        (tmp_path / name).write_text(text)
    found = sort_files([tmp_path])
    facts = read_lake_facts(found, ReadSettings())
    assert (len(facts.boats), len(facts.levels), len(facts.checks), len(facts.edits.lines)) == (1, 1, 2, 3)
    assert facts.profile is not None and found.messages == ()


BAD = {
    "drafts that are no list": (
        "boat.toml", "[[sounder]]\ndrafts = 5\n",
        r"boat\.toml: \[\[sounder\]\] 1, drafts = 5: must be a list",
    ),
    "a clock off by a year": (
        "boat.toml", "clock_offset_s = 3e7\n[[sounder]]\n",
        r"boat\.toml: \[clock\] clock_offset_s = 30000000\.0: must be from",
    ),
    "a level above all mountains": (
        "l.csv", "time,elevation_m\n2025-06-01T00:00Z,1e6\n",
        r"l\.csv: a level of 1e\+06 m is no lake's",
    ),
    "depths out of order": (
        "p.csv", "depth_m,temp_c\n0,24\n5,23.5\n4,15\n",
        r"p\.csv: depths out of order, 4 m after 5 m \(line 4\)",
    ),
    "no lake is so warm": (
        "p.csv", "depth_m,temp_c\n0,75\n5,60\n",
        r"p\.csv: 75 degC in line 2 .*temperature_f",
    ),
    "a level without unit": (
        "l.csv", "time,level\n2025-06-01T00:00Z,1.0\n",
        r"l\.csv: column 'level' does not say its unit",
    ),
    "a level without date": (
        "l.csv", "time,level_m\n10:00:00,1.0\n11:00:00,1.0\n",
        r"l\.csv: column 'time' has no date",
    ),
    "two levels at once": (
        "l.csv", "time,level_m\n2025-06-01T00:00Z,1.0\n2025-06-01T00:00Z,2.0\n",
        r"l\.csv: two levels at 2025-06-01",
    ),
    "an elevation by another name": (
        "l.csv", "time,level_m\n2025-06-01T00:00Z,215.0\n",
        r"l\.csv: levels near 215\.00 m are elevations.*full_pool_m",
    ),
    "an unknown word": (
        "e.csv", "what,why,log\nwrong,x,a\n",
        r"e\.csv, line 2: what = 'wrong': must be one of bad, restore",
    ),
    "neither when nor where": (
        "e.csv", "what,why,log\nbad,x,\n",
        r"e\.csv, line 2: says neither when nor where",
    ),
    "half a place": (
        "e.csv", "what,why,west\nbad,x,7.0\n",
        r"e\.csv, line 2: a place needs all of west",
    ),
    "one spot to merge": (
        "e.csv", "what,why,spots\nmerge_spots,x,brush-1\n",
        r"line 2: merge_spots needs the name of two",
    ),
    "no time": (
        "e.csv", "what,why,from\nbad,x,soon\n",
        r"e\.csv, line 2, from = 'soon': no date or time",
    ),
    "an unknown key of a boat": (
        "boat.toml", "colour = 1\n[[sounder]]\n",
        r"boat\.toml: unknown key 'colour'",
    ),
    "an unknown key of a sounder": (
        "boat.toml", "[[sounder]]\ndraft = 0.3\n",
        r"boat\.toml: \[\[sounder\]\] 1 has an unknown key 'draft'",
    ),
    "a negative draft": (
        "boat.toml", "[[sounder]]\ndraft_m = -0.3\n",
        r"boat\.toml: \[sounder\] draft_m = -0\.3: must be from 0 to 5",
    ),
    "a latency of a minute": (
        "boat.toml", "[[sounder]]\nlatency_s = 60\n",
        r"boat\.toml: \[sounder\] latency_s = 60: .*clock",
    ),
    "a speed in words": (
        "boat.toml", "[[sounder]]\nnominal_sound_speed_mps = \"fast\"\n",
        r"'fast': write 1500",
    ),
    "two sounders of one name": (
        "boat.toml", "[[sounder]]\n[[sounder]]\n",
        r"2 sounders are named 'sounder'",
    ),
    "no TOML": (
        "boat.toml", "[[sounder]]\ndraft_m = = 1\n",
        r"boat\.toml: no TOML",
    ),
    "a span that ends first": (
        "boat.toml", "[[sounder]]\ndrafts = [{ from = 2025-06-02, until = 2025-06-01, draft_m = 1 }]\n",
        r"a span ends before it begins",
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_a_fact_that_cannot_be_used_is_one_clear_line(name, tmp_path):
    "File, value, rule and the way out; nothing is left out in silence."
    file_name, text, words = BAD[name]
    with pytest.raises(InputError, match=words) as fault:
        taken(tmp_path, file_name, text)
    assert "\n" not in str(fault.value)


def test_rules_say_which_depths_of_a_log_are_whose():
    "By name with stars; two rules of one log need a talker or sentence each."
    rules = log_rules([{"match": "*.nmea", "talker": "SD", "sounder": "bow"},
                       {"match": "*.nmea", "talker": "II", "sentence": "DPT", "sounder": "stern"}])
    assert [rule.sounder for rule in rules_for("Day1.NMEA", rules)] == ["bow", "stern"]
    assert not rules_for("a.csv", rules)
    twice = log_rules([{"match": "a*", "sounder": "bow"}, {"match": "*b", "sounder": "stern"}])
    with pytest.raises(InputError, match=r"\[\[log\]\] 1 and 2 both claim ab \(sounders bow and stern\)"):
        rules_for("ab", twice)
    mixed = log_rules([{"match": "a*", "sounder": "bow"}, {"match": "*b", "talker": "SD", "sounder": "stern"}])
    with pytest.raises(InputError, match=r"one takes all its depths"):
        rules_for("ab", mixed)


@pytest.mark.parametrize(("tables", "words"), [
    ({"match": "a"}, r"must be written \[\[log\]\]"), ([{"sounder": "bow"}], r"\[\[log\]\] 1: needs match"),
    ([{"match": "a", "colour": "x"}], r"unknown key 'colour'"), ([{"match": 3}], r"match = 3: must be text"),
    ([{"match": "a", "sentence": "RMC"}], r"sentence = 'RMC': must be one of DBT"),
])
def test_a_rule_that_says_nothing_usable_is_refused(tables, words):
    "One line each."
    with pytest.raises(SettingError, match=words):
        log_rules([tables] if isinstance(tables, dict) and "colour" in tables else tables)


@pytest.mark.parametrize(("text", "end", "expected"), [
    ("2025-06-01", False, 1_748_736_000.0), ("2025-06-01", True, 1_748_736_000.0 + 86_399.999),
    ("2025-06-01T12:00:00+02:00", False, 1_748_772_000.0), ("2025-06-01T10:00", True, 1_748_772_000.0),
])
def test_moments(text, end, expected):
    "Dates are UTC days, times carry their zone."
    assert moment_s(text, "since", end=end) == pytest.approx(expected)
