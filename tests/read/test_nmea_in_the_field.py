"""NMEA logs as boats make them: clocks, dates, several instruments, slow and frozen receivers, odd line ends."""

from __future__ import annotations

import numpy as np
import plain_nmea
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from log_lines import dbt, rmc, sentence, source_of
from numpy.testing import assert_allclose, assert_array_equal

from lakemap.errors import InputError, LakemapError, SettingError
from lakemap.model.flags import Flag
from lakemap.model.soundings import COLUMN_DTYPES
from lakemap.read import nmea_stream
from lakemap.read.nmea import NmeaReader
from lakemap.read.settings import ReadSettings


def read(folder, text, **settings):
    "The rows of a log with this content."
    return NmeaReader().read(source_of(folder, text), ReadSettings(**settings))


def gga(clock, lat="4807.0000", lon="01131.0000", hdop="0.9", talker="GP", quality=1):
    "A GGA sentence north of the equator and east of Greenwich."
    return sentence(f"{talker}GGA,{clock},{lat},N,{lon},E,{quality},09,{hdop},10.2,M,17.6,M,,")


def zda(clock, day="", month="", year="", talker="GP"):
    "A ZDA sentence, without a date unless it is given."
    return sentence(f"{talker}ZDA,{clock},{day},{month},{year},,")


def told(rows, *words):
    "Whether one of the messages holds all these words."
    return any(all(word in text for word in words) for text in rows.messages)


# dates and clocks


def test_a_leap_second_keeps_time_running(tmp_path):
    "23:59:59, 23:59:60, 00:00:00, 00:00:01: no row goes back, no place is lost, three seconds in all."
    clocks = (("235959", "311216"), ("235960", "311216"), ("000000", "010117"), ("000001", "010117"))
    text = "".join(rmc(clock, f"4807.{i:04d}", date=day) + dbt(i) for i, (clock, day) in enumerate(clocks))
    rows = read(tmp_path, text)
    assert (np.diff(rows.time_s) > 0).all() and rows.usable().all() and np.ptp(rows.time_s) < 3
    assert rows.time_utc[0] >= np.datetime64("2016-12-31T23:59:59")
    assert rows.time_utc[2] <= np.datetime64("2017-01-01T00:00:01")


def test_a_date_a_week_rollover_early_is_moved_on(tmp_path):
    "A receiver wakes 1024 weeks early (2025-06-01 is 2005-10-16) and finds the date a minute later: one day, and told."
    early = [rmc(f"12000{i}", f"4807.{i:04d}", date="161005") + dbt(i) for i in range(5)]
    right = [rmc(f"12000{i}", f"4807.{i:04d}") + dbt(i) for i in range(5, 10)]
    rows = read(tmp_path, "".join([*early, *right]))
    assert_allclose(np.diff(rows.time_s), 1.0)
    assert rows.time_utc[0].astype("datetime64[D]") == np.datetime64("2025-06-01")
    assert told(rows, "1024 weeks too early")


def test_two_receivers_of_which_one_is_past_its_rollover(tmp_path):
    "Every second sentence is 1024 weeks early: the later date is believed."
    lines = [rmc(f"12000{i}", f"4807.{i:04d}") + dbt(i) + zda(f"12000{i}", "16", "10", "2005", "II") for i in range(9)]
    rows = read(tmp_path, "".join(lines))
    assert (rows.time_utc.astype("datetime64[D]") == np.datetime64("2025-06-01")).all()
    assert told(rows, "weeks too early")


def test_old_dates_alone_are_kept_and_asked_about(tmp_path):
    "1994 may be true: nothing is moved unless --date names the day 1024 weeks later (or its neighbour)."
    text = "".join(rmc(f"12000{i}", date="230394") + dbt(i) for i in range(3))
    rows = read(tmp_path, text)
    assert rows.time_utc[0].astype("datetime64[D]") == np.datetime64("1994-03-23")
    assert told(rows, "1994-03-23", "--date 2013-11-06")
    for day in ("2013-11-06", "2013-11-07"):
        moved = read(tmp_path, text, date=day)
        assert moved.time_utc[0].astype("datetime64[D]") == np.datetime64("2013-11-06") and told(moved, "1024 weeks")
    other = read(tmp_path, text, date="2013-12-24")
    assert other.time_utc[0].astype("datetime64[D]") == np.datetime64("1994-03-23")


def test_the_date_of_a_log_without_any_is_given(tmp_path):
    "--date is the day of the first row; midnight moves on from it; a wrong one is refused."
    text = "".join(gga(clock) + dbt(1) for clock in ("235959", "000000", "000001"))
    rows = read(tmp_path, text, date="2024-02-28")
    assert rows.logs[0].has_date and told(rows, "2024-02-28", "as given")
    assert rows.time_utc.astype("datetime64[D]").tolist() == [
        np.datetime64("2024-02-28"), np.datetime64("2024-02-29"), np.datetime64("2024-02-29")]
    with pytest.raises(SettingError, match="2024-13-01"):
        ReadSettings(date="2024-13-01")


def test_a_date_told_late_holds_from_the_first_row(tmp_path):
    "Times of day alone, then one ZDA with a date."
    text = "".join(gga(f"12000{i}") + dbt(i) for i in range(8)) + zda("120008", "01", "06", "2025") + gga("120008")
    rows = read(tmp_path, text)
    assert rows.time_utc[0] == np.datetime64("2025-06-01T12:00:00.500") and rows.logs[0].has_date


def test_time_that_runs_backwards_is_kept_and_told(tmp_path):
    "A dated clock set back by 100 s: times stay as written, no place is made up across, and the line is named."
    later = [rmc(f"12020{i}", f"4807.{i:04d}") + dbt(i) for i in range(5)]
    back = [rmc(f"12000{i}", f"4807.{i + 5:04d}") + dbt(i) for i in range(5)]
    rows = read(tmp_path, "".join([*later, *back]))
    assert told(rows, "backwards 1 time", "line 11") and (np.diff(rows.time_s) < 0).sum() == 1
    assert_allclose(rows.lat_deg, 48 + (7 + (np.arange(10) + 0.5) * 1e-4) / 60, rtol=0, atol=2e-6)
    assert rows.time_utc[5] == np.datetime64("2025-06-01T12:00:00.500")


def test_a_burst_has_the_date_of_the_sentence_that_closes_it(tmp_path):
    "The next morning's log, glued on, opens with a GGA: it is of the morning, not of the day before."
    evening = "".join(gga(f"20000{i}") + rmc(f"20000{i}", f"4807.{i:04d}", date="010625") + dbt(i) for i in range(4))
    morning = "".join(gga(f"09000{i}") + dbt(i) + rmc(f"09000{i}", f"4807.{i:04d}", date="020625") for i in range(4))
    rows = read(tmp_path, evening + morning)
    assert (np.diff(rows.time_s) > 0).all() and not told(rows, "backwards")
    assert rows.time_utc[4] == np.datetime64("2025-06-02T09:00:00")


def test_a_second_start_without_dates_is_the_next_day(tmp_path):
    "The clock goes back by three hours: time of day stays, time never runs back, nothing is joined, the line is named."
    text = "".join(gga(f"12000{i}", f"4807.{i:04d}") + dbt(i) for i in range(5))
    text += "".join(gga(f"09000{i}", f"4807.{i + 50:04d}") + dbt(i) for i in range(5))
    rows = read(tmp_path, text)
    assert (np.diff(rows.time_s) > 0).all() and told(rows, "anew 1 time", "line 11", "next day")
    assert_allclose(rows.time_s[5:] % 86400, 9 * 3600 + np.arange(5) + 0.5)


def test_tag_blocks_tell_the_time_where_nothing_else_does(tmp_path):
    "GLL without time behind TAG blocks: UTC to the second; each depth has its own block's time."
    def tagged(second, body):
        block = f"s:SD0001,c:{1750852800 + second}"
        return f"\\{block}*{sentence(block)[-4:-2]}\\" + sentence(body)

    text = "".join(tagged(i, f"GPGLL,4807.{i:04d},N,01131.0000,E") + tagged(i, f"SDDBT,,f,{i},M,,F") for i in range(5))
    rows = read(tmp_path, text)
    assert rows.time_utc[3] == np.datetime64(1750852803, "s") and told(rows, "TAG blocks")
    assert_allclose(rows.lat_deg, 48 + (7 + np.arange(5) * 1e-4) / 60, rtol=0, atol=1e-12)


def test_tag_blocks_date_times_of_day(tmp_path):
    "Times of day in the sentences, the date from one TAG block."
    block = "c:1750852803"  # 2025-06-25T12:00:03
    text = "".join(gga(f"12000{i}") + dbt(i) for i in range(3))
    text += f"\\{block}*{sentence(block)[-4:-2]}\\" + gga("120003") + dbt(3)
    rows = read(tmp_path, text)
    assert rows.time_utc[0] == np.datetime64("2025-06-25T12:00:00.500") and told(rows, "TAG blocks")


# several instruments


def test_two_clocks_a_few_seconds_apart_do_not_mix(tmp_path):
    "A second talker's clock runs 5 s ahead: rows follow the one whose fixes are used."
    lines = [rmc(f"12000{i}", f"4807.{i:04d}") + zda(f"12001{i}", talker="II") + dbt(i) for i in range(10)]
    rows = read(tmp_path, "".join(lines))
    assert_allclose(np.diff(rows.time_s), 1.0)
    assert rows.usable().all()
    assert rows.time_utc[0] == np.datetime64("2025-06-01T12:00:00.500")
    assert not told(rows, "backwards")


def test_depths_of_a_wished_talker_or_sentence(tmp_path):
    "Two sounders: most depths win, a wish wins over them, and a wish that cannot be met names what there is."
    text = "".join(rmc(f"12000{i}") + dbt(f"1.{i}") + dbt(f"2.{i}", talker="II") + dbt(f"2.{i}", talker="II")
                   + sentence(f"IIDPT,3.{i},0.4") for i in range(4))
    assert read(tmp_path, text).logged_depth_m[0] == 2.0
    assert read(tmp_path, text, talker="SD").logged_depth_m[0] == 1.0
    assert read(tmp_path, text, sentence="DPT").logged_depth_m[0] == 3.0
    with pytest.raises(InputError, match=r"no depth sentence SDDPT.*IIDBT \(8\), IIDPT \(4\), SDDBT \(4\)"):
        read(tmp_path, text, talker="SD", sentence="DPT")


def test_an_offset_that_changes_never_mixes_references(tmp_path):
    "DPT to the waterline, then to the keel: the depth stays that below the transducer; the usual offset is kept, told."
    text = "".join(rmc(f"12000{i}") + sentence(f"SDDPT,5.{i},{'-0.3' if i == 4 else '0.4'}") for i in range(6))
    rows = read(tmp_path, text)
    assert rows.logged_depth_m.tolist() == [5.0, 5.1, 5.2, 5.3, 5.4, 5.5]
    assert rows.logs[0].datum_offset_m == 0.4 and rows.logs[0].depth_reference == "transducer"
    assert told(rows, "2 offsets", "0.4 m, -0.3 m")


def test_empty_depths_stay_as_rows(tmp_path):
    "A lost bottom is a row without depth, between its fixes all the same."
    text = "".join(rmc(f"12000{i}", f"4807.{i:04d}") + (sentence("SDDPT,,0.4") if i == 2 else sentence("SDDPT,5,0.4"))
                   for i in range(5))
    rows = read(tmp_path, text)
    assert rows.has(Flag.no_depth).tolist() == [False, False, True, False, False] and np.isfinite(rows.lat_deg).all()


def test_void_and_zero_fixes_make_no_place(tmp_path):
    "A minute of status V and of 0,0 between good fixes: rows without position, none near Africa."
    good = [rmc(f"12000{i}", f"4807.{i:04d}") + dbt(i) for i in range(5)]
    bad = [(rmc(f"1200{10 + i}", status="V") if i % 2 else rmc(f"1200{10 + i}", "0000.0000", "00000.0000")) + dbt(7)
           for i in range(40)]
    rows = read(tmp_path, "".join([*good, *bad, rmc("120100"), dbt(1), rmc("120101")]))
    assert rows.has(Flag.no_position)[6:44].all() and np.nanmin(rows.lat_deg) > 48
    assert told(rows, "no fix", "40 sentences")


def test_headings_are_kept_and_courses_are_not_taken_for_them(tmp_path):
    "HDG with its variation or RMC's, HDT before it; nothing held for longer than seconds; magnetic alone is none."
    def log(heading):
        return "".join(rmc(f"1200{i:02d}", f"4807.{i:04d}") + heading * (i < 3) + dbt(i) for i in range(15))

    magnetic = read(tmp_path, log(sentence("HCHDG,98.0,0.5,E,,")))
    assert np.isnan(magnetic.heading_deg).all() and told(magnetic, "magnetic")
    rows = read(tmp_path, log(sentence("HCHDG,98.0,0.5,E,3.0,W")))
    assert_allclose(rows.heading_deg[:3], 95.5)
    assert np.isnan(rows.heading_deg[9:]).all() and told(rows, "headings from HCHDG")
    rows = read(tmp_path, log(sentence("HCHDG,98.0,0.5,E,3.0,W") + sentence("IIHDT,94.0,T")))
    assert_allclose(rows.heading_deg[:3], 94.0)
    assert told(rows, "headings from IIHDT")
    from_rmc = "".join(sentence(f"GPRMC,12000{i},A,4807.{i:04d},N,01131.0,E,4,84,010625,3.0,W,A")
                       + sentence("HCHDM,100.0,M") + dbt(i) for i in range(4))
    assert_allclose(read(tmp_path, from_rmc).heading_deg, 97.0)


def test_dilution_of_precision_becomes_the_error_of_the_place(tmp_path):
    "HDOP 1 of a receiver alone is about 2.5 m along one axis, HDOP 2 twice that; nothing said, nothing known."
    text = "".join(gga(f"12000{i}", hdop=hdop) + dbt(i) for i, hdop in enumerate(("1.0", "2.0", "2.0")))
    sigma = read(tmp_path, text).position_sigma_m
    assert_allclose(sigma, [2.475, 4.95, 4.95], atol=0.01)
    assert np.isnan(read(tmp_path, rmc("120000") + dbt(1) + rmc("120001")).position_sigma_m).all()


# slow and frozen receivers


def test_a_slow_receiver_is_interpolated_over(tmp_path):
    "The same fix sent five times a second, and one whose time goes on while its place stands: depths are not stacked."
    again = "".join((rmc(f"12000{i}", f"4807.{i:04d}") + dbt(5)) * 5 for i in range(6))
    steps = "".join(gga(f"12000{i // 5}.{i % 5 * 2}0", f"4807.{i // 5:04d}") + dbt(5) for i in range(30))
    for text in (again, steps):
        rows = read(tmp_path, text)
        assert_allclose(np.diff(rows.lat_deg[:25]), 2e-5 / 60, rtol=1e-3)
        assert (np.diff(rows.time_s) > 0).all()


def test_a_long_freeze_is_left_to_be_flagged(tmp_path):
    "The place stands for 30 s while the depth changes, then leaps: nothing is made up in between; cleaning flags it."
    still = [rmc(f"1200{i:02d}", "4807.0000" if i < 30 else f"4807.{10 * i:04d}") + dbt(5 + 0.1 * i) for i in range(40)]
    rows = read(tmp_path, "".join(still))
    assert len(np.unique(rows.lat_deg[:29])) == 1 and np.isfinite(rows.lat_deg).all()
    assert_allclose(rows.lat_deg[29], 48 + (7 + 150e-4) / 60, rtol=0, atol=1e-9)  # half-way on the leap alone


def test_depths_far_from_any_fix_stay_without_place(tmp_path):
    "An hour of depths with a clock but no fix, then fixes."
    dark = [zda(f"11{m:02d}00", "01", "06", "2025") + dbt(4) for m in range(60)]
    rows = read(tmp_path, "".join([*dark, *(rmc(f"12000{i}", f"4807.{i:04d}") + dbt(i) for i in range(5))]))
    assert rows.has(Flag.no_position)[:59].all() and rows.usable()[60:].all() and len(rows) == 65


def test_depths_within_a_burst_are_not_stacked(tmp_path):
    "Three depths between the sentences of one moment spread over the time to the next; a single one is of that moment."
    many = "".join(zda(f"12000{i}", "01", "06", "2025") + dbt(1) + dbt(2) + dbt(3) + rmc(f"12000{i}", f"4807.{i:04d}")
                   for i in range(5))
    assert_allclose(np.diff(read(tmp_path, many).time_s), 1 / 3, atol=1e-6)
    one = "".join(zda(f"12000{i}", "01", "06", "2025") + dbt(1) + rmc(f"12000{i}", f"4807.{i:04d}") for i in range(5))
    assert_allclose(read(tmp_path, one).time_s % 10, np.arange(5))


# laws


LINES = st.sampled_from([
    rmc("120000").encode(), dbt(3.0).encode(), sentence("SDDPT,2.3,0.4").encode(),
    rmc("120001", "4807.0010").encode(), rmc("120003", "4807.0010").encode(), gga("115959").encode(), dbt(4.5).encode(),
    rmc("235959", date="311299").encode(), rmc("000001", date="161005").encode(), zda("120009").encode(),
    sentence("IIHDT,12.0,T").encode(), sentence("YXMTW,18.6,C").encode(), b"$SDDBT,,f,", b"\\c:1750852800*00\\",
    b"\x00\xff\n",
    rmc("120002", status="V").encode(), sentence("GPGLL,4807.0,N,01131.0,E").encode(), dbt(9, talker="II").encode(),
])


@given(st.lists(st.one_of(LINES, st.binary(max_size=8)), max_size=40), st.integers(1, 200))
def test_any_bytes_read_alike_whole_and_in_chunks_and_make_up_no_row(tmp_path_factory, parts, chunk):
    "Nothing but our own errors; no row but for a depth sentence; chunks and a second scan change nothing."
    data = b"".join(parts) + b"\n"
    folder, whole = tmp_path_factory.mktemp("log"), None
    usual = nmea_stream.CHUNK_BYTES, nmea_stream.KEPT_BYTES
    for nmea_stream.CHUNK_BYTES, nmea_stream.KEPT_BYTES in (usual, (chunk, usual[1]), (chunk, 0)):
        try:
            rows = read(folder, data)
        except LakemapError:
            rows = None
        finally:
            nmea_stream.CHUNK_BYTES, nmea_stream.KEPT_BYTES = usual
        if rows is None:
            assert whole is None and not any(record[1][2:] in ("DBT", "DPT") for record in plain_nmea.scan(data)[0])
            return
        there = [record for record in plain_nmea.scan(data)[0] if f"{record[1]}," in rows.messages[0].replace(" ", ",")]
        assert set(rows.row.tolist()) <= {record[0] for record in there} and len(rows) <= len(there)
        assert np.isfinite(rows.time_s).all() and (np.abs(rows.lat_deg[np.isfinite(rows.lat_deg)]) <= 90).all()
        whole = whole or rows
        assert rows.messages == whole.messages and rows.logs == whole.logs
        for name in COLUMN_DTYPES:
            assert_array_equal(getattr(rows, name), getattr(whole, name), err_msg=name)


@settings(max_examples=100)
@given(st.lists(st.tuples(st.sampled_from("fffdddgz"), st.integers(0, 3), st.integers(0, 2)), min_size=4, max_size=60))
def test_rows_are_placed_as_the_plain_twin_places_them(tmp_path_factory, lines):
    "Fixes, depths, gaps, repeats and standing still in any order: time and place of every row between two fixes."
    second, step, text = 43000, 0, ""
    for what, on, north in lines:
        second, step = second + on * (1 if what in "fgz" else 0), step + north * (what == "f")
        clock = f"{second // 3600:02d}{second // 60 % 60:02d}{second % 60:02d}"
        text += {"f": rmc(clock, f"4807.{step:04d}"), "d": dbt(1), "g": gga(clock, "4807.9000"), "z": zda(clock)}[what]
    records, _, _ = plain_nmea.scan(text.encode())
    kinds = [record[1] for record in records]
    if "SDDBT" not in kinds or kinds.count("GPRMC") < kinds.count("GPGGA") or kinds.count("GPRMC") < 2:
        return
    rows = read(tmp_path_factory.mktemp("log"), text)
    assert rows.logs[0].has_time
    chief = np.diff([record[3][0] for record in records if record[1] == "GPRMC"])
    usual = np.quantile(chief[chief > 0], 0.5, method="inverted_cdf") if chief.any() else 1.0
    twin = plain_nmea.rows(records, "SDDBT", "GPRMC", max(10.0, min(3 * usual, 60.0)))
    assert len(rows) == len(twin)
    base = rows.time_s[0] // 86400 * 86400
    ours = zip(rows.row, rows.logged_depth_m, rows.time_s - base, rows.lon_deg, rows.lat_deg, strict=True)
    for (row, reading, *placed), (line, time_s, lon, lat, depth) in zip(ours, twin, strict=True):
        assert (row, reading) == (line, depth)
        if time_s is not None:
            assert_allclose(placed, (time_s, lon, lat), rtol=0, atol=1e-6)  # a time since 1970 is good to 2e-7 s
