from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from lakemap.cli.main import COMMANDS, lakemap, run

README = (Path(__file__).parents[2] / "README.md").read_text()


def command(name):
    return lakemap.get_command(click.Context(lakemap), name)


def test_the_help_of_all_loads_no_stage_of_the_job():
    "Somebody who asks what there is does not wait for the stages to load."
    code = "import sys; from lakemap.cli.main import run; run(['--help']); sys.exit('scipy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True).returncode == 0


@pytest.mark.parametrize("name", list(COMMANDS))
def test_every_command_explains_itself_and_stands_in_the_readme(name):
    "Help for each command and each of its options; a line of README that uses it."
    result = CliRunner().invoke(lakemap, [name, "--help"])
    assert result.exit_code == 0 and len(result.output) > 100
    options = [option for option in command(name).params if isinstance(option, click.Option)]
    assert all(option.help for option in options)
    assert f"lakemap {name}" in README
    assert COMMANDS[name][1].rstrip(".").split()[0] == command(name).get_short_help_str().split()[0]


@pytest.mark.parametrize("words", [[], ["plan"]])
def test_who_asks_for_nothing_sees_what_there_is(words, capsys):
    "The help as it is laid out, a line a command and none cut off, not squeezed into a fault."
    assert run(words) == 2
    said = capsys.readouterr().err
    assert said.startswith("Usage: lakemap") and said.count("\n") > 8 and "..." not in said.split("Commands:")[1]


@pytest.mark.parametrize(("words", "where"), [
    (["demo", "lake"], "lakemap demo --help"), (["map", "x"], "lakemap map --help"), (["mapp"], "lakemap --help"),
    (["plan", "trip", "x", "--hours", "-1"], "lakemap plan trip --help"),
])
def test_words_out_of_place_are_one_line_that_leads_on(words, where, capsys):
    "What is wrong, and where all of a command's words stand."
    assert run(words) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1 and said.endswith(f"; see {where}\n")


def test_formats_lists_every_reader(capsys):
    "Each reader with its role and the module it comes from."
    from lakemap.read.find import find_readers

    assert run(["formats"]) == 0
    out = capsys.readouterr().out
    for reader in find_readers():
        assert re.search(rf"^{reader.role}\s+{re.escape(reader.name)}", out, re.MULTILINE)


def test_check_writes_nothing_and_counts_every_row(demo, tmp_path, monkeypatch, capsys):
    "check --json is the head of summary.json; rows in = used + flagged; the folder stays empty."
    monkeypatch.chdir(tmp_path)
    assert run(["check", str(demo.tracks), "--json"]) == 0
    head = json.loads(capsys.readouterr().out)
    assert list(tmp_path.iterdir()) == []
    assert set(head) == {"format", "version", "units", "logs", "rows", "passes", "crossovers", "common_error",
                         "corrections", "messages"}
    assert head["rows"]["in"] == head["rows"]["used"] + head["rows"]["flagged"]
    for log in head["logs"]:
        assert log["rows_in"] == log["rows_used"] + sum(log["flagged"].values())


def test_check_for_people_is_readable(demo, capsys):
    "A table by file, reasons as words, and how well passes agree."
    assert run(["check", str(demo.tracks)]) == 0
    out = capsys.readouterr().out
    assert "held out" in out and "median" in out


def test_demo_tracks_are_written_on_request(tmp_path):
    "--tracks writes the boat's files and nothing else, the same as those in the repository."
    assert run(["demo", "--tracks", str(tmp_path / "t")]) == 0
    shipped = Path(__file__).parents[2] / "demo_tracks"
    made = {p.name: p.read_bytes() for p in (tmp_path / "t").iterdir()}
    assert made == {p.name: p.read_bytes() for p in shipped.iterdir() if not p.name.startswith(".")}
    assert sum(map(len, made.values())) < 8e6


def test_unknown_command_is_wrong_use(capsys):
    "Status 2 and one line."
    assert run(["mapp"]) == 2
    assert "mapp" in capsys.readouterr().err


def test_check_prints_a_page_and_draws_only_when_asked(tmp_path, monkeypatch, capsys):
    "In short, by file, how passes agree and a picture in letters; --picture writes that one file and no other."
    monkeypatch.chdir(tmp_path)
    table = "\n".join(["time,lat,lon,depth_m", *(
        f"2025-06-01T10:{i // 60:02d}:{i % 60:02d}Z,{45 + 1e-5 * i:.6f},{7 + 1e-5 * (i % 7):.6f},{5 + i % 3 / 10}"
        for i in range(300))])
    (tmp_path / "a.csv").write_text(table)
    assert run(["check", "a.csv", "--picture", "tracks.svg"]) == 0
    said = capsys.readouterr().out
    assert said.startswith("300 rows in 1 files") and "· used" in said and "passes" in said
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.csv", "tracks.svg"]
    assert run(["check", "a.csv", "--picture", "tracks.gif"]) == 2
    assert "ends in .svg or .png" in capsys.readouterr().err
