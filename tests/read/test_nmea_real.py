"""A real coastal log, where a folder of real recordings is named, against counts made with the standard library."""

from __future__ import annotations

import os
import re
from pathlib import Path

import numpy as np
import pytest
from log_lines import source_of

from lakemap.read.nmea import NmeaReader
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source

FOLDER = os.environ.get("LAKEMAP_REAL_DATA")
pytestmark = pytest.mark.skipif(not FOLDER, reason="LAKEMAP_REAL_DATA names no folder of real recordings")


def counted(data):
    "Sentences with a standard address, those whose checksum is wrong, and depths, line by line."
    sentences = wrong = depths = 0
    for line in re.split(rb"[\r\n]+", data):
        body, star, written = line.lstrip(b"$").partition(b"*")
        if not re.match(rb"\$[A-OQ-Z][A-Z0-9][A-Z]{3},", line):
            continue
        total = 0
        for byte in body:
            total ^= byte
        right = bool(star) and int(written, 16) == total
        sentences, wrong = sentences + 1, wrong + (not right)
        fields = body.split(b",")
        depths += right and fields[0].endswith(b"DBT") and fields[3] != b""
    return sentences, wrong, depths


@pytest.mark.parametrize("spoil", [False, True])
def test_counts_agree_with_the_standard_library(tmp_path, spoil):
    "Sentences, wrong checksums and depths; once as recorded, once with every 97th digit of the file changed."
    data = bytearray((Path(FOLDER) / "coastal_passage.nmea").read_bytes())
    if spoil:
        digits = [i for i, byte in enumerate(data) if 48 <= byte <= 57 and 42 not in (data[i - 1], data[i - 2])]
        for i in digits[::97]:
            data[i] ^= 1
    source = source_of(tmp_path, bytes(data)) if spoil else Source.of(Path(FOLDER) / "coastal_passage.nmea")
    rows = NmeaReader().read(source, ReadSettings())
    sentences, wrong, depths = counted(bytes(data))
    said = re.search(r"\((\d+) sentences in all, (\d+) with a wrong checksum\)", rows.messages[0])
    assert said and (int(said[1]), int(said[2])) == (sentences, wrong) and (wrong > 5000) == spoil
    assert np.isfinite(rows.logged_depth_m).sum() == depths and len(rows) == 7250


def test_the_day_given_dates_the_passage():
    "No date anywhere in it: --date gives the day, the times of day are those of its ZDA sentences."
    source = Source.of(Path(FOLDER) / "coastal_passage.nmea")
    rows = NmeaReader().read(source, ReadSettings(date="2007-07-15"))
    first = re.search(rb"ZDA,(\d\d)(\d\d)(\d\d)", source.head)
    clock = "T" + ":".join(part.decode() for part in first.groups())
    late = abs(rows.time_utc[0] - np.datetime64("2007-07-15" + clock))
    assert rows.logs[0].has_date and late <= np.timedelta64(2, "s")
