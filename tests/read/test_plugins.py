"""Readers of other packages: found through entry points; what they do wrong costs one line, never the run."""

from __future__ import annotations

import sys
import textwrap

import pytest
from log_lines import dbt, rmc

from lakemap.cli.main import run
from lakemap.errors import InputError
from lakemap.read.find import sort_files
from lakemap.read.load import read_logs
from lakemap.read.plugins import find_readers, forget_readers
from lakemap.read.settings import ReadSettings

LOG = rmc("120000") + dbt(4) + rmc("120001", "4807.0001") + dbt(5) + rmc("120002", "4807.0002")
EXAMPLE = '''
"""Reads logs of lines such as ``17:02:31 46.80012 -100.30021 4.5``."""

import re

import numpy as np

from lakemap.errors import InputError
from lakemap.model.log_facts import LogFacts
from lakemap.model.soundings import Soundings
from lakemap.read.reader import SURE, Reader

LINE = re.compile(rb"(\\d\\d):(\\d\\d):(\\d\\d) (-?\\d+\\.\\d+) (-?\\d+\\.\\d+) (\\d+\\.\\d+)")


class FourWords(Reader):
    """Time of day, latitude, longitude, depth below the surface in metres."""

    name = "four words"
    role = "log"
    suffixes = (".4w",)
    summary = "time of day, latitude, longitude and depth, a line each"

    def likelihood(self, source):
        """Sure when the first line has the form."""
        return SURE if LINE.match(source.head) else 0.0

    def read(self, source, settings):
        """A row for each line of the form."""
        with source.open() as file:
            found = [(number, *map(float, match.groups())) for number, line in enumerate(file, 1)
                     if (match := LINE.match(line)) and abs(float(match[4])) <= 90 and abs(float(match[5])) <= 180]
        if not found:
            raise InputError(f"{source.name}: no line of four words; write them as 17:02:31 46.80012 -100.30021 4.5")
        row, hour, minute, second, lat, lon, depth = np.array(found).T
        facts = LogFacts(source.name, source.sha256, self.name, len(row), depth_reference="surface", has_date=False)
        return Soundings.build(
            len(row), [facts], time_s=3600 * hour + 60 * minute + second, row=row,
            lat_deg=lat, lon_deg=lon, logged_depth_m=depth,
        )
'''
FOUR_WORDS = "17:02:31 46.80012 -100.30021 4.5\n17:02:32 46.80013 -100.30021 4.6\n"


@pytest.fixture
def install(tmp_path_factory, monkeypatch):
    "Puts a package where Python finds it, as an installer does: a module and what it says of its entry points."
    def put(code, entry="reader_of_four:FourWords"):
        home = tmp_path_factory.mktemp("site")
        (home / "reader_of_four.py").write_text(textwrap.dedent(code))
        about = home / "reader_of_four-1.0.dist-info"
        about.mkdir()
        (about / "METADATA").write_text("Metadata-Version: 2.1\nName: reader-of-four\nVersion: 1.0\n")
        (about / "entry_points.txt").write_text(f"[lakemap.readers]\nfour = {entry}\n")
        monkeypatch.syspath_prepend(str(home))
        sys.modules.pop("reader_of_four", None)
        forget_readers()
    yield put
    sys.modules.pop("reader_of_four", None)
    monkeypatch.undo()
    forget_readers()


def broken(line):
    "The example with the first line of ``read`` replaced."
    opening = "        with source.open() as file:\n"
    return EXAMPLE.replace(opening, f"        {line}\n{opening}")


def test_the_worked_example_is_found_and_keeps_the_contract(install, tmp_path, capsys):
    "Installed, it is listed, takes its files by content, and passes the contract that it can run itself."
    install(EXAMPLE)
    (reader,) = [reader for reader in find_readers() if reader.name == "four words"]
    from lakemap.read.contract_check import broken_contract

    (tmp_path / "check").mkdir()
    assert broken_contract(reader, [FOUR_WORDS.encode()], tmp_path / "check") == []
    (tmp_path / "a.x").write_text(FOUR_WORDS)
    rows = read_logs(sort_files([tmp_path / "a.x"]).logs, ReadSettings())
    assert rows.logged_depth_m.tolist() == [4.5, 4.6] and rows.logs[0].reader == "four words"
    assert run(["formats"]) == 0 and "from reader_of_four" in capsys.readouterr().out


@pytest.mark.parametrize("line, words", [
    ("1 / 0", r"raised ZeroDivisionError"), ("raise SystemExit(3)", "raised SystemExit: 3"),
    ("raise ValueError('a\\nb')", "raised ValueError: a b"), ("raise InputError('one\\ntwo')", "one two"),
    ("return None", "gave NoneType, not Soundings"), ("return Soundings.build(0)", "gave 0 logs"),
    ("from lakemap.errors import OutputError; raise OutputError('x')", "raised OutputError"),
])
def test_one_that_raises_costs_its_file_only(install, tmp_path, line, words):
    "A line that names plug-in and file; the other log is read."
    install(broken(line))
    (tmp_path / "a.4w").write_text(FOUR_WORDS)
    (tmp_path / "b.nmea").write_text(LOG)
    files = sort_files([tmp_path])
    rows = read_logs(files.logs, ReadSettings())
    (said,) = [text for text in rows.messages if "left out" in text]
    assert len(rows) == 2 and words in said and "\n" not in said
    if "InputError" not in line:
        assert "a.4w: reader plug-in four words (reader_of_four)" in said and "tell its author" in said
    with pytest.raises(InputError):
        read_logs(files.logs[:1], ReadSettings())


@pytest.mark.parametrize("answer", ["1 / 0", "'much'", "7.5", "float('nan')", "None"])
def test_one_that_cannot_judge_is_passed_over(install, tmp_path, answer):
    "For that file; its own readers judge on."
    install(EXAMPLE.replace("SURE if LINE.match(source.head) else 0.0", answer))
    (tmp_path / "b.nmea").write_text(LOG)
    files = sort_files([tmp_path / "b.nmea"])
    assert [source.name for source in files.logs] == ["b.nmea"]
    assert any("passed over" in text and "b.nmea" in text for text in files.messages), files.messages


@pytest.mark.parametrize("code, entry, words", [
    ("1 / 0", "reader_of_four:FourWords", "ZeroDivisionError"), ("x = 3", "reader_of_four:x", "no whole class"),
    (EXAMPLE, "reader_of_four:Gone", "Gone"), (EXAMPLE.replace('name = "four words"', ""), None, "has no name"),
    (EXAMPLE.replace('role = "log"', 'role = "logs"'), None, "'logs' is none of ours"),
    (EXAMPLE + "    def __init__(self):\n        1 / 0\n", None, "ZeroDivisionError"),
])
def test_one_that_does_not_load_is_said_and_all_others_work(install, tmp_path, capsys, code, entry, words):
    "The message names its entry point or class, in the list of formats too."
    install(code, entry or "reader_of_four:FourWords")
    (tmp_path / "b.nmea").write_text(LOG)
    files = sort_files([tmp_path / "b.nmea"])
    (said,) = files.messages
    assert words in said and "plug-in" in said and "\n" not in said and len(files.logs) == 1
    assert run(["formats"]) == 0 and words in capsys.readouterr().err
