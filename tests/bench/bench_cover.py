"""Planted cover on invented lakes that nothing was tuned on: recall, precision, calibration, and fish that move.

The demo's lake with its roughness, bottom and cover strewn anew, driven by the demo's boat with new errors. Depths are
put on the map by linear triangulation, as spots ask little of them. Judged are things that two pings or two passes hit
and that no mark means, where at least two passes could see them; and spots of cover with p > 0.5 that at least two
passes could see. A school of fish is added over a place where nothing stands, marked on every day: it must stay none.
The suite judges one such lake, tests/test_demo_lake.py.
Run: python tests/bench/bench_cover.py [lakes] [first number]
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from unittest.mock import patch

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from demo.scores import COVER_KINDS, cover_hit, cover_recall, spots_real
from demo_anew import write_demo

from lakemap import Lake, map_lake
from lakemap.demo import demo_recordings
from lakemap.model.hits import FROM_MARK
from lakemap.model.marks import MOVING_KINDS
from lakemap.spots import SpotSettings, find_spots
from lakemap.spots.passing import believed, passes_by

BINS = (0.0, 0.2, 0.4, 0.6, 0.8, 0.9, 1.01)
SCHOOL = 30


def mapped(number):
    "A new lake, what the boat recorded on it, and its map; without hardness and temperature, which no evidence asks."
    with (tempfile.TemporaryDirectory() as folder,
          patch("lakemap.pipeline.temperatures_of", lambda _: None),
          patch("lakemap.pipeline.read_hardness", lambda rows, *_: (rows, None))):
        lake = write_demo(number, Path(folder))
        with patch("lakemap.demo.files.demo_lake", lambda: lake):
            recordings = demo_recordings(number)
        return lake, recordings, map_lake(Lake.from_files([Path(folder)], {"grid": {"method": "linear"}}))


def with_school(lake_map, rng):
    "Hits with a school of fish marked thirty times around a place, far from all else."
    hits = lake_map.hits
    rows = lake_map.soundings
    places = np.column_stack([rows.x_m, rows.y_m])[rows.usable()][::50]
    away = np.hypot(places[:, :1] - hits.x_m, places[:, 1:] - hits.y_m).min(axis=1)
    at = places[int(np.argmax(away))]
    school = hits.take(np.zeros(SCHOOL, int))
    school = replace(
        school, kind=np.full(SCHOOL, "fish", hits.kind.dtype), origin=np.full(SCHOOL, FROM_MARK, np.int8),
        x_m=at[0] + rng.normal(0, 3, SCHOOL), y_m=at[1] + rng.normal(0, 3, SCHOOL),
        pass_id=np.full(SCHOOL, -1, np.int32))
    return hits.joined(school), at


def judged(number):
    "Found and could-see of each thing; probability, truth and could-see of each spot of cover; spots at the school."
    lake, recordings, lake_map = mapped(number)
    settings = SpotSettings(least_probability=0.0)
    hits, school = with_school(lake_map, np.random.default_rng(number))
    spots = find_spots(hits, lake_map.terrain, lake_map.soundings, lake_map.depth, lake_map.hardness, settings)
    things = np.array(cover_hit(lake, recordings, number))
    xy = np.column_stack([lake.cover.x_m, lake.cover.y_m])[things]
    passing = passes_by(xy, np.zeros(len(xy)), lake.cover.floor_m[things], lake.cover.height_m[things],
                        lake_map.soundings, settings)
    looks = passing.looks(believed(len(lake_map.soundings.logs), settings))
    could = np.bincount(looks.place[looks.chance > 0.5], minlength=len(things))
    cover = np.array([kind in COVER_KINDS for kind in spots.kind])
    _, found = cover_recall(lake, spots.take(np.flatnonzero(cover & (spots.probability > 0.5))), things)
    real, _ = spots_real(lake, spots)
    moving = sum(kind in MOVING_KINDS for kind in spots.kind)
    at_school = np.hypot(spots.x_m - school[0], spots.y_m - school[1])[cover] < 15.0
    return (found, could), (spots.probability[cover], real[cover], spots.could_see[cover]), moving + at_school.sum()


def main(lakes, first):
    things, spots, confirmed = [], [], 0
    for number in range(first, first + lakes):
        thing, spot, fish = judged(number)
        things.append(np.array(thing))
        spots.append(np.array(spot, dtype=float))
        confirmed += int(fish)
        twice, sure = thing[1] >= 2, (spot[0] > 0.5) & (spot[2] >= 2)
        print(f"lake {number}: recall {thing[0][twice].mean():.2f} of {twice.sum()} (of all {thing[0].mean():.2f} of "
              f"{len(twice)}), precision {spot[1][sure].mean():.2f} of {sure.sum()}", flush=True)
    (found, could), (p, real, seen) = np.concatenate(things, axis=1), np.concatenate(spots, axis=1)
    sure = (p > 0.5) & (seen >= 2)
    print(f"all: recall {found[could >= 2].mean():.3f} of {(could >= 2).sum()}, of all things hit "
          f"{found.mean():.3f} of {len(found)}; precision {real[sure].mean():.3f} of {sure.sum()}; "
          f"spots made by fish: {confirmed}")
    for low, high in pairwise(BINS):
        those = (p >= low) & (p < high)
        if those.any():
            print(f"  said {p[those].mean():.2f}, true {real[those].mean():.2f}, {those.sum()} spots")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20, int(sys.argv[2]) if len(sys.argv) > 2 else 500)
