"""Notes without a position: what their words mean, and which reading of the log they speak of."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from log_lines import source_of

from lakemap.errors import InputError
from lakemap.geo.notes_by_time import AMBIGUOUS, NOWHERE, join_notes, rows_near
from lakemap.model.flags import Flag
from lakemap.model.log_facts import LogFacts
from lakemap.model.soundings import NOT_NOTED, Soundings
from lakemap.read.find import sort_files
from lakemap.read.load import read_marks, read_notes
from lakemap.read.note_words import seen_of, thing_of
from lakemap.read.notes_table import NotesReader
from lakemap.read.settings import ReadSettings

START = np.datetime64("2025-06-01T14:30:00", "ms")


def sailed(*starts, step_s=1, n=200, date=True):
    "Rows of one log per start, a second apart, going east."
    parts = []
    for start in starts:
        utc = start + np.arange(n) * np.timedelta64(step_s * 1000, "ms")
        seconds = utc.astype(np.int64) / 1000.0
        parts.append(Soundings.build(
            n, [LogFacts("a.nmea", has_date=date)], time_s=seconds if date else seconds % 86400.0,
            time_utc=utc if date else np.full(n, "NaT", "datetime64[ms]"),
            lat_deg=np.full(n, 46.8), lon_deg=-100.3 + np.arange(n) * 1e-5, logged_depth_m=np.full(n, 4.0),
        ))
    return Soundings.concatenate(parts)


def notes_of(folder, text, **settings):
    "Notes of a file with this content."
    return NotesReader().read(source_of(folder, text, "notes.csv"), ReadSettings(**settings))


@pytest.mark.parametrize("text, code", [
    ("second bottom strong", 2), ("Second Bottom: STRONG!", 2), ("2nd faint", 1), ("second bottom weak here", 1),
    ("no second bottom", 0), ("second bottom none", 0), ("without second", 0), ("third bottom", 3), ("third", 3),
    ("none", 0), ("strong", 2), ("second bottom", NOT_NOTED), ("strong wind", NOT_NOTED), ("weed", NOT_NOTED),
    ("no third echo", NOT_NOTED), ("second bottom strong, or faint", NOT_NOTED), ("", NOT_NOTED),
])
def test_words_for_the_second_bottom(text, code):
    "Sure words only; what could be both is not noted."
    assert seen_of(text) == code


@pytest.mark.parametrize("text, kind", [
    ("big stump", "stump"), ("weeds start", "weed"), ("no weed here", ""), ("brush pile, 8 ft", "brush"), ("windy", ""),
    ("boulders", "rock"), ("second bottom strong", ""),
])
def test_things_in_notes(text, kind):
    "The first word that means a kind, unless it is denied."
    assert thing_of(text) == kind


@given(st.text(max_size=40))
def test_any_words_mean_something_or_nothing(text):
    "Never a fault."
    assert seen_of(text) in (-1, 0, 1, 2, 3) and isinstance(thing_of(text), str)


def test_a_note_is_joined_to_the_reading_nearest_in_time(tmp_path):
    "14:32 UTC is 120 s behind the start: row 120 gets the word, and the stump stands where the boat was."
    notes = notes_of(tmp_path, "time,note\n2025-06-01 14:32,second bottom strong\n2025-06-01T14:32:10.4Z,stump\n")
    rows, marks = join_notes(sailed(START), notes, 30.0)
    assert np.flatnonzero(rows.second_seen != NOT_NOTED).tolist() == [120] and rows.second_seen[120] == 2
    assert marks.kind == ("stump",) and marks.lon_deg[0] == pytest.approx(-100.3 + 130e-5)
    assert marks.time_utc[0] == START + np.timedelta64(130, "s")
    assert any("2 of 2 notes joined" in text for text in rows.messages)


def test_a_note_far_from_all_readings_is_left_out_and_said(tmp_path):
    "31 s before the first reading with a limit of 30 s; the line and the way on are named."
    notes = notes_of(tmp_path, "time,note\n2025-06-01T14:29:29,strong\n2025-06-01T14:29:30,strong\n")
    assert rows_near(sailed(START), notes, 30.0).tolist() == [NOWHERE, 0]
    rows, _ = join_notes(sailed(START), notes, 30.0)
    assert any("line 2: no reading within 30 s" in text and "read.timezone" in text for text in rows.messages)


def test_a_time_of_day_is_taken_on_the_day_of_the_log(tmp_path):
    "One day: joined. The same hour sailed on two days: refused, and the date is asked for."
    notes = notes_of(tmp_path, "time,note\n14:32,second bottom strong\n")
    assert rows_near(sailed(START), notes, 30.0).tolist() == [120]
    two = sailed(START, START + np.timedelta64(1, "D"))
    assert rows_near(two, notes, 30.0).tolist() == [AMBIGUOUS]
    rows, _ = join_notes(two, notes, 30.0)
    assert (rows.second_seen == NOT_NOTED).all() and any("write the date" in text for text in rows.messages)
    other_hour = sailed(START, START + np.timedelta64(26, "h"))
    assert rows_near(other_hour, notes, 30.0).tolist() == [120]


def test_a_watch_on_local_time(tmp_path):
    "09:32 in Chicago in June is 14:32 UTC, by the date of the log; with a fixed offset too, and over midnight."
    for zone in ("America/Chicago", "-05:00"):
        notes = notes_of(tmp_path, "time,note\n09:32,strong\n2025-06-01 09:32:05,faint\n", timezone=zone)
        assert rows_near(sailed(START), notes, 30.0).tolist() == [120, 125]
    late = sailed(np.datetime64("2025-06-02T00:59:00", "ms"))
    notes = notes_of(tmp_path, "time (UTC-05:00),note\n20:00,strong\n")
    assert rows_near(late, notes, 30.0).tolist() == [60]


def test_a_log_without_a_date_is_joined_by_time_of_day(tmp_path):
    "Two undated logs of the same hour cannot be told apart."
    notes = notes_of(tmp_path, "time,note\n14:32,strong\n")
    assert rows_near(sailed(START, date=False), notes, 30.0).tolist() == [120]
    assert rows_near(sailed(START, START, date=False), notes, 30.0).tolist() == [AMBIGUOUS]


def test_what_the_log_says_itself_stays(tmp_path):
    "A note fills what is empty; rows without a place or with a fault are passed over."
    log = sailed(START)
    log = log.with_columns(second_seen=np.where(np.arange(200) == 120, 1, NOT_NOTED))
    log = log.with_flag(Flag.spike, np.arange(200) == 130)
    text = ("time,second_seen,second_bottom_ft,display_range_ft\n2025-06-01T14:32:00,strong,20,40\n"
            "2025-06-01T14:32:10,strong,,\n")
    rows, marks = join_notes(log, notes_of(tmp_path, text), 30.0)
    assert rows.second_seen[120] == 1 and rows.second_bottom_m[120] == pytest.approx(20 * 0.3048)
    assert rows.display_range_m[120] == pytest.approx(40 * 0.3048) and len(marks) == 0
    assert rows.second_seen[130] == NOT_NOTED and rows.second_seen[129] == 2


def test_no_log_to_join_to(tmp_path):
    "No rows, no time: all notes are left out, and said."
    notes = notes_of(tmp_path, "time,note\n14:32,strong\n2025-06-01T14:32,strong\n")
    for rows in (Soundings.build(0), Soundings.build(2, [LogFacts("a", has_time=False, has_date=False)])):
        joined, marks = join_notes(rows, notes, 30.0)
        assert len(marks) == 0 and any("0 of 2 notes" in text for text in joined.messages)


@pytest.mark.parametrize("text", [
    "time,note\n14:32,second bottom strong\n", "Date;Time;Notes\n1.6.2025;14:32;Baumstumpf\n",
    "time,second_seen,display_range_m\n14:32,none,10\n", "time,kind\n14:32,stump\n",
])
def test_such_a_table_is_found_by_its_content(tmp_path, text):
    "As marks, and never as a log."
    (tmp_path / "n.csv").write_text(text)
    files = sort_files([tmp_path / "n.csv"])
    assert [source.name for source in files.marks] == ["n.csv"] and not files.logs
    assert len(read_notes(files.marks, ReadSettings())) == 1 and len(read_marks(files.marks, ReadSettings())) == 0


@pytest.mark.parametrize("text, words", [
    ("time,note\nsoon,stump\n", "no time in any of 1 notes"), ("time,note\n03/04/2025 10:00,stump\n", "date_order"),
    ("local time,note\n10:00,stump\n", "read.timezone"), ("time,second_bottom\n10:00,4\n", "--depth-unit"),
])
def test_what_cannot_be_known_is_asked_for(tmp_path, text, words):
    "One line with the option that settles it."
    with pytest.raises(InputError, match=words):
        notes_of(tmp_path, text)


def test_a_note_that_means_nothing_known_is_kept_as_a_place(tmp_path):
    "Nothing that was written down is lost."
    notes = notes_of(tmp_path, "time,note\n14:32,turned back here\n14:33,second bottom\n")
    assert notes.kind == ("place", "") and notes.note[0] == "turned back here"
