"""``lakemap print``: paper from the files of a folder alone."""

from __future__ import annotations

import dataclasses
import shutil

import pypdf
import pytest
from shapely.geometry import Point, box
from worlds import small_lake_map

from lakemap.cli.main import run
from lakemap.geo.crs import unproject
from lakemap.model.keep_out import ClosedAreas, Hazards
from lakemap.publish import PublishSettings, publish


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    "The small lake published, with a danger and a closed area."
    made = small_lake_map()
    west, south, east, north = made.depth.frame.bounds
    lon, lat = unproject(made.depth.frame.crs, (west + east) / 2, (south + north) / 2)
    made = dataclasses.replace(
        made, hazards=Hazards([Point(lon, lat)], [12.0], ["wreck"]),
        closed=ClosedAreas([box(lon - 0.0008, lat - 0.0005, lon - 0.0003, lat)], ["04-01"], ["05-31"], ["swans"]))
    path = tmp_path_factory.mktemp("small") / "out"
    publish(made, path, PublishSettings(units="ft"))
    return path


def words(path):
    "All text of a PDF in one line."
    return " ".join(" ".join(page.extract_text() for page in pypdf.PdfReader(path).pages).split())


def test_a_folder_moved_elsewhere_prints_its_chart(folder, tmp_path, capsys):
    "Name, unit, dangers, closed areas, spots: all from the folder; chart.pdf lies in it where no file is named."
    moved = tmp_path / "elsewhere"
    shutil.copytree(folder, moved)
    assert run(["print", str(moved)]) == 0
    assert "print at 100 %" in capsys.readouterr().out
    text = words(moved / "chart.pdf")
    for said in ("Small & <Round> Lake", "Depths in feet", "wreck: keep 39 ft away", "closed 04-01 to 05-31: swans",
                 "1 brush", "Soundings of 2024-05-29"):
        assert said in text, said


def test_options_reach_the_paper(folder, tmp_path):
    "Letter, a scale, metres, a step of lines, no spots; the same twice."
    asked = ["print", str(folder), "--paper", "letter", "--scale", "1:1250", "--unit", "m", "--contour", "2m",
             "--spots", "0", "--quiet"]
    for name in ("a.pdf", "b.pdf"):
        assert run([*asked, "--to", str(tmp_path / name)]) == 0
    text = words(tmp_path / "a.pdf")
    assert "Scale 1:1250" in text and "Depths in metres" in text and "a depth line each 2 m" in text
    assert "1 brush" not in text and (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()


def test_what_cannot_be_printed_is_one_line(folder, tmp_path, capsys):
    "No map, a scale that is none, a folder that is not there."
    assert run(["print", str(tmp_path)]) == 1 and "no finished map" in capsys.readouterr().err
    assert run(["print", str(folder), "--scale", "wide"]) == 2 and "write it as 1:2500" in capsys.readouterr().err
    assert run(["print", str(folder), "--to", str(tmp_path / "no" / "chart.pdf")]) == 1
    assert "cannot be written" in capsys.readouterr().err
    for words, said in ((["--to", "chart.png"], "--to chart.png: the name must end in .pdf"),
                        (["--contour", "0ft"], "--contour 0ft: must be above 0"),
                        (["--year", "1800"], "2025<=x<=2030")):
        assert run(["print", str(folder), *words]) == 2 and said in capsys.readouterr().err
