"""gzip, xz and zip read in place; what is broken, hostile or an archive in an archive costs one line."""

from __future__ import annotations

import gzip
import io
import lzma
import struct
import tracemalloc
import zipfile
import zlib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from log_lines import dbt, rmc

from lakemap.errors import InputError, LakemapError
from lakemap.read.archives import sources_of
from lakemap.read.find import sort_files
from lakemap.read.load import read_logs, read_marks
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source
from lakemap.read.unpack import FREE_BYTES, MOST_MEMBERS

LOG = (rmc("120000") + dbt(4) + rmc("120001", "4807.0001") + dbt(5) + rmc("120002", "4807.0002")).encode()
TABLE = b"time,lat,lon,depth_m\n2025-06-01T10:00:00Z,46.8,-100.3,4.5\n2025-06-01T10:00:01Z,46.8,-100.31,4.6\n"
MARKS = b"lat,lon,kind\n46.8,-100.3,stump\n"
PLAIN = ReadSettings()
PACKERS = {"gz": gzip.compress, "xz": lzma.compress}


def zipped(path, members, **how):
    "A zip of these members."
    with zipfile.ZipFile(path, "w", **{"compression": zipfile.ZIP_DEFLATED, **how}) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return path


def refused(path, words):
    "One line that matches."
    with pytest.raises(InputError, match=words) as caught:
        sort_files([path])
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("ending", PACKERS)
def test_a_packed_log_is_read_in_place(tmp_path, ending):
    "The same rows and the same hash as unpacked, so that both together are read once."
    (tmp_path / "a.nmea").write_bytes(LOG)
    (tmp_path / f"a.nmea.{ending}").write_bytes(PACKERS[ending](LOG))
    plain, packed = Source.of(tmp_path / "a.nmea"), Source.of(tmp_path / f"a.nmea.{ending}")
    assert (packed.sha256, packed.size, packed.head) == (plain.sha256, plain.size, plain.head)
    assert np.array_equal(read_logs([packed], PLAIN).logged_depth_m, read_logs([plain], PLAIN).logged_depth_m)
    files = sort_files([tmp_path])
    assert [source.name for source in files.logs] == ["a.nmea"] and "read once" in files.messages[0]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.nmea", f"a.nmea.{ending}"]


@pytest.mark.parametrize("ending", PACKERS)
@given(parts=st.lists(st.binary(max_size=300), min_size=1, max_size=4), zeros=st.integers(0, 3), step=st.integers(1, 9))
def test_streams_one_after_the_other_are_one(tmp_path_factory, ending, parts, zeros, step):
    "As recorders append them; read in pieces of any size, padding passed over."
    path = tmp_path_factory.mktemp("s") / f"x.{ending}"
    path.write_bytes(b"".join(map(PACKERS[ending], parts)) + bytes(4 * zeros))
    if not b"".join(parts):
        refused(path, "empty")
        return
    with Source.of(path).open() as stream:
        assert b"".join(iter(lambda: stream.read(step), b"")) == b"".join(parts)


@pytest.mark.parametrize("ending", PACKERS)
def test_one_cut_off_or_damaged_is_that_file_only(tmp_path, ending):
    "Whatever the place of the cut; the other log goes on."
    whole = PACKERS[ending](LOG * 50)
    (tmp_path / "good.csv").write_bytes(TABLE)
    bad = tmp_path / f"bad.nmea.{ending}"
    for cut in (9, len(whole) // 2, len(whole) - 1):
        bad.write_bytes(whole[:cut])
        refused(bad, rf"bad\.nmea\.{ending}: broken or cut off.*copy it again")
    bad.write_bytes(whole + b"more")
    refused(bad, "other bytes follow")
    bad.write_bytes(whole[:-9] + b"\x55" + whole[-8:])
    refused(bad, "broken or cut off")
    files = sort_files([tmp_path])
    assert [source.name for source in files.logs] == ["good.csv"] and "bad.nmea" in files.messages[0]


def test_one_that_breaks_between_look_and_reading_costs_that_log_only(tmp_path):
    "The disk fails, or the file is cut meanwhile: a line, and the other rows."
    (tmp_path / "a.nmea.gz").write_bytes(gzip.compress(LOG * 50))
    (tmp_path / "b.csv").write_bytes(TABLE)
    sources = sort_files([tmp_path]).logs
    (tmp_path / "a.nmea.gz").write_bytes(gzip.compress(LOG * 50)[:-20])
    rows = read_logs(sources, PLAIN)
    assert len(rows) == 2 and any("left out: a.nmea.gz" in text for text in rows.messages)
    (tmp_path / "a.nmea.gz").unlink()
    assert any("left out" in text for text in read_logs(sources, PLAIN).messages)


def test_members_of_a_zip_are_sources_of_their_own(tmp_path):
    "Named archive/member, each with its role; hidden files and those of other systems are passed by."
    members = {"day/a.nmea": LOG, "b.csv": TABLE, "m.csv": MARKS, ".x": LOG, "__MACOSX/._a": LOG, "README": b"words\n"}
    path = zipped(tmp_path / "all.zip", members)
    files = sort_files([path])
    assert [source.name for source in files.logs] == ["all.zip/b.csv", "all.zip/day/a.nmea"]
    assert [source.name for source in files.marks] == ["all.zip/m.csv"]
    assert files.messages == ("all.zip/README: not read, no reader takes it",)
    assert len(read_logs(files.logs, PLAIN)) == 4 and read_marks(files.marks, PLAIN).kind == ("stump",)
    one = sort_files([path / "b.csv", path], {path / "m.csv": "marks"})
    assert [source.name for source in one.logs] == ["all.zip/b.csv", "all.zip/day/a.nmea"]
    refused(path / "gone.csv", r"gone\.csv: no such member")


def test_a_member_may_be_told_its_role(tmp_path):
    "By its path into the archive."
    path = zipped(tmp_path / "t.zip", {"two.csv": b"lat,lon,depth_m,kind\n46.8,-100.3,4,stump\n", "a.nmea": LOG})
    files = sort_files([path], {path / "two.csv": ("log", "marks")})
    assert [len(files.of(role)) for role in ("log", "marks")] == [2, 1]


@pytest.mark.parametrize("inner", ["zip", "gz", "xz", "tar"])
def test_an_archive_in_an_archive_is_not_opened(tmp_path, inner):
    "One line, also within gzip; the other members go on."
    deep = {"zip": zipped(io.BytesIO(), {"a.nmea": LOG}).getvalue(), "gz": gzip.compress(LOG),
            "xz": lzma.compress(LOG), "tar": bytes(257) + b"ustar" + bytes(999)}[inner]
    path = zipped(tmp_path / "o.zip", {f"in.{inner}": deep, "b.csv": TABLE})
    files = sort_files([path])
    assert [source.name for source in files.logs] == ["o.zip/b.csv"]
    assert f"o.zip/in.{inner}: an archive in an archive" in files.messages[0] and "unpack it" in files.messages[0]
    (tmp_path / "x.gz").write_bytes(gzip.compress(deep))
    refused(tmp_path / "x.gz", r"x\.gz: an archive in an archive")


@pytest.mark.parametrize("name", ["../a.csv", "/etc/a.csv", "x/../../a.csv", "..\\a.csv", "C:/a.csv"])
def test_names_that_lead_out_of_the_archive_are_not_read(tmp_path, name):
    "Nothing is ever unpacked by its name; such a member is left out and said."
    files = sort_files([zipped(tmp_path / "o.zip", {name: TABLE, "b.csv": TABLE.replace(b"4.5", b"4.4")})])
    assert [source.name for source in files.logs] == ["o.zip/b.csv"]
    assert "leads out of the archive" in files.messages[0]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["o.zip"]


def test_names_with_control_letters_stay_one_line(tmp_path):
    "They reach messages and tables."
    files = sort_files([zipped(tmp_path / "o.zip", {"a\n\x1b[31m.csv": TABLE})])
    assert files.logs[0].name == "o.zip/a__[31m.csv"


def bomb(size):
    "A gzip file that unpacks to so many zeros."
    packer = zlib.compressobj(9, zlib.DEFLATED, 31)
    return b"".join([*(packer.compress(bytes(1 << 20)) for _ in range(size >> 20)), packer.flush()])


@pytest.mark.parametrize("kind", ["gz", "xz", "zip", "zip of many"])
def test_a_bomb_is_refused_early_and_within_little_memory(tmp_path, kind):
    "It is looked at up to the first limit only, a block at a time; members share the limit."
    size = 2 * FREE_BYTES
    path = tmp_path / f"b.{kind[:3]}"
    if kind == "gz":
        path.write_bytes(bomb(size))
    elif kind == "xz":
        path.write_bytes(lzma.compress(bytes(size), preset=0))
    elif kind == "zip":
        zipped(path, {"a.csv": bytes(size)})
    else:
        zipped(path, {f"{i}.csv": bytes(FREE_BYTES // 8) for i in range(10)})
    tracemalloc.start()
    refused(path, rf"{path.name}: unpacks to more than 250 times its size.*look what it is")
    assert tracemalloc.get_traced_memory()[1] < 8 << 20
    tracemalloc.stop()


def test_xz_may_not_ask_for_all_memory(tmp_path):
    "A header that wants a window of 1.5 GB."
    big = [{"id": lzma.FILTER_LZMA2, "dict_size": 1 << 20}]
    packed = bytearray(lzma.compress(LOG, filters=big))
    at = packed.index(b"\x21\x01", 12) + 2
    packed[at] = 39
    header = (packed[12] + 1) * 4
    packed[12 + header - 4 : 12 + header] = struct.pack("<L", zlib.crc32(packed[12 : 12 + header - 4]))
    (tmp_path / "a.xz").write_bytes(packed)
    refused(tmp_path / "a.xz", "Memory usage limit")


def test_too_many_members_and_other_odd_zips_are_refused(tmp_path):
    "Counted before any is read; passwords, unusual methods, an empty archive, one without its end."
    refused(zipped(tmp_path / "m.zip", {f"{i}": b"" for i in range(MOST_MEMBERS + 1)}), "1001 members")
    refused(zipped(tmp_path / "l.zip", {"a.csv": TABLE}, compression=zipfile.ZIP_LZMA), r"a\.csv.*unusual way")
    refused(zipped(tmp_path / "e.zip", {}), "no file in the archive")
    whole = zipped(tmp_path / "w.zip", {"a.csv": TABLE * 99}).read_bytes()
    (tmp_path / "c.zip").write_bytes(whole[: len(whole) // 2])
    refused(tmp_path / "c.zip", r"c\.zip: broken or cut off")
    locked = bytearray(whole)
    locked[6] |= 1
    locked[locked.index(b"PK\x01\x02") + 8] |= 1
    (tmp_path / "p.zip").write_bytes(locked)
    refused(tmp_path / "p.zip", "password")
    long = bytearray(whole)
    struct.pack_into("<L", long, len(whole) - 10, 0xFFFFFFF0)
    (tmp_path / "d.zip").write_bytes(long)
    refused(tmp_path / "d.zip", "list of members")


@given(data=st.data())
def test_no_damage_to_an_archive_raises_anything_but_our_own(tmp_path_factory, data):
    "Any byte changed, any cut, in each of the three."
    folder = tmp_path_factory.getbasetemp()
    whole = bytearray(data.draw(st.sampled_from([
        gzip.compress(LOG, mtime=0), lzma.compress(LOG), zipped(folder / "whole.zip", {"a.nmea": LOG}).read_bytes()])))
    for _ in range(data.draw(st.integers(1, 4))):
        whole[data.draw(st.integers(0, len(whole) - 1))] = data.draw(st.integers(0, 255))
    del whole[data.draw(st.integers(1, len(whole))):]
    path = folder / "damaged.x"
    path.write_bytes(whole)
    try:
        read_logs(sort_files([path]).logs, PLAIN)
    except LakemapError as fault:
        assert "\n" not in str(fault)


def test_packings_that_are_not_read_are_named(tmp_path):
    "The line says what to do."
    (tmp_path / "a.bz2").write_bytes(b"BZh91AY&SY" + bytes(90))
    refused(tmp_path / "a.bz2", "packed with bzip2; gzip, xz and zip are read, else unpack")
    with pytest.raises(InputError, match=r"a\.bz2/x\.csv: cannot be read"):
        sources_of(tmp_path / "a.bz2" / "x.csv")
