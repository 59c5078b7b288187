"""Tables are read block by block in compiled code: nothing depends on where blocks end, odd cells cost only care."""

from __future__ import annotations

import csv
import io

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from log_lines import source_of

from lakemap.errors import InputError, LakemapError
from lakemap.model.flags import Flag
from lakemap.model.soundings import COLUMN_DTYPES
from lakemap.read import table_blocks
from lakemap.read.settings import ReadSettings
from lakemap.read.table import TableReader
from lakemap.read.table_parse import TableParser

HEAD = "time,lat,lon,depth_m,note"
ROW = st.sampled_from([
    "2025-06-01T10:00:00Z,46.8,-100.3,4.5,x", "2025-06-01T10:00:01Z,46.8,-100.3,+4.6,",
    "2025-06-01T10:00:02,46.8,-100.3,4.7,y", "?,46.8,-100.3,,", "2025-06-01T10:00:03Z,46.8,-100.3,NA,\u00e9",
    '2025-06-01T10:00:04Z,46.8,-100.3,4.8,"two\nlines"',
    "2025-06-01T10:00:05Z,46.8", "2025-06-01T10:00:06Z,46.8,-100.3,4.9,a,b,c", "", ",,,,",
    '2025-06-01T10:00:07Z,46.8,-100.3,5,12" log',
])


def read(folder, text, name="t.csv", **how):
    "The rows of a table with this content."
    return TableReader().read(source_of(folder, text, name), ReadSettings(**how))


def same(one, other):
    "Whether two readings have the same bytes in every column."
    return all(getattr(one, name).tobytes() == getattr(other, name).tobytes() for name in COLUMN_DTYPES)


@given(st.lists(ROW, min_size=2, max_size=30), st.integers(40, 400), st.sampled_from(["\n", "\r\n", "\r"]))
@settings(max_examples=60)
def test_reading_in_chunks_equals_reading_in_one_piece(tmp_path_factory, rows, size, end):
    "Dirty rows of all kinds, any line end, chunks of any size: the same columns to the byte, and the same words."
    text = ("\n".join([HEAD, "2025-06-01T10:00:00Z,46.8,-100.3,4.5,x", *rows]) + "\n").replace("\n", end)
    folder = tmp_path_factory.mktemp("t")
    whole = read(folder, text)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(table_blocks, "BLOCK_BYTES", size)
        parts = read(folder, text)
    assert same(whole, parts) and whole.messages == parts.messages


@given(st.lists(ROW, min_size=1, max_size=30))
@settings(max_examples=60)
def test_no_row_is_lost_or_invented(tmp_path_factory, rows):
    "As many rows as the standard library finds with anything in them; every good depth is one that was written."
    rows = [row for row in rows if '12" log' not in row]
    text = "\n".join([HEAD, "2025-06-01T10:00:00Z,46.8,-100.3,4.5,x", *rows]) + "\n"
    theirs = [row for row in list(csv.reader(io.StringIO(text)))[1:] if any(row)]
    ours = read(tmp_path_factory.mktemp("t"), text)
    if all(len(row) in (0, 5) for row in csv.reader(io.StringIO(text))):
        assert len(ours) == ours.logs[0].rows_in == len(theirs)
    numbers = [float(row[3]) for row in theirs if len(row) > 3 and row[3] not in ("", "NA")]
    assert ours.logged_depth_m[np.isfinite(ours.logged_depth_m)].tolist() == numbers


@given(st.binary(max_size=300))
@settings(max_examples=100)
def test_any_bytes_raise_nothing_but_our_own_errors(tmp_path_factory, data):
    "Below a good header and alone; reading the same again gives the same."
    folder = tmp_path_factory.mktemp("t")
    for content in (b"lat,lon,depth_m\n46,-100,3\n" + data, b"x" + data):
        try:
            one, other = read(folder, content), read(folder, content)
            assert same(one, other) and np.isfinite(one.time_s).all()
        except LakemapError as fault:
            assert "\n" not in str(fault)


def test_clean_blocks_never_meet_the_careful_way(tmp_path, monkeypatch):
    "A clean table with blank lines, and one with a line that is too long, of which only that block is read with care."
    rows = [f"2025-06-01T10:{i // 60:02d}:{i % 60:02d}Z,46.8,-100.3,{4 + i * 0.01:.2f}" for i in range(600)]
    seen = []
    careful = TableParser._careful
    monkeypatch.setattr(TableParser, "_careful", lambda self, *block: seen.append(block[1]) or careful(self, *block))
    monkeypatch.setattr(table_blocks, "BLOCK_BYTES", 4096)
    ours = read(tmp_path, "\n".join(["time,lat,lon,depth_m", *rows[:300], "", *rows[300:]]) + "\n")
    assert not seen and len(ours) == 600 and ours.row[[0, 299, 300, 599]].tolist() == [2, 301, 303, 602]
    rows[450] = rows[450].rsplit(",", 1)[0] + ",deep,x"
    ours = read(tmp_path, "\n".join(["time,lat,lon,depth_m", *rows]) + "\n")
    assert len(seen) == 1 and np.flatnonzero(ours.has(Flag.no_depth)).tolist() == [450]


def test_lines_swallowed_by_an_open_quote_come_back(tmp_path):
    "Two inch signs at the start of cells, a hundred lines apart: all rows stay; a note over two lines is one row."
    rows = [f"46,-100,{3 + i * 0.01:.2f},ok" for i in range(100)]
    rows[10], rows[90] = '46,-100,3.1,"x', '46,-100,3.9,"y'
    assert len(read(tmp_path, "\n".join(["lat,lon,depth_m,note", *rows]) + "\n")) == 100
    rows[10], rows[90] = '46,-100,3.1,"x\nmore"', "46,-100,3.9,y"
    ours = read(tmp_path, "\n".join(["lat,lon,depth_m,note", *rows]) + "\n")
    assert len(ours) == 100 and ours.row[[10, 11]].tolist() == [12, 14]


def test_one_column_of_commas_and_one_of_points(tmp_path):
    "Each column has its own decimal mark; one with both is refused wherever in the file they stand."
    rows = ["lat;lon;depth (m)", *(f"46.8;-100,3;{i},5" for i in range(1, 50))]
    assert read(tmp_path, "\n".join(rows)).logged_depth_m[:2].tolist() == [1.5, 2.5]
    with pytest.raises(InputError, match="'depth \\(m\\)' has numbers with both comma and point"):
        read(tmp_path, "\n".join([*rows, "46.8;-100,3;4.5"]))


def test_a_column_more_than_the_header(tmp_path):
    "A delimiter at the end of every row costs nothing."
    assert read(tmp_path, "lat,lon,depth_m\n" + "46,-100,3,\n" * 20).logged_depth_m.tolist() == [3] * 20


BAD = {
    "depths as text": ("lat,lon,depth_m\n46,-100,deep\n46,-100,shallow\n",
                       r"t\.csv: column 'depth_m' holds no numbers.*--columns depth"),
    "a million columns": ("lat,lon,depth_m\n46,-100,3\n46" + ",1" * 1_000_000 + "\n",
                          r"t\.csv: line 3 has 1000001 columns; a table may have 1000, mend or remove that line"),
    "a header of a million columns": ("lat,lon,depth_m" + ",a" * 1_000_000 + "\n46,-100,3\n",
                                      r"t\.csv: .*1000 columns"),
    "no line end at all": ("lat,lon,depth_m\n" + "1" * (1 << 25), r"t\.csv: line 2 has over \d+ bytes.*is this one\?"),
    "no line end behind some rows": (b"lat,lon,depth_m\n46,-100,3\n" + b"1" * (1 << 25),
                                     r"t\.csv: line 3 has over 16777216 bytes.*is this one\?"),
    "a log in disguise": ("$GPGLL,4916.45,N,12311.12,W,225444,A,*1D\r\n" * 5,
                          r"t\.csv: no column for lat, lon, depth|no header|no table"),
    "bytes of a picture": (b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 40, r"t\.csv: "),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_input_is_one_clear_line(tmp_path, name):
    "What, where and what to do."
    text, words = BAD[name]
    with pytest.raises(InputError, match=words) as fault:
        read(tmp_path, text)
    assert "\n" not in str(fault.value) and len(str(fault.value)) < 400


def test_a_file_cut_off_in_mid_line_keeps_its_whole_rows(tmp_path):
    "The torn row stays with a flag and is counted; its half is no depth."
    ours = read(tmp_path, "time,lat,lon,depth_m\n" + "".join(
        f"2025-06-01T10:00:{i:02d}Z,46.8,-100.3,4.5\n" for i in range(20)) + "2025-06-01T10:00:20Z,46.8,-10")
    assert len(ours) == 21 and ours.usable().sum() == 20 and ours.has(Flag.no_depth)[-1]
    assert any("line 22" in text for text in ours.messages)


def test_a_depth_cut_in_the_middle_of_its_digits_is_none(tmp_path):
    "All rows have two decimals but the last, which has no line end: 4.5 may have been 4.57."
    rows = "".join(f"46.8,-100.3,{4 + i / 100:.2f}\n" for i in range(20))
    ours = read(tmp_path, "lat,lon,depth_m\n" + rows + "46.8,-100.3,4.")
    assert len(ours) == 21 and ours.has(Flag.no_depth).tolist() == [False] * 20 + [True]
    assert any("cut off" in text for text in ours.messages)
    for end in ("46.8,-100.3,4.50\n", "46.8,-100.3,4.50", "46.8,-100.3,4.5\n"):
        assert read(tmp_path, "lat,lon,depth_m\n" + rows + end).usable().all()


def test_an_odd_cell_is_read_as_text_in_its_column_alone(tmp_path, monkeypatch):
    "Words among depths, a time in another form: no block goes the careful way, and every other cell is read as before."
    rows = [f"2025-06-01T10:{i // 60:02d}:{i % 60:02d}Z,46.8,-100.3,{4 + i * 0.01:.2f}" for i in range(600)]
    clean = read(tmp_path, "\n".join(["time,lat,lon,depth_m", *rows]) + "\n")
    rows[7], rows[450] = rows[7].rsplit(",", 1)[0] + ",deep", rows[450].replace("2025-06-01T", "01.06.2025 ")
    monkeypatch.setattr(TableParser, "_careful", None)
    monkeypatch.setattr(table_blocks, "BLOCK_BYTES", 4096)
    odd = read(tmp_path, "\n".join(["time,lat,lon,depth_m", *rows]) + "\n")
    same_depth = odd.logged_depth_m == clean.logged_depth_m
    assert np.flatnonzero(~same_depth).tolist() == [7] and np.isnan(odd.logged_depth_m[7])
    assert np.flatnonzero(odd.time_utc != clean.time_utc).tolist() == [450] and np.isnat(odd.time_utc[450])
    assert odd.lat_deg.tolist() == clean.lat_deg.tolist()
