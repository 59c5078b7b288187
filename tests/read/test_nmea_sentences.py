"""Single NMEA sentences against answers from outside, and the compiled scan against its plain twin."""

from __future__ import annotations

from datetime import date
from functools import reduce

import numpy as np
import plain_nmea
import pynmea2
import pytest
from hypothesis import given
from hypothesis import strategies as st
from log_lines import sentence
from numpy.testing import assert_array_equal
from reference_tables import FOLDER, rows

from lakemap.read import nmea_stream
from lakemap.read.kernels import nmea_bytes
from lakemap.read.kernels.nmea_layout import BAD, CUT, GOOD, SENTENCES, WRONG
from lakemap.read.kernels.nmea_values import CORRECTED_M, FIXED_M, FLOAT_M, PER_AXIS, RANGE_ERROR_M
from lakemap.read.nmea_stream import Stream
from lakemap.read.source import HEAD_BYTES, Source

COLLECTED = [row["sentence"] for row in rows("nmea_sentences.csv")]


class Bytes(Source):
    "Some bytes as a file."

    def open(self):
        "Them, as a stream."
        import io

        return io.BytesIO(self.path)


def source(data):
    "A source that holds these bytes."
    return Bytes(data, "a.nmea", "", len(data), data[:HEAD_BYTES])


def scanned(data, chunk=None):
    "(line, address, state, values) of all records, how many sentences there are, and wrong checksums."
    usual = nmea_stream.CHUNK_BYTES
    nmea_stream.CHUNK_BYTES = chunk or usual
    try:
        stream = Stream(source(data))
        found = [
            (int(line), int(slot), int(state), value.copy())
            for records in stream for line, slot, state, value in zip(*records, strict=True)
        ]
    finally:
        nmea_stream.CHUNK_BYTES = usual
    names, counts = stream.book.names(), stream.book.counts
    named = [(line, names[slot], state, value) for line, slot, state, value in found]
    return named, int(counts[SENTENCES]), int(counts[WRONG])


def values(text):
    "The values of one sentence."
    (_, _, state, value), = scanned(text.encode())[0]
    assert state == GOOD
    return value


def said(body):
    "The values of one sentence, its checksum added."
    return values(sentence(body))


def test_all_printed_checksums_are_found_right():
    "The 34 collected sentences pass; only the proprietary one is not looked at."
    found, total, wrong = scanned("\r\n".join(COLLECTED).encode())
    assert len(COLLECTED) == 34 and total == 33 and wrong == 0
    assert all(state == GOOD for _, _, state, _ in found)
    assert (FOLDER / "nmea_sentences.csv").read_text().count("PXXX1") == 1


@pytest.mark.parametrize("text", COLLECTED)
def test_a_changed_character_fails_the_checksum(text):
    "Any one digit changed by one bit."
    for place, letter in enumerate(text.partition("*")[0]):
        if letter.isdigit() and place > 6:
            broken = text[:place] + chr(ord(letter) ^ 1) + text[place + 1 :]
            assert scanned(broken.encode())[2] == (not text.startswith("$P"))


@given(st.text(st.characters(codec="ascii", exclude_characters="$*!\\\r\n"), max_size=90))
def test_checksum_is_the_xor_of_all_characters(tail):
    "The same as the plain sum over the sentence; another one is wrong."
    body = "GPRMC," + tail
    found, total, wrong = scanned((sentence("SDDBT,1,f") + sentence(body)).encode())
    plain = reduce(lambda a, b: a ^ b, body.encode(), 0)
    assert [state for _, _, state, _ in found] == [GOOD, GOOD] and (total, wrong) == (2, 0)
    assert scanned(f"${body}*{plain ^ 1:02X}".encode())[0][0][2] == BAD


MORE = [
    "GNGNS,120000,4807.0,N,01131.0,E,AD,12,0.9,1,2,,", "GPGSA,A,3,1,,,,,,,,,,,,2.5,1.3,2.1", "HCHDG,98.3,0.5,E,12.6,W",
    "IIHDM,101.0,M", "GPTHS,77.5,E", "YXMTW,64.4,F", "GPGLL,4807.0,N,01131.0,E", "SDDBK,,f,,M,2,F",
]
PARTS = st.sampled_from([
    *(text.encode() for text in COLLECTED), *(sentence(body).encode() for body in MORE),
    b"$SDDBT,,f,3.1,M,,F", b"$SDDBT,,", b"$IIDBT,,f,3.1,M,,F\n", b"$PXXX1,1*25", b"$" + b"y" * 1030, b"x" * 300,
    b"\\s:SD0001,c:1750852800*2E\\", b"\\c:1750852800123,s:SD0001*1E\\", b"\\c:1*00\\", b"\\",
    b"\r\n", b"\n", b"\r", b"\x00\xff", b"$", b"!AIVDM,1,1,,A,x,0*00", b"*", b"*0", b",", b"4807.038",
])


def checked(data):
    "The records of the twin, as the compiled scan should give them."
    found, total, wrong = plain_nmea.scan(data)
    return [(line, address, state) for line, address, state, _, _ in found], [
        [*value, tag] for _, _, _, value, tag in found], total, wrong


@given(st.lists(st.one_of(PARTS, st.binary(max_size=6)), max_size=25), st.integers(1, 60))
def test_the_scan_agrees_with_its_plain_twin_in_one_piece_and_in_chunks(parts, chunk):
    "Lines, addresses, states, values and counts, for sentences and junk in any order, read whole and in small pieces."
    data = b"".join(parts)
    heads, expected, total, wrong = checked(data)
    for pieces in (None, chunk):
        found, ours, bad = scanned(data, pieces)
        assert ([record[:3] for record in found], ours, bad) == (heads, total, wrong)
        if found:
            assert_array_equal(np.array([record[3] for record in found]), np.array(expected))


@given(st.binary(max_size=400), st.integers(1, 50))
def test_any_bytes_at_all_are_scanned(data, chunk):
    "No fault, and the same in chunks as whole."
    whole, pieces = scanned(data), scanned(data, chunk)
    assert whole[1:] == pieces[1:] and [r[:3] for r in whole[0]] == [r[:3] for r in pieces[0]]


@given(st.decimals(-10**6, 10**6, places=4), st.sampled_from(["{}", " {}", "{} ", "{:e}", "{}x", "+{}", "{}.0"]))
def test_numbers_are_those_of_the_standard_library(value, form):
    "To the last bit; an exponent is no number."
    text = form.format(value).encode()
    ours, plain = nmea_bytes.number(np.frombuffer(text, np.uint8), 0, len(text)), plain_nmea.number(text)
    assert ours == plain or (np.isnan(ours) and np.isnan(plain))


@given(st.dates())
def test_days_are_those_of_the_calendar(day):
    "From year 1 to 9999; the day behind each month's last is none."
    number = nmea_bytes.day_number(day.day, day.month, day.year, False)
    assert number == day.toordinal() - date(1970, 1, 1).toordinal()
    assert np.isnan(nmea_bytes.day_number(32, day.month, day.year, False))


@pytest.mark.parametrize("text", [s for s in COLLECTED if s[3:6] in ("RMC", "GGA", "GLL") and ",V" not in s])
def test_places_agree_with_an_independent_parser(text):
    "Latitude, longitude and time as pynmea2 reads them."
    tod, _, lon, lat, *_ = values(text)
    other = pynmea2.parse(text)
    assert (lon, lat) == pytest.approx((other.longitude, other.latitude), abs=1e-12)
    clock = other.timestamp
    assert tod == pytest.approx(clock.hour * 3600 + clock.minute * 60 + clock.second + clock.microsecond / 1e6)


# reference: worked sentences and their meaning, same collection as reference/nmea_sentences.csv
WORKED = [
    ("GPRMC,081836,A,3751.65,S,14507.36,E,000.0,360.0,130998,011.3,E", -37.8608333, 145.1226667),
    ("GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W", 48.1173, 11.5166667),
]


@pytest.mark.parametrize("body, lat, lon", WORKED)
def test_worked_places(body, lat, lon):
    "Degrees out of degrees and minutes, south and west negative."
    assert said(body)[2:4] == pytest.approx((lon, lat), abs=5e-8)


def test_angle_splits_at_the_point():
    "Two digits left of the point are minutes, whatever the length; the letter decides the sign."
    assert said("GPGLL,4533.35,N,16708.033,W")[2:4] == pytest.approx((-(167 + 8.033 / 60), 45 + 33.35 / 60))
    for broken in ("4560.00", "-4533.35", "", ".", "x", "45333333333.0", "4533.35.1"):
        assert np.isnan(said(f"GPGLL,{broken},N,16708.033,W")[2:4]).all()
    assert np.isnan(said("GPGLL,4533.35,,16708.033,W")[2:4]).all()


def test_no_fix_is_no_place():
    "Void status, quality 0, 0,0 and mode letters of no fix give no place."
    void = ["GPRMC,120000,V,,,,,,,250626,,,N", "GPGLL,0000.0000,N,00000.0000,E,120000,V",
            "GPGLL,0000.0000,N,00000.0000,E,120000,A", "GPGGA,120000,4807.0,N,01131.0,E,0,08,0.9,5,M,4,M,,",
            "GPRMC,120000,A,4807.0,N,01131.0,E,0,0,250626,,,E", "GPRMC,120000,A,9107.0,N,01131.0,E,0,0,250626,,,A",
            "GNGNS,120000,4807.0,N,01131.0,E,NN,00,99.9,,,,"]
    assert all(np.isnan(said(text)[2:4]).all() for text in void)
    assert np.isfinite(said("GPGLL,0000.0000,N,00001.0000,E,120000,A")[2:4]).all()


def test_times_and_dates():
    "Leap second, two-digit years around the pivot, four-digit years of ZDA, nonsense."
    assert said("GPZDA,235960.50,31,12,2016,,")[:2].tolist() == [86400.5, 17166]
    days = [said(f"GPZDA,000000,01,01,{year},,")[1] for year in ("80", "99", "00", "79", "2070", "1994")]
    assert days == [date(y, 1, 1).toordinal() - 719163 for y in (1980, 1999, 2000, 2079, 2070, 1994)]
    assert np.isnan(said("GPZDA,240000,31,02,2024,,")[:2]).all() and np.isnan(said("GPZDA,,,,,,")[:2]).all()
    assert said("GPZDA,160012.71,11,03,2004,-1,00")[:2].tolist() == [57612.71, 12488]


def test_depths_in_three_units():
    "Metres first; feet, then fathoms where they are all there is; nothing is no depth."
    assert said("SDDBT,7.8,f,2.4,M,1.3,F")[0] == 2.4 and said("SDDBT,,f,22.5,M,,F")[0] == 22.5
    assert said("SDDBT,10,f,,M,,F")[:3:2] == pytest.approx([3.048, 1.0])
    assert said("SDDBT,,f,,M,2,F")[0] == pytest.approx(3.6576)
    assert np.isnan(said("SDDBT,,f,,M,,F")[0]) and np.isnan(said("SDDBT,nan,f,inf,M,,F")[0])
    assert said("SDDPT,11.1,-0.3,")[:2].tolist() == [11.1, -0.3] and np.isnan(said("SDDPT,,0.4")[0])


def test_headings_are_true():
    "HDG: sensor + deviation, east positive, and the variation beside it; degrees beyond 360 and magnetic VHW are none."
    assert said("HCHDG,98.3,0.5,E,12.6,W")[:2] == pytest.approx([98.8, -12.6])
    assert said("HCHDG,98.3,,,,")[0] == 98.3 and np.isnan(said("HCHDG,98.3,,,,")[1])
    assert said("IIHDT,224.4,T")[0] == 224.4 and np.isnan(said("IIHDT,,T")[0]) and np.isnan(said("IIHDT,361,T")[0])
    assert said("GPTHS,77.5,A")[0] == 77.5 and np.isnan(said("GPTHS,77.5,E")[0])
    assert said("VWVHW,084.4,T,087.5,M,5.4,N,10.0,K")[0] == 84.4 and np.isnan(said("VWVHW,,T,087.5,M,5.4,N,10.0,K")[0])


def test_dilution_of_precision_gives_the_error_of_a_fix():
    "HDOP times the user range error, which corrections shrink; 99.99 and nothing say nothing."
    gga = "GPGGA,120000,4807.0,N,01131.0,E,{},08,{},5,M,4,M,,"
    for quality, error in ((1, RANGE_ERROR_M), (2, CORRECTED_M), (4, FIXED_M), (5, FLOAT_M)):
        assert said(gga.format(quality, 1.2))[4] == pytest.approx(1.2 * error * PER_AXIS)
    assert np.isnan(said(gga.format(1, 99.99))[4]) and np.isnan(said(gga.format(1, ""))[4])
    assert said("GNGNS,120000,4807.0,N,01131.0,E,AD,12,0.9,1,2,,")[4] == pytest.approx(0.9 * CORRECTED_M * PER_AXIS)
    assert said("GPGSA,A,3,1,,,,,,,,,,,,2.5,1.3,2.1")[0] == pytest.approx(1.3 * RANGE_ERROR_M * PER_AXIS)


def test_sentences_are_found_among_junk():
    "TAG blocks, junk before and behind, glued sentences, CR and LF line ends, binary bytes, lower-case digits."
    good = sentence("SDDBT,7.8,f,2.4,M,1.3,F", end="")
    data = b"\\g:1-2-73874,n:157036,s:r003669945,c:1241544035*4A\\" + good.encode() + b"\r"
    data += b"\x00\xff noise " + good.encode() + b" more noise\n" + good.replace("*0D", "*0d").encode()
    data += b"\r\n$GPRMC,1235" + good.encode() + good.encode() + b"\n$PXXX1,1,2,3*25\n!AIVDM,1,1,,A,x,0*00\n$\n$$$*\n"
    found, total, _ = scanned(data)
    depths = [record for record in found if record[1] == "SDDBT"]
    assert [record[0] for record in depths] == [1, 2, 3, 4, 4] and all(record[2] == GOOD for record in depths)
    assert total == 6 and [record[1] for record in found].count("GPRMC") == 1
    assert depths[0][3][-1] == 1241544035 and np.isnan(depths[1][3][-1])


def test_a_tag_block_with_a_wrong_checksum_tells_no_time():
    "Seconds, milliseconds, a wrong digit."
    line = sentence("SDDBT,,f,2.4,M,,F").encode()
    blocks = ((b"\\s:SD0001,c:1750852800*2E\\", 1750852800.0), (b"\\s:SD0001,c:1750852801*2E\\", np.nan),
              (b"\\c:1750852800123,s:SD0001*1E\\", 1750852800.123))
    for block, time_s in blocks:
        assert_array_equal(scanned(block + line)[0][0][3][-1], time_s)


def test_a_sentence_cut_short_is_not_believed():
    "Its talker writes checksums, later in the head or before; a log that ends in mid-line; another talker without any."
    whole = sentence("SDDBT,,f,12.5,M,,F")
    log = f"$SDDBT,,f,12\r\n{whole}$SDDBT,,f,1\r\n$IIDBT,,f,3.1,M,,F\r\n"
    states = [record[2] for record in scanned(log.encode())[0]]
    assert states == [CUT, GOOD, CUT, 1]
    assert scanned(b"$SDDBT,,f,12")[0][0][2] == CUT and scanned(b"$SDDBT,,f,12.5,M,,F\n")[0][0][2] == 1
