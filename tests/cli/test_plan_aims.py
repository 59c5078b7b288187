"""What next lines are for: depth, hardness, or spots that are unsure."""

from __future__ import annotations

import dataclasses
import re
from xml.etree import ElementTree

import numpy as np
import pytest
from worlds import small_lake_map

from lakemap import publish
from lakemap.cli.main import run
from lakemap.geo.crs import project

RTEPT = "{http://www.topografix.com/GPX/1/1}rtept"


@pytest.fixture(scope="module")
def unsure(tmp_path_factory):
    "The small lake's spots, all stumps, the first of them a coin-toss and the others sure; and the folder of its map."
    lake = small_lake_map()
    spots = lake.spots
    probability = np.where(np.arange(len(spots)) == 0, 0.5, 0.99)
    spots = dataclasses.replace(spots, kind=("stump",) * len(spots), probability=probability)
    folder = tmp_path_factory.mktemp("unsure")
    publish(dataclasses.replace(lake, spots=spots), folder)
    return lake.depth.frame.crs, spots, folder


@pytest.mark.parametrize(("aim", "said"), [
    ("depth", r"Expected error of the depths \(root mean square\): ([\d.]+) m now, ([\d.]+) m after"),
    ("hardness", r"Expected error of the hardness, 0 to 1 \(root mean square\): ([\d.]+) now, ([\d.]+) after"),
    ("spots", r"Of 1 unsure spots ([\d.]+) would be judged wrongly now, ([\d.]+) after"),
])
def test_each_aim_tells_what_is_learnt(unsure, capsys, aim, said):
    "What is not known before the lines and after them, and less of it after."
    assert run(["plan", "lines", str(unsure[2]), "--hours", "0.1", "--for", aim]) == 0
    told = " ".join(capsys.readouterr().out.split())
    before, after = (float(text) for text in re.search(said, told).groups())
    assert 0 < after < before and "Headings are true" in told


def test_lines_for_spots_go_over_the_unsure_one(unsure, tmp_path):
    "Every line passes within 2 m of it; the sure ones are left alone."
    crs, spots, folder = unsure
    file = tmp_path / "lines.gpx"
    assert run(["plan", "lines", str(folder), "--hours", "0.05", "--for", "spots", "--to", str(file), "--quiet"]) == 0
    points = np.array([[float(p.get("lon")), float(p.get("lat"))] for p in ElementTree.parse(file).iter(RTEPT)])
    ends = np.column_stack(project(crs, *points.T)).reshape(-1, 2, 2)
    assert len(ends)
    for start, end in ends:
        along = end - start
        off = np.array([spots.x_m[0], spots.y_m[0]]) - start
        assert abs(along[0] * off[1] - along[1] * off[0]) / np.hypot(*along) < 2.0


def test_nothing_to_learn_is_said(unsure, tmp_path, capsys):
    "A map whose spots are all sure, and one without hardness."
    lake = small_lake_map()
    sure = dataclasses.replace(lake.spots, probability=np.full(len(lake.spots), 0.99))
    publish(dataclasses.replace(lake, spots=sure, hardness=None, bottom=None), tmp_path)
    for aim, said in (("spots", "less sure than 95%"), ("hardness", "has no hardness")):
        assert run(["plan", "lines", str(tmp_path), "--hours", "0.1", "--for", aim]) == 1
        fault = capsys.readouterr().err
        assert said in fault and fault.count("\n") == 1
