"""Single NMEA sentences against answers from outside."""

from __future__ import annotations

from functools import reduce

import numpy as np
import pynmea2
import pytest
from hypothesis import given
from hypothesis import strategies as st
from log_lines import sentence
from reference_tables import FOLDER, rows

from lakemap.read.nmea_fields import (
    angle_deg,
    day_number,
    read_dpt,
    read_gga,
    read_gll,
    read_rmc,
    read_three_units,
    read_zda,
    time_of_day_s,
)
from lakemap.read.nmea_framing import BAD, GOOD, NO_CHECKSUM, frame, kind_code

SENTENCES = [row["sentence"] for row in rows("nmea_sentences.csv")]
MORE = [b""] * 13


def fields(text):
    "The fields behind the address."
    return text.partition("*")[0].encode().split(b",")[1:] + MORE


def test_all_printed_checksums_are_found_right():
    "The 34 collected sentences pass; only the proprietary one is not looked at."
    framed = frame("\r\n".join(SENTENCES).encode())
    assert len(SENTENCES) == 34 and len(framed.start) == 33
    assert (framed.checksum == GOOD).all()
    assert (FOLDER / "nmea_sentences.csv").read_text().count("PXXX1") == 1


@pytest.mark.parametrize("text", SENTENCES)
def test_a_changed_character_fails_the_checksum(text):
    "Any one digit changed by one bit."
    for place, letter in enumerate(text.partition("*")[0]):
        if letter.isdigit() and place > 6:
            broken = text[:place] + chr(ord(letter) ^ 1) + text[place + 1 :]
            assert (frame(broken.encode()).checksum == BAD).all()


@given(st.text(st.characters(codec="ascii", exclude_characters="$*!\r\n"), max_size=90))
def test_checksum_is_the_xor_of_all_characters(tail):
    "The running XOR over a whole chunk gives the same as the plain sum over one sentence."
    body = "GPRMC," + tail
    framed = frame((sentence("SDDBT,1,f") + sentence(body)).encode())
    plain = reduce(lambda a, b: a ^ b, body.encode(), 0)
    assert framed.checksum.tolist() == [GOOD, GOOD]
    assert (frame(f"${body}*{plain ^ 1:02X}".encode()).checksum == BAD).all()


@pytest.mark.parametrize("text", [s for s in SENTENCES if s[3:6] in ("RMC", "GGA", "GLL") and ",V" not in s])
def test_places_agree_with_an_independent_parser(text):
    "Latitude and longitude as pynmea2 reads them."
    reader = {"RMC": read_rmc, "GGA": read_gga, "GLL": read_gll}[text[3:6]]
    tod, _, lon, lat = reader(fields(text))
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
    assert read_rmc(fields("$" + body))[2:] == pytest.approx((lon, lat), abs=5e-8)


def test_angle_splits_at_the_point():
    "Two digits left of the point are minutes, whatever the length; the letter decides the sign."
    assert angle_deg(b"4533.35", b"N", b"N", b"S") == pytest.approx(45 + 33.35 / 60)
    assert angle_deg(b"16708.033", b"W", b"E", b"W") == pytest.approx(-(167 + 8.033 / 60))
    for broken in (b"4560.00", b"-4533.35", b"", b".", b"x", b"45333333333.0"):
        assert np.isnan(angle_deg(broken, b"N", b"N", b"S"))
    assert np.isnan(angle_deg(b"4533.35", b"", b"N", b"S"))


def test_no_fix_is_no_place():
    "Void status, quality 0, 0,0 and mode letters of no fix give no place."
    void = ["GPRMC,120000,V,,,,,,,250626,,,N", "GPGLL,0000.0000,N,00000.0000,E,120000,V",
            "GPGLL,0000.0000,N,00000.0000,E,120000,A", "GPGGA,120000,4807.0,N,01131.0,E,0,08,0.9,5,M,4,M,,",
            "GPRMC,120000,A,4807.0,N,01131.0,E,0,0,250626,,,E", "GPRMC,120000,A,9107.0,N,01131.0,E,0,0,250626,,,A"]
    readers = {"RMC": read_rmc, "GLL": read_gll, "GGA": read_gga}
    assert all(np.isnan(readers[text[2:5]](fields("$" + text))[2]) for text in void)


def test_times_and_dates():
    "Leap second, two-digit years around the pivot, four-digit years of ZDA, nonsense."
    assert time_of_day_s(b"235960.50") == 86400.5
    assert time_of_day_s(b"240000") != time_of_day_s(b"240000")
    assert day_number(b"01", b"01", b"70") - day_number(b"01", b"01", b"2070") == 0
    assert day_number(b"01", b"01", b"80") == 3652 and day_number(b"31", b"12", b"99") == 10956
    assert np.isnan(day_number(b"31", b"02", b"24")) and np.isnan(day_number(b"", b"", b""))
    assert read_zda(fields("$GPZDA,160012.71,11,03,2004,-1,00"))[:2] == (57612.71, 12488)


def test_depths_in_three_units():
    "Metres first; feet, then fathoms where they are all there is; nothing is no depth."
    assert read_three_units(fields("$SDDBT,7.8,f,2.4,M,1.3,F"))[0] == 2.4
    assert read_three_units(fields("$SDDBT,,f,22.5,M,,F"))[0] == 22.5
    assert read_three_units(fields("$SDDBT,10,f,,M,,F"))[0] == pytest.approx(3.048)
    assert read_three_units(fields("$SDDBT,,f,,M,2,F"))[0] == pytest.approx(3.6576)
    assert np.isnan(read_three_units(fields("$SDDBT,,f,,M,,F"))[0])
    assert np.isnan(read_three_units(fields("$SDDBT,nan,f,inf,M,,F"))[0])
    assert read_dpt(fields("$SDDPT,11.1,-0.3,"))[:2] == (11.1, -0.3) and np.isnan(read_dpt(fields("$SDDPT,,0.4"))[0])


def test_sentences_are_found_among_junk():
    "TAG blocks, junk before and behind, glued sentences, CR and LF line ends, binary bytes, lower-case digits."
    good = sentence("SDDBT,7.8,f,2.4,M,1.3,F", end="")
    data = b"\\g:1-2-73874,n:157036,s:r003669945,c:1241544035*4A\\" + good.encode() + b"\r"
    data += b"\x00\xff noise " + good.encode() + b" more noise\n" + good.replace("*0D", "*0d").encode()
    data += b"\r\n$GPRMC,1235" + good.encode() + good.encode() + b"\n$PXXX1,1,2,3*25\n!AIVDM,1,1,,A,x,0*00\n$\n$$$*\n"
    framed = frame(data)
    right = framed.checksum[framed.kind == kind_code(b"DBT")]
    assert len(right) == 5 and (right == GOOD).all()
    assert (framed.checksum[framed.kind == kind_code(b"RMC")] == NO_CHECKSUM).all()
    assert framed.line[framed.kind == kind_code(b"DBT")].tolist() == [0, 1, 2, 3, 3]
