"""Files are put in place whole, and summary.json is the record that all are there."""

from __future__ import annotations

import errno
import hashlib
import json
import os
from pathlib import Path

import pytest
from worlds import small_lake_map

from lakemap.errors import OutputError
from lakemap.model.outputs import (
    ALL,
    BOTTOM_CLASSES,
    CHANGED,
    HARDNESS,
    HARDNESS_SIGMA,
    SUMMARY,
    WATER_TEMPERATURE,
    WATER_TEMPERATURE_SIGMA,
    WEED_HEIGHT,
)
from lakemap.publish import PublishSettings, publish
from lakemap.publish.commit import OutputFolder

MADE = tuple(name for name in ALL if name not in (CHANGED, WEED_HEIGHT, WATER_TEMPERATURE, WATER_TEMPERATURE_SIGMA))
"""What the small lake has: it was sailed in one season, by a sounder without a thermometer."""


@pytest.fixture(scope="module")
def published(tmp_path_factory):
    "The small lake published once in feet: its folder and its summary."
    folder = tmp_path_factory.mktemp("small")
    return folder, publish(small_lake_map(), folder, PublishSettings(units="ft"))


def test_every_file_is_there_and_nothing_else(published):
    "All names of model/outputs.py, no temporary file."
    assert sorted(os.listdir(published[0])) == sorted(MADE)


def test_summary_lists_size_and_hash_of_the_others(published):
    "What summary.json says of each other file is true, and the returned summary is what was written."
    folder, summary = published
    assert json.loads((folder / SUMMARY).read_text()) == summary
    assert set(summary["files"]) == set(MADE) - {SUMMARY}
    for name, facts in summary["files"].items():
        content = (folder / name).read_bytes()
        assert facts == {"bytes": len(content), "sha256": hashlib.sha256(content).hexdigest()}


def test_the_public_name_can_be_called_whatever_was_imported(tmp_path):
    "`lakemap.publish` is the function in the public list, also once the package of that name is loaded."
    import lakemap
    import lakemap.publish.summary

    assert lakemap.publish(small_lake_map(), str(tmp_path))["spots"] == 2


def test_same_map_same_bytes_in_another_folder(published, tmp_path):
    "Neither the folder's name nor an earlier run nor the clock shows in any file."
    again = tmp_path / "another name"
    for _ in range(2):
        publish(small_lake_map(), again, PublishSettings(units="ft"))
    for name in MADE:
        assert (again / name).read_bytes() == (published[0] / name).read_bytes(), name


def test_stale_hardness_of_an_earlier_run_goes_away(tmp_path):
    "Where the new map has no hardness, no file of the old one is left to be taken for it."
    import dataclasses

    publish(small_lake_map(), tmp_path, PublishSettings())
    (tmp_path / "notes of the owner.txt").write_text("stays")
    bare = dataclasses.replace(small_lake_map(), hardness=None, bottom=None)
    summary = publish(bare, tmp_path, PublishSettings())
    assert not any((tmp_path / name).exists() for name in (HARDNESS, HARDNESS_SIGMA, BOTTOM_CLASSES))
    assert summary["surfaces"]["hardness"] is None
    assert (tmp_path / "notes of the owner.txt").exists()


@pytest.mark.parametrize("name", [name for name in MADE if name != SUMMARY])
def test_full_disk_at_any_file_leaves_an_unfinished_folder(name, tmp_path, monkeypatch):
    "Whichever file meets the full disk: one line that names it, no summary, no temporary file."
    (tmp_path / SUMMARY).write_text("{}")
    replace = os.replace

    def full(source, target):
        if Path(target).name == name:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        replace(source, target)

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(OutputError, match=f"{name}: cannot be written .No space left on device.*--out") as fault:
        publish(small_lake_map(), tmp_path, PublishSettings())
    assert "\n" not in str(fault.value)
    assert not (tmp_path / SUMMARY).exists()
    assert not [left for left in os.listdir(tmp_path) if ".part" in left]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full: /dev/full")
def test_a_disk_that_is_really_full(tmp_path, monkeypatch):
    "A write that the system itself refuses is told in one line, by every kind of writer."
    from lakemap.publish.passes import pass_lines
    from lakemap.publish.soundings_file import write_soundings
    from lakemap.publish.vectors import write_lake

    out, small = OutputFolder.opened(tmp_path), small_lake_map()

    def onto_full_disk(write):
        def link_and_write(path):
            path.symlink_to("/dev/full")
            write(path)
        return link_and_write

    writers = {
        "a.csv": lambda path: path.write_bytes(b"x" * 100_000),
        "b.parquet": lambda path: write_soundings(small.soundings, path),
        "c.gpkg": lambda path: write_lake(small, pass_lines(small.soundings, 1.0), "m", path),
    }
    for name, write in writers.items():
        with pytest.raises(OutputError, match=f"{name}: cannot be written"):
            out.put(name, onto_full_disk(write))
    assert os.listdir(tmp_path) == []


def test_names_that_are_no_text(tmp_path):
    "A log whose file name is no valid text (the system hands it over with lone surrogates) still makes a whole map."
    import dataclasses

    made = small_lake_map()
    logs = tuple(dataclasses.replace(facts, name=facts.name + "\udcff\x00") for facts in made.soundings.logs)
    odd = dataclasses.replace(made, name="Lake \udcff", soundings=dataclasses.replace(made.soundings, logs=logs))
    summary = publish(odd, tmp_path, PublishSettings())
    assert summary["logs"][0]["name"] == "evening.nmea\ufffd\ufffd"


def test_a_file_in_the_place_of_the_folder(tmp_path):
    "A path that is a file is refused in one line, not written over."
    (tmp_path / "map").write_text("mine")
    with pytest.raises(OutputError, match="cannot be written"):
        publish(small_lake_map(), tmp_path / "map", PublishSettings())
    assert (tmp_path / "map").read_text() == "mine"


def test_a_writer_that_fails_leaves_the_older_file(tmp_path):
    "An older file stays whole when its successor cannot be written."
    out = OutputFolder.opened(tmp_path)
    out.put_bytes("table.csv", b"old")

    def half(path):
        path.write_bytes(b"ne")
        raise OSError(errno.EDQUOT, os.strerror(errno.EDQUOT))

    with pytest.raises(OutputError):
        out.put("table.csv", half)
    assert (tmp_path / "table.csv").read_bytes() == b"old"
    assert os.listdir(tmp_path) == ["table.csv"]


def test_a_refusal_names_the_file_the_user_knows(tmp_path):
    "A writer that tells the fault itself speaks of map.html, not of the name it was given."
    def refused(path):
        raise OutputError(f"{path}: cannot be written")

    with pytest.raises(OutputError, match=r"/map\.html: cannot be written"):
        OutputFolder.opened(tmp_path).put("map.html", refused)


def test_a_fault_of_our_own_leaves_no_temporary_file(tmp_path):
    "Any other exception, an interruption too, passes through and takes the unfinished file with it."
    out = OutputFolder.opened(tmp_path)

    def interrupted(path):
        path.write_bytes(b"half")
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        out.put("map.html", interrupted)
    assert os.listdir(tmp_path) == []
