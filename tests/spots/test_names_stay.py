"""A lake mapped anew after each of ten more days: what is still there is still called the same, and ranks as it did."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise

import numpy as np
import pytest
from growing_lake import DAYS, write_days
from scipy.stats import spearmanr

from lakemap import Lake, map_lake

SAME_M = 15.0
"""Two spots of a kind this near in two maps that follow each other are the same place."""


@pytest.fixture(scope="module")
def growing(tmp_path_factory):
    "Spots of the map after each day; the whole job each time, from the files."
    folder = tmp_path_factory.mktemp("growing")
    found = []
    for days in range(1, DAYS + 1):
        write_days(folder, days, seed=2)
        found.append(map_lake(Lake.from_files([folder], {"grid": {"pixel_m": 4.0, "method": "linear"}})).spots)
    return found


def jittered(log, rng):
    "A log whose every place is off by another 10 cm and every depth by another 1 cm, as a second receiver may log it."
    head, *rows = log.strip().split("\n")
    cells = [row.split(",") for row in rows]
    lat, lon, depth = np.array([row[1:] for row in cells], float).T
    north, east, down = rng.normal(0.0, [[0.1], [0.1], [0.01]], (3, len(rows)))
    lat, lon = lat + north / 111_000.0, lon + east / (111_000.0 * np.cos(np.radians(lat)))
    moved = zip(cells, lat, lon, np.maximum(depth + down, 0.1), strict=True)
    return "\n".join([head, *(f"{row[0]},{a:.7f},{b:.7f},{d:.2f}" for row, a, b, d in moved)]) + "\n"


def again(before, after):
    "(Kind, name, name) of each spot after that was there before."
    for i in range(len(after)):
        same = np.flatnonzero(np.array(before.kind) == after.kind[i])
        away = np.hypot(before.x_m[same] - after.x_m[i], before.y_m[same] - after.y_m[i])
        if len(same) and away.min() <= SAME_M:
            yield after.kind[i], before.name[same[away.argmin()]], after.name[i]


def test_no_spot_changes_its_name_over_ten_added_logs(growing):
    "Stumps that passes hit, and drop-offs and a hump that only the floor's shape tells."
    pairs = [pair for before, after in pairwise(growing) for pair in again(before, after)]
    changed = [pair for pair in pairs if pair[1] != pair[2]]
    kinds = Counter(kind for kind, _, _ in pairs)
    assert not changed
    assert kinds["cover"] >= 10 and kinds["drop-off"] >= 20 and kinds["hump"] + kinds["point"] >= 5


def test_no_two_spots_share_a_name_or_a_place(growing):
    "In each of the maps; spots of one kind lie apart."
    for spots in growing:
        assert len(set(spots.name)) == len(spots)
        for kind in set(spots.kind):
            rows = np.flatnonzero(np.array(spots.kind) == kind)
            xy = np.column_stack([spots.x_m, spots.y_m])[rows]
            away = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1)) + 1e9 * np.eye(len(rows))
            assert away.min() > 8.0


def test_ranking_stays_when_the_logs_move_a_little(growing, tmp_path):
    "Centimetres in every reading of the last map: nearly all spots are there again, and in much the same order."
    write_days(tmp_path, DAYS, seed=2)
    rng = np.random.default_rng(4)
    for path in sorted(tmp_path.glob("*.csv")):
        path.write_text(jittered(path.read_text(), rng))
    was = growing[-1]
    now = map_lake(Lake.from_files([tmp_path], {"grid": {"pixel_m": 4.0, "method": "linear"}})).spots
    named = {new: old for _, old, new in again(was, now)}
    old = [was.name.index(named[name]) for name in now.name if name in named]
    assert len(old) >= 0.8 * max(len(was), len(now))
    kept = np.array([name in named for name in now.name])
    assert spearmanr(was.score[old], now.score[kept]).statistic > 0.9
    assert len({*old[:5]} & {0, 1, 2, 3, 4}) >= 4
