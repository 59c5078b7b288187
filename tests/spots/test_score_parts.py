"""Parts of the score that other stages tell of: edges of the bottom, water that suits, fish that move; stability."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from floors import frame, hits, surface
from scipy.stats import spearmanr
from shapely.geometry import LineString
from spots.test_learn import many_spots
from spots.test_search import some_spots
from spots.test_spots import LEVEL, LEVEL_TERRAIN, seen_twice, spots_of

from lakemap.model.bottom import Bottom, BottomEdges
from lakemap.model.frame import Grid
from lakemap.model.water import Water
from lakemap.spots import SpotSettings, find_spots, score_spots
from lakemap.spots.neighbours import freshness
from lakemap.spots.reasons import score_sentence
from lakemap.spots.score import edges_near, ranked, suits
from lakemap.spots.settings import WeightSettings


def bottom_with(lines, contrast, probability):
    "A bottom known everywhere, with some edges."
    on = frame((100, 100), 2.0)
    whole = Grid(on, np.ones(on.shape, np.float32), "hard", "1")
    one = np.ones(len(lines))
    edges = BottomEdges(tuple(lines), np.array(contrast), one, one, np.array(probability))
    return Bottom(("hard",), (whole,), whole, edges)


def test_an_edge_counts_by_contrast_sureness_and_distance():
    "Full contrast, surely there, right here: 1; at the end of reach half; beyond 0; the strongest of several counts."
    x, y = 500_050.0, 4_999_950.0
    spots = replace(some_spots(), x_m=np.array([x, x + 15, x + 16, x]), y_m=np.array([y, y, y, y - 500]))
    bottom = bottom_with([LineString([(x, y - 9), (x, y + 9)])] * 2, [0.4, 0.2], [1.0, 1.0])
    found = edges_near(spots, bottom, 15.0)
    assert list(found[:3]) == pytest.approx([1.0, 0.5, 0.0]) and np.isnan(found[3])
    assert edges_near(spots, bottom_with(bottom.edges.lines, [0.1, 0.2], [0.9, 0.5]), 15.0)[0] == pytest.approx(0.25)
    assert list(edges_near(spots, bottom_with([], [], []), 15.0)[:3]) == [0.0, 0.0, 0.0]


def test_water_that_suits_counts_and_is_said():
    "In the band 1, beside it 0, below the profile or without one not known."
    day = np.datetime64("2025-07-01")
    water = Water(day, day, deepest_m=10.0, bands=((4.0, 8.0),))
    spots = replace(some_spots(), depth_m=np.array([5.0, 2.0, 12.0, np.nan]))
    assert np.array_equal(suits(spots, water), [1.0, 0.0, np.nan, np.nan], equal_nan=True)
    assert np.isnan(suits(spots, None)).all()
    found = find_spots(hits(seen_twice()), LEVEL_TERRAIN, many_soundings(), LEVEL, None, SpotSettings())
    scored = score_spots(found, LEVEL_TERRAIN, None, SpotSettings(), None, water)
    assert "The floor lies in water that suits." in scored.reasons[0]


def many_soundings():
    "Two passes that cross at the thing."
    from floors import passes

    return passes([((0, -100), (290, -100)), ((100, 0), (100, -290))])


def test_signs_of_fish_fade():
    "Half after each half-life; one without a date counts half; the sentence tells how much is left."
    minutes = [0, -30 * 24 * 60, -60 * 24 * 60, None]
    fish = hits([{"x": 0, "y": 0, "kind": "fish", "minute": minute} for minute in minutes])
    assert list(freshness(fish, fish.time_utc[0], 30.0)) == pytest.approx([1.0, 0.5, 0.25, 0.5])
    old = [{"x": 100, "y": -100, "kind": "fish", "minute": -60 * 24 * 60} for _ in range(4)]
    spots = spots_of(hits([*seen_twice(), *old]))
    assert spots.score_parts["bait_near"][0] == pytest.approx(1 - np.exp(-1 / 1.5), abs=0.01)
    assert "4 signs of bait or fish within {30.000 m}, faded with time to 1.0." in spots.reasons[0]
    gone = spots_of(hits([*seen_twice(), {**old[0], "minute": -200 * 24 * 60}]))
    assert "One sign of bait or fish within {30.000 m}, seen so long ago that it no longer counts." in gone.reasons[0]


def test_every_score_is_explained_in_a_sentence():
    "What counts most, and what least; parts without weight or reading are not told of."
    said = score_sentence(0.6, {"relief": 0.5, "edge": 1.0, "structure": np.nan, "confidence": 0.1, "bait_near": 1.0},
                          {"relief": 0.2, "edge": 0.2, "structure": 0.2, "confidence": 0.2, "bait_near": 0.0})
    assert said == "Scored 0.60: most for edge (1.00) and relief (0.50), least for confidence (0.10)."
    assert score_sentence(0.0, {"edge": np.nan}, {"edge": 1.0}) == "Scored 0.00: nothing that counts was observed."
    assert all(reasons[-1].startswith("Scored ") for reasons in spots_of(hits(seen_twice())).reasons)


def test_ranking_is_stable_under_small_changes():
    "Parts that each move by a twentieth leave the order much as it was: rank correlation 0.9, six of ten best stay."
    rng = np.random.default_rng(6)
    spots = ranked(many_spots(100, rng), WeightSettings())
    for _ in range(20):
        moved = {name: np.clip(part + rng.normal(0, 0.05, 100), 0, 1) for name, part in spots.score_parts.items()}
        again = ranked(replace(spots, score_parts=moved), WeightSettings())
        place = [again.name.index(name) for name in spots.name]
        assert spearmanr(np.arange(100), place).statistic > 0.9
        assert len(set(again.name[:10]) & set(spots.name[:10])) >= 6


def test_hardness_surface_is_asked_where_no_bottom_is_known():
    "Without classes the edge comes from the surface, as before."
    east = (np.arange(150) + 0.5) * 2.0
    hardness = surface(np.where(np.broadcast_to(east, (150, 150)) < 108, 0.85, 0.15), sigma=0.05, name="hardness")
    assert spots_of(hits(seen_twice()), hardness=hardness).score_parts["edge"][0] == 1.0
