"""Times in tables: split over columns, in any order, on local clocks; what nobody can know is asked for."""

from __future__ import annotations

import datetime
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st
from log_lines import source_of
from numpy.testing import assert_allclose

from lakemap.errors import InputError, SettingError
from lakemap.geo.zones import UTC, zone_of
from lakemap.read.settings import ReadSettings
from lakemap.read.table import TableReader
from lakemap.read.times import iso_times, read_times

NOON = np.datetime64("2025-06-01T12:00:00", "ms")


def read(folder, head, *cells, **settings):
    "The rows of a table whose time stands in these columns, before lat, lon and depth."
    text = f"{head},lat,lon,depth_m\n" + "".join(f"{cell},46,-100,3\n" for cell in cells)
    return TableReader().read(source_of(folder, text, "t.csv"), ReadSettings(**settings))


def said(rows, *words):
    "Whether one message holds all these words."
    return any(all(word in text for word in words) for text in rows.messages)


@pytest.mark.parametrize("head, cells", [
    ("date,time", ("2025-06-01,12:00:00", "2025-06-01,12:00:30")),
    ("Date,Time (UTC)", ("20250601,12:00", "20250601,12:00:30")),
    ("date,time", ("13/05/2025,12:00", "01/06/2025,12:00:30")),
    ("date,time", ("1.6.2025,12:00:00", "1.6.2025,12:00:30")),
    ("date,time", ("06/01/2025,12:00:00 PM", "06/13/2025,12:00:30 pm")),
    ("date,time", ("01.06.25,12:00", "01.06.25,12:00:30")),
    ("time", ("1.6.2025 12:00:00", "1.6.2025 12:00:30")), ("time", ("20250601 12:00:00", "20250601T12:00:30")),
    ("year,month,day,hour,minute,second", ("2025,6,1,12,0,0", "2025,6,1,12,0,30")),
    ("year,month,day,time", ("2025,6,1,12:00:00", "2025,6,1,12:00:30")),
    ("date,hour,minute", ("2025-06-01,12,0", "2025-06-01,12,0")),
    ("timestamp", ("2025-06-01T12:00:00.123456789Z", "2025-06-01T12:00:30.5Z")),
    ("epoch", ("1748779200", "1748779230")), ("date", ("2025-06-01T12:00:00Z",) * 2),
    ("time_utc,local time", ("2025-06-01T12:00:00,07:00", "2025-06-01T12:00:30,07:01")),
    ("time (UTC+2)", ("2025-06-01T14:00:00", "2025-06-01T14:00:30")),
    ("time (America/Chicago)", ("2025-06-01 07:00:00",) * 2),
    ("time", ("2025-06-01T12:00:00+00:00", "1.6.2025 14:00:00 +02:00")),
])
def test_forms_of_date_and_time(tmp_path, head, cells):
    "Each is noon of 1 June 2025 in UTC in one of its two rows."
    rows = read(tmp_path, head, *cells)
    assert rows.logs[0].has_date and (abs(rows.time_utc - NOON) <= np.timedelta64(30500, "ms")).any(), rows.time_utc


def test_dates_that_may_be_two_things_are_asked_for(tmp_path):
    "3/4 is April or March until an option, or a day above 12 in the same column, says it."
    with pytest.raises(InputError, match=r"'date'.*03/04.*read\.date_order=dmy or mdy") as fault:
        read(tmp_path, "date,time", "3/4/2025,10:00")
    assert "\n" not in str(fault.value)
    for order, month in (("dmy", 4), ("mdy", 3)):
        day = read(tmp_path, "date,time", "3/4/2025,10:00", date_order=order).time_utc[0]
        assert str(day)[:7] == f"2025-0{month}"
    rows = read(tmp_path, "date,time", "3/4/2025,10:00", "25/3/2025,10:00")
    assert str(rows.time_utc[0])[:10] == "2025-04-03"


def test_a_time_without_a_zone_is_utc_and_it_is_said(tmp_path):
    "Naive times say so; with a zone in the cell, the header or the setting there is nothing to say."
    naive = read(tmp_path, "time", "2025-06-01T12:00:00")
    assert naive.time_utc[0] == NOON and said(naive, "taken as UTC", "read.timezone")
    for head, cell in (("time", "2025-06-01T12:00:00Z"), ("time_utc", "2025-06-01T12:00:00"), ("time", "1748779200")):
        assert not said(read(tmp_path, head, cell), "zone")


@pytest.mark.parametrize("zone", ["+02:00", "Europe/Berlin", "UTC+2", "gmt +0200"])
def test_local_times_by_the_setting(tmp_path, zone):
    "Cells that name their own zone keep it."
    rows = read(tmp_path, "time", "2025-06-01T14:00:00", "2025-06-01T12:00:00Z", timezone=zone)
    assert (rows.time_utc == NOON).all() and said(rows, zone)


def test_a_local_clock_of_no_known_zone_is_refused(tmp_path):
    "An abbreviation stands for several zones in the world; the setting settles it."
    for head in ("local time", "time (CST)", "Time EST"):
        with pytest.raises(InputError, match=r"local clock.*read\.timezone"):
            read(tmp_path, head, "2025-06-01T07:00:00")
        assert read(tmp_path, head, "2025-06-01T07:00:00", timezone="America/Chicago").time_utc[0] == NOON


@pytest.mark.parametrize("zone", ["Mars/Base", "+25:00", "", "2", "+01:77"])
def test_what_is_no_zone_is_refused(zone):
    "With an example of both forms."
    with pytest.raises(SettingError, match=r"timezone.*\+02:00.*Europe/Berlin"):
        ReadSettings(timezone=zone)


def test_the_hour_that_a_clock_repeats():
    "26 October 2025, 03:00 goes back to 02:00 in Berlin: first summer time, and behind the step back winter time."
    clock = ["2025-10-26T01:59", "2025-10-26T02:30", "2025-10-26T02:59", "2025-10-26T02:10", "2025-10-26T03:01"]
    local = np.array(clock, dtype="datetime64[s]").astype(np.int64).astype(float)
    utc, twice = zone_of("Europe/Berlin").utc_s(local)
    assert np.diff(utc).tolist() == [31 * 60, 29 * 60, 11 * 60, 51 * 60]
    assert twice.tolist() == [False, True, True, True, False]


@given(st.datetimes(datetime.datetime(1980, 1, 1), datetime.datetime(2036, 1, 1)),
       st.sampled_from(["Europe/Berlin", "America/Chicago", "Asia/Kolkata", "Pacific/Auckland"]))
def test_local_times_agree_with_the_standard_library(moment, zone):
    "From UTC to the local clock by zoneinfo and back by us, outside the hours that a clock has twice."
    moment = moment.replace(microsecond=0)
    local = moment.replace(tzinfo=datetime.UTC).astimezone(ZoneInfo(zone)).replace(tzinfo=None)
    seconds = (local - datetime.datetime(1970, 1, 1)).total_seconds()
    utc, twice = zone_of(zone).utc_s(np.array([seconds]))
    assert twice[0] or utc[0] == (moment - datetime.datetime(1970, 1, 1)).total_seconds()


@given(st.datetimes(datetime.datetime(1980, 1, 1), datetime.datetime(2100, 1, 1)), st.sampled_from(["dmy", "mdy"]))
def test_dates_written_out_come_back(moment, order):
    "Day, month, year in both orders, and in ISO 8601, mean the same moment."
    moment = moment.replace(microsecond=0)
    text = moment.strftime("%d/%m/%Y %H:%M:%S" if order == "dmy" else "%m/%d/%Y %I:%M:%S %p")
    ours = read_times(_series([text, text]), UTC, order).time_s
    assert_allclose(ours, iso_times(_series([moment.isoformat()] * 2)).time_s, rtol=0, atol=1e-6)


def _series(cells):
    return pa.array(cells).to_pandas().astype("str")


@pytest.mark.parametrize("cells", [
    ("2025-06-31", "2025-06-30"), ("31/06/2025", "30/06/2025"), ("2025-02-29T10:00:00Z", "2025-02-28T10:00:00Z"),
])
def test_days_that_do_not_exist_are_no_times(tmp_path, cells):
    "The row stays, its time is that of its neighbours, its UTC is empty."
    assert np.isnat(read(tmp_path, "time", *cells).time_utc).tolist() == [True, False]


def test_a_leap_second_is_the_second_behind_it(tmp_path):
    "23:59:60 is no fault."
    rows = read(tmp_path, "time", "2016-12-31T23:59:59Z", "2016-12-31T23:59:60Z", "2017-01-01T00:00:01Z")
    assert np.diff(rows.time_s).tolist() == [1, 1]


def test_times_of_day_get_their_date_from_the_option(tmp_path):
    "Over midnight the next day follows."
    rows = read(tmp_path, "time", "23:59:50", "00:00:10", date="2025-06-01")
    assert rows.time_utc.astype("datetime64[s]").tolist() == [
        datetime.datetime(2025, 6, 1, 23, 59, 50), datetime.datetime(2025, 6, 2, 0, 0, 10)]


def test_two_time_columns_are_refused_with_the_option(tmp_path):
    "One line; with the option the table is read."
    with pytest.raises(InputError, match=r"'time' and 'timestamp' could both be time.*--columns time=time"):
        read(tmp_path, "time,timestamp", "2025-06-01T12:00:00Z,1748779205")
    assert read(tmp_path, "time,timestamp", "2025-06-01T12:00:00Z,1748779205", columns="time=time").time_utc[0] == NOON


def test_numbers_beside_a_date_are_refused(tmp_path):
    "Seconds of the day, hhmmss or parts of a day: nobody can know."
    with pytest.raises(InputError, match=r"numbers beside a date.*10:30:00"):
        read(tmp_path, "date,time", "2025-06-01,101530")
