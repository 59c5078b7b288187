"""Filters over spots: each by itself, together, and which one leaves nothing."""

from __future__ import annotations

import numpy as np
import pytest
from shapely.geometry import box

from lakemap.errors import UsageError
from lakemap.model.spots import Spots
from lakemap.spots.search import (
    above,
    at_least,
    bottom_is,
    depth_between,
    in_order,
    near,
    of_kind,
    search,
    seen_since,
)


def some_spots():
    "Four spots in a row, 10 m apart."
    n = 4
    known = np.arange(n, dtype=float)
    return Spots(
        name=("a", "b", "c", "d"), kind=("stump", "rock", "cover", "stump"), hits=(np.empty(0, np.int64),) * n,
        x_m=known * 10, y_m=np.zeros(n), lon_deg=known, lat_deg=known, position_sigma_m=np.ones(n),
        depth_m=np.array([2.0, 4.0, 6.0, np.nan]), depth_sigma_m=np.ones(n), height_m=np.ones(n),
        hardness=np.array([0.1, 0.5, 0.9, np.nan]), seen=np.ones(n, np.int32), could_see=np.ones(n, np.int32),
        probability=np.array([0.6, 0.9, 0.7, 0.9]), prob_low=known, prob_high=known,
        last_seen=np.array(["2024-05-01", "2025-05-01", "NaT", "2025-06-01"], "datetime64[ms]"),
        score=np.array([0.5, 0.4, 0.8, 0.4]), score_parts={"fishable_water": np.array([1.0, 0.0, np.nan, 1.0])},
        reasons=((),) * n,
    )


def left(*filters):
    "Names of those that pass."
    return "".join(search(some_spots(), filters).spots.name)


@pytest.mark.parametrize(("one", "names"), [
    (depth_between(2.0, 4.0), "ab"), (bottom_is("soft"), "a"), (bottom_is("medium"), "b"), (bottom_is("hard"), "c"),
    (bottom_is("soft", "hard"), "ac"),
    (of_kind(["stump", "rock"]), "abd"), (above(5.0, "it"), "ab"), (at_least("probability", 0.7), "bcd"),
    (at_least("fishable_water", 0.5), "ad"), (seen_since(np.datetime64("2025-01-01")), "bd"),
    (near("hump", [box(-5, -5, 5, 5)], 5.0), "ab"), (near("hump", [], 5.0), ""),
])
def test_each_filter(one, names):
    "What is not known passes no filter that asks for it."
    assert left(one) == names


def test_filters_combine_and_tell_which_emptied_the_list():
    "All must pass; the first after which nothing is left is named, with what it passes alone."
    assert left(of_kind(["stump"]), at_least("probability", 0.8)) == "d"
    found = search(some_spots(), [of_kind(["rock"]), bottom_is("hard"), at_least("score", 0.1)])
    assert found.emptied_by == "hard bottom" and len(found.spots) == 0
    assert found.steps[1] == ("hard bottom", 1, 0) and found.steps[2][1:] == (4, 0)
    assert search(some_spots(), []).emptied_by is None


@pytest.mark.parametrize(("by", "names"), [
    ("score", "cabd"), ("probability", "bdca"), ("depth", "abcd"), ("last-seen", "dbac"), ("name", "abcd"),
])
def test_orders(by, names):
    "Best, surest, shallowest, latest or by name; equal ones by name."
    assert "".join(in_order(some_spots(), by).name) == names


def test_wrong_words_are_refused():
    "With the words that are known."
    for wrong in (lambda: bottom_is("clay"), lambda: in_order(some_spots(), "size"), lambda: depth_between(5, 4)):
        with pytest.raises(UsageError, match="write"):
            wrong()
