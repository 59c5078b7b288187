"""Each filter of ``spots`` through files, both ways: what must pass does, nothing else does; the same in Python."""

from __future__ import annotations

import csv
import dataclasses

import numpy as np
import pytest
from worlds import SMALL_CENTRE, SMALL_CRS, small_lake_map

from lakemap import publish
from lakemap.cli.main import run
from lakemap.geo.crs import unproject
from lakemap.model.outputs import DEPTH
from lakemap.model.spots import Spots
from lakemap.model.water import Water
from lakemap.read.map_rasters import read_grid
from lakemap.read.outputs import read_summary
from lakemap.read.spots_back import read_features, read_spots
from lakemap.spots import search as filters

FOOT = 0.3048
THERMOCLINE_M = 4.5


def known_spots():
    "Five spots, each with something of its own; the hump of the small lake lies 40 m west of its middle, 15 m wide."
    east = np.array([-40.0, -10.0, 50.0, 100.0, 0.0])
    x_m, y_m = SMALL_CENTRE[0] + east, SMALL_CENTRE[1] + np.array([0.0, 0.0, 45.0, 0.0, -80.0])
    lon, lat = unproject(SMALL_CRS, x_m, y_m)
    ones, count = np.ones(5), np.ones(5, np.int32)
    return Spots(
        ("brush-1", "rock-2", "cover-3", "stump-4", "hump-5"), ("brush", "rock", "cover", "stump", "hump"),
        (np.empty(0, np.int64),) * 5, x_m, y_m, lon, lat, ones, np.array([3.0, 4.0, 5.0, 6.0, np.nan]), ones, ones,
        np.array([0.1, 0.5, 0.9, np.nan, 0.95]), count, count, np.array([0.95, 0.75, 0.69, 0.4, 0.8]), 0.3 * ones, ones,
        np.array(["2024-05-01", "2025-06-01", "NaT", "2025-05-31T23:59", "2025-08-01"], "datetime64[ms]"),
        np.array([0.9, 0.7, 0.5, 0.3, 0.2]), {"fishable_water": np.array([0.0, 1.0, 1.0, 1.0, np.nan])},
        (("One.",),) * 5,
    )


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    "The small lake with those spots and a profile, published."
    day = np.datetime64("2025-08-01")
    return published(tmp_path_factory, Water(day, day + 21, 7.0, THERMOCLINE_M, 3.5, 6.0, ((4.0, 7.0),), 0.5))


def published(tmp_path_factory, water):
    "The small lake with those spots and this water, published."
    place = tmp_path_factory.mktemp("filters")
    publish(dataclasses.replace(small_lake_map(), spots=known_spots(), water=water), place)
    return place


def test_a_filter_by_the_water_says_how_long_it_holds(folder, tmp_path_factory, capsys):
    "The last day the profile counts; nobody's word without a date."
    nat = np.datetime64("NaT", "D")
    undated = published(tmp_path_factory, Water(nat, nat, 7.0, THERMOCLINE_M, 3.5, 6.0, ((4.0, 7.0),), 0.5))
    for words, said in ((["--fishable"], "By the profile of 2025-08-01: it counts until 2025-08-22"),
                        (["--above-thermocline"], "it counts until 2025-08-22"), (["--bottom", "hard"], None)):
        assert run(["spots", str(folder), *words]) == 0
        told = " ".join(capsys.readouterr().out.split())
        assert said in told if said else "counts until" not in told
    assert run(["spots", str(undated), "--fishable"]) == 0
    assert "has no date: nobody knows how long it counts" in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize("words", [["--above-thermocline"], ["--fishable"]])
def test_a_profile_that_has_run_out_filters_nothing(tmp_path_factory, capsys, words):
    "The newest log is of a day after its last: wrong use, with both days that matter."
    day = np.datetime64("2025-08-01")
    water = Water(day, day + 21, 7.0, THERMOCLINE_M, 3.5, 6.0, ((4.0, 7.0),), 0.5, newest=day + 22)
    assert run(["spots", str(published(tmp_path_factory, water)), *words]) == 2
    fault = capsys.readouterr().err
    assert f"{words[0]}: the map's profile of 2025-08-01 counted until 2025-08-22" in fault and fault.count("\n") == 1


@pytest.mark.parametrize(("words", "said"), [
    (["--kind", "stmp"], "--kind stmp: no such kind of spot; the map has brush, cover, hump, rock, stump"),
    (["--depth", "15-8ft"], "--depth 15-8ft: the shallower depth comes first"),
])
def test_a_slip_of_the_pen_is_no_empty_list(folder, capsys, words, said):
    "A word that is no kind, a depth the wrong way round: wrong use, in the words that were given."
    assert run(["spots", str(folder), *words]) == 2
    assert said in capsys.readouterr().err


def told(folder, tmp_path, *words):
    "Numbers of the spots that a search writes, in its order."
    file = tmp_path / "found.csv"
    assert run(["spots", str(folder), *words, "--to", str(file), "--quiet"]) == 0
    with file.open() as lines:
        return "".join(row["name"].split("-")[1] for row in csv.DictReader(lines))


def hump(within_m):
    "The filter --within --of hump, in Python."
    return lambda folder, summary: filters.near("hump", read_features(folder, summary)["hump"], within_m)


CASES = [
    (["--depth", "4-5m"], lambda *_: filters.depth_between(4.0, 5.0), "23"),
    (["--depth", "9-14ft"], lambda *_: filters.depth_between(9 * FOOT, 14 * FOOT), "12"),
    (["--bottom", "soft"], lambda *_: filters.bottom_is("soft"), "1"),
    (["--bottom", "medium"], lambda *_: filters.bottom_is("medium"), "2"),
    (["--bottom", "hard"], lambda *_: filters.bottom_is("hard"), "35"),
    (["--bottom", "soft", "--bottom", "hard"], lambda *_: filters.bottom_is("soft", "hard"), "135"),
    (["--kind", "rock", "--kind", "stump"], lambda *_: filters.of_kind(["rock", "stump"]), "24"),
    (["--within", "2m", "--of", "hump"], hump(2.0), "1"),
    (["--within", "50ft", "--of", "hump"], hump(50 * FOOT), "12"),
    (["--within", "14m", "--of", "hump"], hump(14.0), "1"),
    (["--above-thermocline"], lambda *_: filters.above(THERMOCLINE_M, "it"), "12"),
    (["--fishable"], lambda *_: filters.at_least("fishable_water", 0.5), "234"),
    (["--min-probability", "0.7"], lambda *_: filters.at_least("probability", 0.7), "125"),
    (["--min-score", "0.5"], lambda *_: filters.at_least("score", 0.5), "123"),
    (["--seen-since", "2025-06-01"], lambda *_: filters.seen_since(np.datetime64("2025-06-01")), "25"),
]


@pytest.mark.parametrize(("words", "in_python", "found"), CASES, ids=[" ".join(words) for words, _, _ in CASES])
def test_a_filter_lets_through_what_it_says_and_nothing_else(folder, tmp_path, words, in_python, found):
    "From the command line, and the same function in Python on the same files."
    assert told(folder, tmp_path, *words) == found
    summary = read_summary(folder)
    spots = read_spots(folder, summary, read_grid(folder, summary, DEPTH).frame.crs)
    kept = filters.search(spots, [in_python(folder, summary)]).spots
    assert "".join(name.split("-")[1] for name in filters.in_order(kept, "score").name) == found


@pytest.mark.parametrize(("by", "found"), [
    ("score", "12345"), ("probability", "15234"), ("depth", "12345"), ("last-seen", "52413"), ("name", "13524"),
])
def test_every_order(folder, tmp_path, by, found):
    "Best, surest, shallowest, latest first; by name. What is not known stands last."
    assert told(folder, tmp_path, "--sort", by) == found


def test_filters_combine(folder, tmp_path):
    "All must pass; the order of options does not matter, --most cuts last."
    words = ["--fishable", "--min-probability", "0.6", "--above-thermocline"]
    assert told(folder, tmp_path, *words) == "2" == told(folder, tmp_path, *words[3:], *words[:3])
    assert told(folder, tmp_path, "--min-score", "0.3", "--seen-since", "2025-01-01", "--sort", "last-seen") == "24"
    assert told(folder, tmp_path, "--min-score", "0.3", "--sort", "depth", "--most", "2") == "12"


@pytest.mark.parametrize(("words", "said"), [
    (["--depth", "40-50m"], "depth 40.0 m to 50.0 m"), (["--bottom", "soft", "--kind", "rock"], "kind rock"),
    (["--kind", "rock", "--within", "1m", "--of", "hump"], "within 1.0 m of hump"),
    (["--bottom", "hard", "--above-thermocline"], "above the thermocline of 2025-08-01, which counts until 2025-08-22"),
    (["--kind", "brush", "--fishable"], "fishable water at least 0.5"),
    (["--kind", "stump", "--min-probability", "0.5"], "probability at least 0.5"),
    (["--kind", "hump", "--min-score", "0.5"], "score at least 0.5"),
    (["--kind", "brush", "--seen-since", "2025-01-01"], "last seen since 2025-01-01"),
])
def test_the_filter_that_leaves_nothing_is_named(folder, tmp_path, capsys, words, said):
    "Whichever it is, with what it passes alone; the file is whole and empty, the status 0."
    file = tmp_path / "none.gpx"
    assert run(["spots", str(folder), *words, "--to", str(file)]) == 0
    assert f"Emptied by: {said}." in capsys.readouterr().out.replace("\n", " ")
    assert b"<wpt" not in file.read_bytes() and file.read_bytes().rstrip().endswith(b"</gpx>")


@pytest.mark.parametrize("suffix", [".gpx", ".kml", ".csv"])
def test_what_is_written_is_what_passed(folder, tmp_path, suffix):
    "In each form, the names that pass and no other."
    file = tmp_path / f"some{suffix}"
    assert run(["spots", str(folder), "--bottom", "hard", "--to", str(file), "--quiet"]) == 0
    text = file.read_text()
    assert [name in text for name in known_spots().name] == [False, False, True, False, True]


def test_a_folder_without_a_profile_claims_nothing_of_the_water(tmp_path, capsys):
    "--above-thermocline and --fishable say which input is missing."
    publish(dataclasses.replace(small_lake_map(), spots=known_spots()), tmp_path)
    for word in ("--above-thermocline", "--fishable"):
        assert run(["spots", str(tmp_path), word]) == 2
        assert "--profile FILE" in capsys.readouterr().err
