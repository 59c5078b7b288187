"""NMEA logs: rows, times and places."""

from __future__ import annotations

import numpy as np
import pynmea2
import pytest
from hypothesis import given
from hypothesis import strategies as st
from log_lines import dbt, rmc, sentence, source_of
from numpy.testing import assert_allclose

from lakemap.errors import InputError
from lakemap.model.flags import Flag
from lakemap.read.nmea import NmeaReader
from lakemap.read.nmea_clock import running_clock
from lakemap.read.settings import ReadSettings


def read(folder, text):
    "The rows of a log with this content."
    return NmeaReader().read(source_of(folder, text), ReadSettings())


def steady(fixes=6, depths=1, date="010625", step=1):
    "Fixes a second apart going north by 0.001 minutes, depths between them."
    lines = []
    for i in range(fixes):
        lines.append(rmc(f"12000{i * step}.00" if i * step < 10 else f"1200{i * step}.00", f"4807.{i:04d}", date=date))
        lines += [dbt(f"{5 + i}.{j}") for j in range(depths)]
    return lines


def test_depths_stand_between_their_fixes(tmp_path):
    "One depth between two fixes is half-way in time and place; dates make UTC."
    rows = read(tmp_path, "".join(steady()))
    assert_allclose(rows.time_s[:5] % 1, 0.5)
    assert_allclose(rows.lat_deg[:5], 48 + (7 + (np.arange(5) + 0.5) * 1e-4) / 60, rtol=0, atol=1e-12)
    assert_allclose(rows.lon_deg, 11 + 31 / 60)
    assert rows.time_utc[0] == np.datetime64("2025-06-01T12:00:00.500")
    assert rows.logged_depth_m.tolist() == [5, 6, 7, 8, 9, 10]
    assert rows.row.tolist() == [2, 4, 6, 8, 10, 12]
    assert rows.usable().all() and rows.logs[0].rows_in == 6 and rows.logs[0].depth_reference == "transducer"
    assert np.isnan(rows.heading_deg).all()  # the course over ground of RMC is no heading


@given(depths=st.integers(1, 7))
def test_several_depths_a_fix_keep_a_steady_rhythm(tmp_path_factory, depths):
    "k depths a second are 1/k s apart, also across fixes."
    rows = read(tmp_path_factory.mktemp("log"), "".join(steady(depths=depths)))
    assert_allclose(np.diff(rows.time_s), 1 / depths, atol=1e-6)


def test_a_long_gap_leaves_depths_without_place(tmp_path):
    "Fixes 20 s apart among fixes of 1 s: nothing is guessed in between, the rows stay."
    lines = steady()
    lines += [dbt("9.9"), rmc("120025.00", "4807.0100"), dbt("8.8"), rmc("120026.00", "4807.0101")]
    rows = read(tmp_path, "".join(lines))
    assert rows.has(Flag.no_position).tolist() == [False] * 5 + [True, True, False]
    assert np.isnan(rows.lon_deg[6]) and rows.logged_depth_m[6] == 9.9


def test_nothing_is_carried_far_beyond_the_last_fix(tmp_path):
    "Depths go on for a minute when the fixes have ended: one interval is all that is stretched."
    rows = read(tmp_path, "".join([*steady(), *(dbt("5.0") for _ in range(60))]))
    placed = np.isfinite(rows.lon_deg)
    assert placed[:5].all() and placed.sum() <= 7 and not placed[-50:].any()


def test_a_fix_with_a_wrong_checksum_is_not_used(tmp_path):
    "A jump to 50 N with a wrong checksum leaves the track as it was."
    lines = steady()
    lines[4] = lines[4].replace("4807", "5007")
    rows = read(tmp_path, "".join(lines))
    assert rows.lat_deg.max() < 48.2 and rows.usable().all()
    assert any("1 sentence not used" in text and "line 5" in text for text in rows.messages)


def test_rows_without_place_say_that_their_fixes_failed(tmp_path):
    "All fixes of 20 s failed: no position, and the flag that tells why; other rows carry none."
    lines = steady(fixes=3)
    failed = [rmc(f"1200{10 + i}.00").replace("A,4807", "A,4808") for i in range(15)]
    lines += [text for pair in zip(failed, [dbt("7.0")] * 15, strict=True) for text in pair]
    lines += [rmc("120040.00"), dbt("6.0"), rmc("120041.00")]
    rows = read(tmp_path, "".join(lines))
    told = rows.has(Flag.bad_checksum_fix)
    assert told[3:17].all() and not told[:2].any() and not told[-1]
    assert rows.has(Flag.no_position)[told].all()


def test_a_depth_with_a_wrong_checksum_stays_as_a_row_without_depth(tmp_path):
    "Rows in counts it; the reading is not believed."
    lines = steady()
    lines[3] = lines[3].replace("6.0", "6.1")
    rows = read(tmp_path, "".join(lines))
    assert len(rows) == 6 and rows.has(Flag.no_depth).tolist() == [False, True, False, False, False, False]


def test_one_kind_of_depth_a_log(tmp_path):
    "The kind with most depths is taken and the others are named; a tie goes to DPT for its offset."
    both = [text for i in range(4) for text in (rmc(f"12000{i}"), dbt(f"1.{i}"), sentence(f"IIDPT,2.{i},0.4"))]
    rows = read(tmp_path, "".join(both))
    assert rows.logged_depth_m.tolist() == [2.0, 2.1, 2.2, 2.3] and rows.logs[0].datum_offset_m == 0.4
    assert any("IIDPT" in text and "SDDBT (4)" in text for text in rows.messages)
    more = read(tmp_path, "".join([*both, dbt("1.9")]))
    assert more.logs[0].rows_in == 5 and more.logs[0].datum_offset_m is None
    assert "DBT" in more.logs[0].origins["depth_reference"]


def test_each_kind_counts_from_its_own_reference(tmp_path):
    "DBS from the surface, DBK from the keel; a negative DPT offset is kept as it is."
    for body, reference in (("SDDBS,,f,11.5,M,,F", "surface"), ("SDDBK,,f,10.8,M,,F", "keel"),
                            ("SDDPT,11.1,-0.3,", "transducer")):
        facts = read(tmp_path, rmc("120000") + sentence(body) + rmc("120001")).logs[0]
        assert facts.depth_reference == reference
    assert facts.datum_offset_m == -0.3


def test_midnight_and_century(tmp_path):
    "One second from 1999 to 2000, with a GGA in between that has no date of its own."
    gga = sentence("GPGGA,000000.20,4807.038,N,01131.000,E,2,09,0.9,10.2,M,17.6,M,3.0,0120")
    text = rmc("235959.50", date="311299") + dbt(1) + gga + dbt(2) + rmc("000000.50", date="010100")
    rows = read(tmp_path, text)
    assert_allclose(np.diff(rows.time_s), 0.5)
    assert rows.time_utc[1] == np.datetime64("2000-01-01T00:00:00.350")


def test_a_log_without_a_date_runs_on_over_midnight(tmp_path):
    "Seconds run on, there is no UTC, and the user is told."
    gga = [sentence(f"GPGGA,{clock},6012.34567,N,02455.12345,E,2,09,0.9,10.2,M,17.6,M,3.0,0120")
           for clock in ("235959.80", "000000.20", "000000.60")]
    rows = read(tmp_path, gga[0] + dbt(1) + gga[1] + dbt(2) + gga[2])
    assert_allclose(np.diff(rows.time_s), 0.4)
    assert np.isnat(rows.time_utc).all()
    assert rows.logs[0].has_time and not rows.logs[0].has_date
    assert any("no date" in text for text in rows.messages)


def test_a_log_without_any_time_keeps_its_order(tmp_path):
    "GLL of the oldest form: places in even steps between fixes, rows numbered."
    text = "".join(sentence(f"GPGLL,4807.{i:04d},N,01131.0000,E") + dbt(i) + dbt(i) for i in range(3))
    rows = read(tmp_path, text)
    assert not rows.logs[0].has_time and rows.time_s.tolist() == [0, 1, 2, 3, 4, 5]
    assert_allclose(rows.lat_deg[:4], 48 + (7 + np.array([0.25, 0.75, 1.25, 1.75]) * 1e-4) / 60, atol=1e-12)


def test_two_starts_without_a_date_are_kept_apart():
    "A clock that goes back by an hour has been started anew: time never runs backwards, and no pass spans it."
    tod = np.array([3600.0, 3601, 3602, 0, 1, 2])
    clock = running_clock(np.arange(6.0), tod, np.full(6, np.nan))
    assert (np.diff(clock.time_s) > 0).all() and np.diff(clock.time_s)[2] >= 600


@given(start=st.floats(0, 86399), steps=st.lists(st.floats(0.1, 40000), max_size=30), dated=st.integers(0, 30))
def test_the_clock_gives_back_the_times_put_in(start, steps, dated):
    "Times of day with one date somewhere among them, up to 11 h apart over many midnights."
    truth = 86400.0 * 20000 + np.cumsum([start, *steps])
    day = np.full(len(truth), np.nan)
    known = min(dated, len(truth) - 1)
    day[known] = truth[known] // 86400
    clock = running_clock(np.arange(float(len(truth))), truth % 86400, day)
    assert_allclose(clock.time_s, truth, rtol=0, atol=1e-4)


def test_the_antimeridian_is_crossed_the_short_way(tmp_path):
    "Half-way from 179.999 E to 179.999 W lies 180, not 0."
    a = sentence("GPRMC,120000,A,1648.0,S,17959.94,E,5,90,010625,,,A")
    b = sentence("GPRMC,120001,A,1648.0,S,17959.94,W,5,90,010625,,,A")
    rows = read(tmp_path, a + dbt(3) + b)
    assert abs(rows.lon_deg[0]) == pytest.approx(180.0)


def test_water_temperature_holds_from_its_line_on(tmp_path):
    "Unknown before the first MTW."
    text = rmc("120000") + dbt(1) + sentence("YXMTW,18.6,C") + dbt(2) + rmc("120001")
    assert_allclose(read(tmp_path, text).water_c, [np.nan, 18.6], rtol=1e-6)


def test_missing_checksums_are_taken_unless_cut_short(tmp_path):
    "A log without checksums is read and says so; among whole sentences a shortened one is not believed."
    bare = "".join(rmc(f"12000{i}", checksum=False) + dbt(i, checksum=False) for i in range(3))
    rows = read(tmp_path, bare)
    assert len(rows) == 3 and any("6 sentences without checksum" in text for text in rows.messages)
    cut = read(tmp_path, "".join(steady()) + "$GPRMC,120006.00,A,0807.0\r\n" + dbt(1))
    assert cut.lat_deg[np.isfinite(cut.lat_deg)].min() > 48 and any("cut short" in text for text in cut.messages)


def test_another_receiver_only_fills_gaps(tmp_path):
    "GLL of a second receiver 100 m off does not make the track jump."
    lines = [text for i in range(8) for text in (
        rmc(f"12000{i}.00"), sentence(f"IIGLL,4807.0500,N,01131.0000,E,12000{i}.50,A"), dbt(i))]
    assert_allclose(read(tmp_path, "".join(lines)).lat_deg[:-1], 48 + 7 / 60, rtol=0, atol=1e-9)


def test_a_log_of_fixes_alone_is_refused(tmp_path):
    "Without any depth sentence the log is of no use, and the line says what is missing."
    with pytest.raises(InputError, match=r"a\.nmea: no depth sentence"):
        read(tmp_path, rmc("120000"))


def test_line_ends_and_chunks_change_nothing(tmp_path, monkeypatch):
    "CR, LF and CR LF, read whole or in pieces of 100 bytes, give the same rows."
    lines = steady(depths=3)
    whole = read(tmp_path, "".join(lines))
    monkeypatch.setattr("lakemap.read.nmea_stream.CHUNK_BYTES", 100)
    for end in ("\n", "\r", "\r\n"):
        other = read(tmp_path, "".join(line.replace("\r\n", end) for line in lines))
        for name in ("time_s", "lon_deg", "lat_deg", "logged_depth_m", "row"):
            assert_allclose(getattr(other, name), getattr(whole, name), err_msg=f"{name} with {end!r}")


def test_an_awkward_log_reads_as_an_independent_parser_reads_it():
    "tests/logs/awkward.nmea: as many depths as pynmea2 finds, the same values in the same order."
    from pathlib import Path

    from lakemap.read.source import Source

    path = Path(__file__).parents[1] / "logs" / "awkward.nmea"
    rows = NmeaReader().read(Source.of(path), ReadSettings())
    theirs: list[float] = []
    for line in path.read_bytes().decode("latin-1").replace("\r", "\n").split("\n"):
        try:
            message = pynmea2.parse(line[line.rfind("$"):], check=True)
        except (pynmea2.ParseError, ValueError):
            continue
        if isinstance(message, pynmea2.DBT):
            theirs.append(float(message.depth_meters))
    assert rows.logged_depth_m[np.isfinite(rows.logged_depth_m)].tolist() == theirs and len(theirs) == 8
    assert rows.usable().sum() == 8 and len(rows) == 10
