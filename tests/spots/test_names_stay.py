"""A lake mapped anew after each of ten more days: what is still there is still called the same."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise

import numpy as np
import pytest
from growing_lake import DAYS, write_days

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
