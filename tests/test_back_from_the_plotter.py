"""Maps made again with what they gave away: waypoints that come back, the owner's word, the log of catches."""

from __future__ import annotations

import re

import numpy as np
import pytest
from stumpy_lake import lake_files, mapped, marks_csv

from lakemap import publish
from lakemap.model.spot_names import code_inside, codes_in, is_written
from lakemap.publish.plotter_names import Plotter, for_plotter
from lakemap.publish.waypoints import waypoints_gpx

MARKS = {"marks.csv": marks_csv(
    (30, 80, "brush", "B1", "thick"), (150, 20, "rock", "", ""), (62, 26, "stump", "S", "old"))}


@pytest.fixture(scope="module")
def first(tmp_path_factory):
    "The tiny lake mapped once."
    return mapped(tmp_path_factory.mktemp("first"), lake_files() | MARKS)


def told(lake_map):
    "What each spot is, by name."
    s = lake_map.spots
    return {s.name[i]: (s.kind[i], s.probability[i], s.seen[i], s.could_see[i], s.score[i], s.x_m[i], s.y_m[i],
                        s.reasons[i]) for i in range(len(s))}


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


@pytest.mark.parametrize("signs", [5, 12, 22, 30, 60])
def test_a_comment_cut_by_a_device_is_no_news(first, tmp_path, signs):
    "However much of our own words is left, and however the name inside was cut."
    gpx = waypoints_gpx(first.spots, "ft").decode()
    gpx = re.sub(r"(?<=<cmt>)[^<]+", lambda match: match[0][:signs], re.sub(r"<desc>[^<]+</desc>\s*", "", gpx))
    assert told(mapped(tmp_path, lake_files() | MARKS | {"plotter.gpx": gpx.encode()})) == told(first)


def test_what_the_owner_wrote_on_a_waypoint_is_told_with_the_spot(first, tmp_path):
    "In place of our own comment, or as a table without a name of ours in it but the spot's; all else stays."
    name = first.spots.name[first.spots.kind.index("brush")]
    words = "bent <pines>, sharks"
    gpx = re.sub(rf"(<name>{name}</name>\s*<cmt>)[^<]+", rf"\1{words.replace('<', '&lt;')}",
                 waypoints_gpx(first.spots, "m").decode())
    again = mapped(tmp_path, lake_files() | MARKS | {
        "plotter.gpx": gpx.encode(),
        "own.csv": f"time,lat,lon,kind,name,note\n2026-05-01T10:00:00Z,46.8,-100.3,brush,{name},"
                   "stump at 7 m: leans\n".encode()})
    now, was = told(again), told(first)
    assert now.keys() == was.keys()
    for one in now:
        assert now[one][:-1] == was[one][:-1]
        more = [text for text in now[one][-1] if text not in was[one][-1]]
        assert len(more) == (2 if one == name else 0), more
        if one == name:
            assert more[0] == "Noted 2026-05-01: stump at 7 m: leans."
            assert more[1].startswith("Noted") and f": {words}" in more[1]


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
    for name in ("stump-4f7k2m", "STUMP-4F7K2M", "st-4f7k2m", "stump 4f7k2m", "4f7k2m", "stump4f7k2m",
                 "stump-4f7k2m-2"):
        assert "4f7k2m" in codes_in(name) and is_written(name), name
    assert "4f7k" in codes_in("stump-4f7k") and "7k2m" in codes_in("7k2m")
    for name in ("001", "1234", "Joe's spot", "stump 1001", "dock", "Rock 12", "big brush", "WPT0004"):
        assert not is_written(name), name
    assert code_inside("stump-4f7k2m") == "4f7k2m" and code_inside("a plain-spoken note") is None


def published(lake_map, folder):
    "Names in waypoints.csv and summary.json."
    folder.mkdir()
    summary = publish(lake_map, folder)
    return {line.split(",")[0] for line in (folder / "waypoints.csv").read_text().splitlines()[1:]}, summary


def test_drop_and_merge_through_a_whole_map(first, tmp_path):
    "edits.csv drops the rock and joins two stumps: in the files and said; without its lines all is as before."
    rock, stump, brush = (next(n for n, k in zip(first.spots.name, first.spots.kind, strict=True) if k == kind)
                          for kind in ("rock", "stump", "brush"))
    edits = f"what,spots,why\ndrop_spot,{rock.upper()},it was a fish\nmerge_spots,{stump} {brush},one old tree\n"
    lake_map = mapped(tmp_path / "a", lake_files() | MARKS | {"edits.csv": edits})
    names, summary = published(lake_map, tmp_path / "out")
    assert names == set(first.spots.name) - {rock, brush}
    assert any(f"{rock} dropped (it was a fish)" in text for text in summary["messages"])
    assert any(f"{stump}, {brush} are one spot (one old tree)" in text for text in summary["messages"])
    both = lake_map.spots.hits[lake_map.spots.name.index(stump)]
    assert set(lake_map.hits.kind[both]) == {"cover", "stump", "brush"}
    left = "what,spots,why\nmerge_spots,nothing-here also-not,mistaken\n"
    undone = mapped(tmp_path / "b", lake_files() | MARKS | {"edits.csv": left})
    assert told(undone) == told(first)
    assert any("no spot is named nothing-here, also-not" in text for text in undone.messages)
    # a waypoint of before the drop comes back: the owner's word stands
    old = {"edits.csv": edits, "old.gpx": waypoints_gpx(first.spots, "m")}
    assert told(mapped(tmp_path / "c", lake_files() | MARKS | old)) == told(lake_map)


def catches(spots, fish, stops):
    "A catch log: stops of an hour and a half at every spot in turn, `fish` by name, none elsewhere: blanks count."
    lines = ["time,lat,lon,kind,count,effort_h,note"]
    for n in range(stops):
        i = n % len(spots)
        lines.append(f"2025-07-{1 + n % 28:02d},{spots.lat_deg[i]:.6f},{spots.lon_deg[i]:.6f},perch,"
                     f"{fish.get(spots.name[i], 0)},1.5,")
    return "\n".join(lines) + "\n"


def test_a_catch_log_moves_the_weights_of_a_whole_map(first, tmp_path):
    "Fish come where nothing but structure is good: its weight grows, before and after stand in the summary."
    order = np.argsort(-first.spots.score_parts["structure"])
    log = catches(first.spots, {first.spots.name[i]: 4 for i in order[:2].tolist()}, 64)
    lake_map = mapped(tmp_path / "a", lake_files() | MARKS | {"catches.csv": log})
    _, summary = published(lake_map, tmp_path / "out")
    line = next(text for text in summary["messages"] if text.startswith("catch log"))
    assert "64 stops with hours at 8 spots, 64 fish: weights before and after" in line
    before, after = re.search(r"structure ([\d.]+) -> ([\d.]+)", line).groups()
    assert float(after) > float(before) == 0.25
    changed = {name: score for name, (_, _, _, _, score, *_) in told(lake_map).items()}
    assert set(changed) == set(first.spots.name)
    assert any(abs(changed[name] - first.spots.score[i]) > 0.01 for i, name in enumerate(first.spots.name))


def test_too_little_to_learn_from_is_said(first, tmp_path):
    "Sixteen stops, all blanks: weights and scores stay, and the line says what it takes."
    lake_map = mapped(tmp_path / "a", lake_files() | MARKS | {"catches.csv": catches(first.spots, {}, 16)})
    assert told(lake_map) == told(first)
    assert any("16 stops with hours at 8 spots, 0 fish: too little to learn from" in text for text in lake_map.messages)


def test_looked_nothing_there_through_a_whole_map(first, tmp_path):
    "A mark of nothing at the brush lowers it and nothing else, and is said at the spot."
    more = marks_csv((30, 80, "nothing", "", "")).splitlines()[1]
    lake_map = mapped(tmp_path, lake_files() | {"marks.csv": MARKS["marks.csv"] + more + "\n"})
    before, after = told(first), told(lake_map)
    assert set(before) == set(after)
    for name, (kind, probability, *_) in before.items():
        assert after[name][1] < probability - 0.03 if kind == "brush" else after[name][1] == probability
        assert any("Looked for here once and not found" in said for said in after[name][-1]) is (kind == "brush")
