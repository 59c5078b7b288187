"""Maps made again with what they gave away: waypoints that come back, the owner's word, the log of catches."""

from __future__ import annotations

import re

import numpy as np
import pytest
from stumpy_lake import QUICK, degrees, lake_files, mapped, marks_csv, write

from lakemap import Lake, map_lake, publish
from lakemap.model.spot_names import code_inside, codes_in, is_written
from lakemap.publish.plotter_names import Plotter, for_plotter
from lakemap.publish.waypoints import waypoints_gpx

MARKS = {"marks.csv": marks_csv((30, 80, "brush", "B1", "thick"), (150, 20, "rock", "", ""), (62, 26, "stump", "S", "old"))}


@pytest.fixture(scope="module")
def first(tmp_path_factory):
    "The tiny lake mapped once."
    return mapped(tmp_path_factory.mktemp("first"), lake_files() | MARKS)


def told(lake_map):
    "What each spot is, by name."
    s = lake_map.spots
    return {s.name[i]: (s.kind[i], s.probability[i], s.seen[i], s.could_see[i], s.score[i], s.x_m[i], s.y_m[i], s.reasons[i])
            for i in range(len(s))}


def as_a_plotter_names_them(gpx, way):
    "The same waypoints after a device did something to their names."
    names = iter(range(1, 1000))
    change = {"kept": lambda text: text, "upper": str.upper, "cut": lambda text: text[:-1],
              "dashless": lambda text: text.replace("-", " ").upper(),
              "renumbered": lambda text: f"{next(names):03d}"}[way]
    return re.sub(r"(?<=<name>)[^<]+", lambda match: change(match[0]), gpx.decode()).encode()


@pytest.mark.parametrize("way", ["kept", "upper", "cut", "dashless", "renumbered"])
def test_waypoints_that_come_back_change_nothing(first, tmp_path, way):
    "A map with its own waypoints as marks: the same spots, names, probabilities, scores; and it is said."
    gpx = as_a_plotter_names_them(waypoints_gpx(first.spots, "m"), way)
    again = mapped(tmp_path, lake_files() | MARKS | {"plotter.gpx": gpx})
    assert len(first.spots) == 8 and told(again) == told(first)
    assert any("8 marks bear the name of a spot of this lake" in text for text in again.messages)
    assert len(again.hits) == len(first.hits)


def test_short_names_for_a_plotter_come_back_too(first, tmp_path):
    "Names of 8 letters, written for a plotter that holds no more."
    short = for_plotter(first.spots, Plotter(name_length=8, ascii_only=True))
    again = mapped(tmp_path, lake_files() | MARKS | {"plotter.gpx": waypoints_gpx(short, "ft")})
    assert told(again) == told(first)


def test_a_waypoint_whose_source_is_gone_stays_a_mark_of_that_name(first, tmp_path):
    "Without the table of marks the brush and the rock live on as waypoints, under their names; nothing doubles."
    gpx = waypoints_gpx(first.spots, "m")
    again = mapped(tmp_path, lake_files() | {"plotter.gpx": gpx})
    assert sorted(name[-6:] for name in again.spots.name) == sorted(name[-6:] for name in first.spots.name)
    assert {"brush", "rock"} <= set(again.spots.kind)
    assert any("6 marks bear the name" in text for text in again.messages)


def test_codes_in_names():
    "What a device may make of a name of ours holds its code; what people call their marks is not taken for one."
    for name in ("stump-4f7k2m", "STUMP-4F7K2M", "st-4f7k2m", "stump 4f7k2m", "4f7k2m", "stump4f7k2m", "stump-4f7k2m-2"):
        assert "4f7k2m" in codes_in(name) and is_written(name), name
    assert "4f7k" in codes_in("stump-4f7k") and "7k2m" in codes_in("7k2m")
    for name in ("001", "1234", "Joe's spot", "stump 1001", "dock", "Rock 12", "big brush", "WPT0004"):
        assert not is_written(name), name
    assert code_inside("stump-4f7k2m") == "4f7k2m" and code_inside("a plain-spoken note") is None
