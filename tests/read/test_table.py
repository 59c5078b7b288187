"""Tables of soundings: what is found in a header, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from log_lines import source_of
from numpy.testing import assert_allclose

from lakemap.errors import InputError, SettingError
from lakemap.model.columns import LOG_COLUMNS, MARK_COLUMNS
from lakemap.model.flags import Flag
from lakemap.model.soundings import NOT_NOTED
from lakemap.read.settings import ReadSettings
from lakemap.read.table import TableReader
from lakemap.read.table_columns import recognise

HEAD = "time,lat,lon,depth_m"
ROWS = "2025-06-01T10:00:00Z,46.8,-100.3,4.5\n2025-06-01T10:00:01Z,46.8001,-100.3,4.6\n"


def read(folder, text, **settings):
    "The rows of a table with this content."
    return TableReader().read(source_of(folder, text, "t.csv"), ReadSettings(**settings))


def said(rows, *words):
    "Whether one message holds all these words."
    return any(all(word in text for word in words) for text in rows.messages)


def test_a_plain_table(tmp_path):
    "Time, place and depth as written; lines are numbered as an editor shows them."
    rows = read(tmp_path, f"{HEAD}\n{ROWS}")
    assert rows.time_utc[1] - rows.time_utc[0] == np.timedelta64(1, "s") and rows.row.tolist() == [2, 3]
    assert rows.lat_deg.tolist() == [46.8, 46.8001] and rows.logged_depth_m.tolist() == [4.5, 4.6]
    assert rows.logs[0].rows_in == 2 and rows.logs[0].depth_unit == "m" and rows.usable().all()


@pytest.mark.parametrize("column", LOG_COLUMNS + MARK_COLUMNS, ids=lambda column: column.name)
def test_every_listed_spelling_is_recognised(column):
    "All spellings of model/columns.py, also in capitals and with blanks around."
    columns = LOG_COLUMNS if column in LOG_COLUMNS else MARK_COLUMNS
    for spelling in column.spellings:
        for text in (spelling, spelling.upper(), f" {spelling} "):
            header = recognise(text, 0, columns)
            assert header is not None and header.name == column.name


@pytest.mark.parametrize("text, unit, reference", [
    ("depth_ft", "ft", None), ("Depth (m)", "m", None), ("depth [ft]", "ft", None), ("DEPTH FEET", "ft", None),
    ("Water Depth (fathoms)", "fathom", None), ("depth_below_transducer_m", "m", "transducer"), ("depthft", "ft", None),
    ("depth below keel (ft)", "ft", "keel"), ("depth", "", None), ("depth_from_surface_m", "m", "surface"),
])
def test_units_and_references_in_headers(text, unit, reference):
    "Behind the name, in brackets or in words."
    header = recognise(text, 0, LOG_COLUMNS)
    assert (header.name, header.unit, header.reference) == ("depth", unit, reference)


@pytest.mark.parametrize("text", ["depth_mood", "elevation", "max depth of lake", "lateral", "m", "", "()"])
def test_other_headers_are_left_alone(text):
    "A name that only looks like one of ours."
    assert recognise(text, 0, LOG_COLUMNS) is None


@given(depth=st.floats(0.1, 300), unit=st.sampled_from([("m", 1.0), ("ft", 0.3048), ("fathom", 1.8288)]))
def test_depths_come_out_in_metres(tmp_path_factory, depth, unit):
    "Whatever the unit of the header."
    rows = read(tmp_path_factory.mktemp("t"), f"lat,lon,depth_{unit[0]}\n46,-100,{depth!r}\n46,-100,{depth!r}\n")
    assert_allclose(rows.logged_depth_m, depth * unit[1], rtol=1e-12)


def test_a_depth_without_a_unit_is_refused_and_settled_by_the_option(tmp_path):
    "The option is named; with it the table is read."
    text = ROWS.join(["time,lat,lon,depth\n", ""])
    with pytest.raises(InputError, match=r"t\.csv: column 'depth'.*--depth-unit"):
        read(tmp_path, text)
    assert read(tmp_path, text, depth_unit="ft").logged_depth_m[0] == pytest.approx(4.5 * 0.3048)


def test_semicolons_and_decimal_commas(tmp_path):
    "As spreadsheets of half the world write them."
    rows = read(tmp_path, "lat;lon;depth (m)\n46,8;-100,3;4,5\n46,9;-100,3;4\n")
    assert rows.lat_deg.tolist() == [46.8, 46.9] and rows.logged_depth_m.tolist() == [4.5, 4.0]
    with pytest.raises(InputError, match="both comma and point"):
        read(tmp_path, "lat;lon;depth (m)\n46,8;-100,3;4,5\n46.9;-100,3;4\n")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_encodings_and_line_ends(tmp_path, encoding, end):
    "Byte order marks, degree signs, any line end, tabs, blank lines above and between."
    text = f"\nlat\tlon\tdepth (m)\ttemp (\u00b0F){end}{end}46\t-100\t3\t68{end}".replace("\n", end)
    rows = read(tmp_path, text.encode(encoding))
    assert rows.logged_depth_m.tolist() == [3] and rows.water_c[0] == pytest.approx(20.0)


def test_a_negative_column_counts_down_and_it_is_said(tmp_path):
    "Sign turned for the whole column; in a positive column a few negatives stay and are said too."
    rows = read(tmp_path, "lat,lon,depth_m\n46,-100,-3\n46,-100.1,-4\n46,-100.2,1\n")
    assert rows.logged_depth_m.tolist() == [3, 4, -1] and said(rows, "mostly negative", "'depth_m'")
    rows = read(tmp_path, "lat,lon,depth_m\n46,-100,3\n46,-100.1,-4\n46,-100.2,1\n")
    assert rows.logged_depth_m.tolist() == [3, -4, 1] and said(rows, "line 3")


def test_odd_headers_are_named_by_the_option(tmp_path):
    "lat=p,lon=q,depth=r; a name that is none of ours is refused with ours beside it."
    text = "p,q,r\n49.6,-93.7,2.5\n49.7,-93.7,2.6\n"
    with pytest.raises(InputError, match=r"--columns lat=\.\.\.,lon=\.\.\.,depth=\.\.\."):
        read(tmp_path, text)
    rows = read(tmp_path, text, columns="lat=p,lon=q,depth=r", depth_unit="m")
    assert rows.lat_deg.tolist() == [49.6, 49.7] and rows.lon_deg.tolist() == [-93.7, -93.7]
    for wrong in ("lat=y,lon", "latt=y", "lat="):
        with pytest.raises(SettingError, match="columns"):
            ReadSettings(columns=wrong)


def test_bad_rows_stay_with_a_flag(tmp_path):
    "Words for numbers, missing cells, latitude 200, 0,0, short and long lines: counted, never fatal."
    bad = ["46,-100,x", "46,-100,", "abc,-100,3", "200,-100,3", "0,0,3", "46", "46,-100,3,9,9,9", "46,-100,nan",
           "46,-100,inf"]
    rows = read(tmp_path, "lat,lon,depth_m\n46,-100,3\n" + "\n".join(bad) + "\n")
    assert len(rows) == 10 and np.isfinite(rows.logged_depth_m[[0, 7]]).all()
    assert rows.has(Flag.no_depth).tolist() == [False, True, True, False, False, False, True, False, True, True]
    assert rows.has(Flag.no_position).tolist() == [False, False, False, True, True, True, True, False, False, False]
    assert said(rows, "line 3 + 4 more", "no depth") and said(rows, "lat 200", "line 6")


def test_swapped_columns_are_suspected(tmp_path):
    "Some rows impossible: said; all rows impossible: refused with the same words."
    rows = read(tmp_path, "lat,lon,depth_m\n-100,46,3\n46,-100,3\n")
    assert said(rows, "are lat and lon swapped? use --columns")
    with pytest.raises(InputError, match=r"none of 1 rows.*swapped.*--columns"):
        read(tmp_path, "lat,lon,depth_m\n-100,46,3\n")


def test_longitudes_from_0_to_360_are_wrapped(tmp_path):
    "245 is -115."
    rows = read(tmp_path, "lon,lat,depth_m\n245.5,27,30\n180,27,30\n")
    assert rows.lon_deg.tolist() == [-114.5, 180.0] and said(rows, "0 to 360")


@pytest.mark.parametrize("cells, date", [
    (("2025-06-01T10:00:00Z", "2025-06-01T10:00:30Z"), True),
    (("2025-06-01 12:00:00+02:00", "2025-06-01T10:00:30"), True),
    (("1748772000", "1748772030"), True), (("1748772000000", "1748772030000"), True),
    (("23:59:50", "00:00:20"), False), (("5", "35"), False),
])
def test_forms_of_time(tmp_path, cells, date):
    "ISO 8601 with and without zone, seconds and milliseconds since 1970, times of day over midnight, running seconds."
    rows = read(tmp_path, "time,lat,lon,depth_m\n" + "".join(f"{cell},46,-100,3\n" for cell in cells))
    assert rows.time_s[1] - rows.time_s[0] == 30 and rows.logs[0].has_date is date
    assert (rows.time_utc[0] == np.datetime64("2025-06-01T10:00:00")) is np.bool_(date)


def test_a_row_without_time_stays_between_its_neighbours(tmp_path):
    "And a table without any time is kept in its order."
    rows = read(tmp_path, "time,lat,lon,depth_m\n" + "".join(
        f"{cell},46,-100,3\n" for cell in ("2025-06-01T10:00:00Z", "?", "2025-06-01T10:00:30Z")))
    assert np.diff(rows.time_s).tolist() == [15, 15] and np.isnat(rows.time_utc[1])
    rows = read(tmp_path, "lat,lon,depth_m\n46,-100,3\n46,-100,3\n")
    assert rows.time_s.tolist() == [0, 1] and not rows.logs[0].has_time and said(rows, "no time")


def test_date_and_time_in_two_columns(tmp_path):
    "Joined where they make a time."
    rows = read(tmp_path, "date,time,lat,lon,depth_m\n2025-06-01,10:00:00,46,-100,3\n2025-06-01,10:00:30,46,-100,3\n")
    assert rows.logs[0].has_date and rows.time_utc[1] == np.datetime64("2025-06-01T10:00:30")


def test_what_depths_count_from(tmp_path):
    "The header's word, else the option, else the surface and it is said."
    table = "lat,lon,{}\n46,-100,3\n46,-100,3\n"
    header = read(tmp_path, table.format("depth_below_transducer_m"), depth_from="keel")
    assert header.logs[0].depth_reference == "transducer"
    assert read(tmp_path, table.format("depth_m"), depth_from="keel").logs[0].depth_reference == "keel"
    assumed = read(tmp_path, table.format("depth_m"))
    assert assumed.logs[0].depth_reference == "surface" and said(assumed, "--depth-from")


def test_the_second_echo_and_what_was_noted(tmp_path):
    "Screen readings in feet, levels in dB, the four words; a strange word is not noted and counted."
    text = ("lat,lon,depth_ft,second_bottom_ft,first_echo_end_ft,second_seen,first_echo_db,second_echo_db,"
            "display_range_ft,water_temp_f,gain\n46,-100,10,21,12,Strong,150,130,40,50,7.5\n"
            "46,-100,10,,,maybe,,,40,,\n46,-100,10,,,,,,40,,\n")
    rows = read(tmp_path, text)
    assert_allclose(rows.second_bottom_m, [21 * 0.3048, np.nan, np.nan], rtol=1e-6)
    assert_allclose(rows.display_range_m, 40 * 0.3048, rtol=1e-6)
    assert rows.second_seen.tolist() == [2, NOT_NOTED, NOT_NOTED] and said(rows, "'maybe'", "line 3")
    assert rows.first_echo_db[0] == 150 and rows.second_echo_db[0] == 130 and rows.water_c[0] == pytest.approx(10)
    assert_allclose(rows.gain_setting, [7.5, np.nan, np.nan])


def test_facts_of_the_sounder_above_the_header(tmp_path):
    "Comment lines may carry what boat.toml would."
    facts = read(tmp_path, f"# frequency_khz: 200\n# gain_law: 20logR\n# whatever\n{HEAD}\n{ROWS}").logs[0]
    assert facts.frequency_khz == 200 and facts.gain_law == "20logR"
    assert facts.origins["frequency_khz"] == "comment above the header"


def test_two_columns_for_one_thing(tmp_path):
    "Metres and feet of the same depth: the metres; two of the same unit: refused, the option is named."
    rows = read(tmp_path, "lat,lon,depth_ft,depth_m\n46,-100,10,3\n46,-100,10,3\n")
    assert rows.logged_depth_m.tolist() == [3, 3]
    with pytest.raises(InputError, match=r"'depth_m' and 'water depth \(m\)'.*--columns depth="):
        read(tmp_path, "lat,lon,depth_m,water depth (m)\n46,-100,10,3\n")


@pytest.mark.parametrize("text, words", [
    ("lat,lon,depth_m\n", "no rows"), ("1,2,3\n4,5,6\n", "no header"), ("hello\nworld\n", "no table"),
])
def test_what_is_no_table_says_what_is_missing(tmp_path, text, words):
    "One line each."
    with pytest.raises(InputError, match=words):
        read(tmp_path, text)


def test_an_open_quote_does_not_swallow_the_rest(tmp_path):
    "An inch sign in a note leaves all rows there."
    rows = read(tmp_path, 'lat,lon,depth_m,remark\n46,-100,3,12" log\n46,-100,4,"x\n46,-100,5,\n')
    assert rows.logged_depth_m.tolist() == [3, 4, 5]
