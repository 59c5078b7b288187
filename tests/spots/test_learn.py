"""What the catch log does to the weights: learns where there is enough, says so, stays where there is too little."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from spots.test_search import some_spots

from lakemap.model.catches import Catches
from lakemap.spots.learn import heed_catches, learn_weights
from lakemap.spots.score import ranked
from lakemap.spots.settings import SpotSettings, WeightSettings

BEFORE = WeightSettings()
NAMES = list(BEFORE.as_dict())


def many_spots(count, rng):
    "Spots with parts drawn at random."
    few = some_spots()
    spots = few.take(np.arange(count) % len(few))
    parts = {name: rng.random(count) for name in NAMES}
    return replace(spots, name=tuple(f"spot-{i:03d}" for i in range(count)), x_m=np.arange(count) * 100.0,
                   score_parts=parts)


def fished(spots, stops, slopes, rng, bunch=None):
    "Stops at random spots: fish drawn with the log of their rate linear in some parts; hours drawn too."
    at = rng.integers(0, len(spots), stops)
    hours = rng.uniform(0.25, 3.0, stops)
    rate = 0.3 * hours * np.exp(sum(slope * spots.score_parts[name][at] for name, slope in slopes.items()))
    if bunch:
        rate = rate * rng.gamma(bunch, 1 / bunch, stops)
    return at, rng.poisson(rate).astype(float), hours


def test_the_part_that_brings_fish_gains_weight():
    "Fish come with edges and not with relief: the first gains, the second loses, the sum stays, before and after said."
    rng = np.random.default_rng(1)
    spots = many_spots(30, rng)
    learnt = learn_weights(spots, *fished(spots, 300, {"edge": 3.0}, rng), BEFORE)
    after = learnt.weights
    assert after.edge > 2 * BEFORE.edge and after.relief < 0.6 * BEFORE.relief
    assert sum(after.as_dict().values()) == pytest.approx(sum(BEFORE.as_dict().values()), abs=1e-3)
    assert "weights before and after" in learnt.messages[0] and f"edge 0.15 -> {after.edge:.2f}" in learnt.messages[0]


def test_bunched_fish_move_weights_less():
    "Schools make the same stops say less than single fish do."
    moved = []
    for bunch in (None, 0.3):
        rng = np.random.default_rng(2)
        spots = many_spots(30, rng)
        gains = [learn_weights(spots, *fished(spots, 60, {"edge": 3.0}, rng, bunch), BEFORE).weights.edge
                 for _ in range(20)]
        moved.append(np.mean(gains) - BEFORE.edge)
    assert moved[0] > 1.3 * moved[1] > 0


@pytest.mark.parametrize(("stops", "spots", "rate"), [(29, 30, 3.0), (60, 5, 3.0), (60, 30, -9.0)])
def test_too_little_is_said_and_changes_nothing(stops, spots, rate):
    "Too few stops, spots or fish: the weights stay, and what it takes is told."
    rng = np.random.default_rng(3)
    some = many_spots(spots, rng)
    learnt = learn_weights(some, *fished(some, stops, {"edge": rate}, rng), BEFORE)
    assert learnt.weights == BEFORE and "too little to learn from" in learnt.messages[0]


def test_the_ranking_follows_and_its_sentence_too():
    "Stops near spots count, others and those without hours do not; scores, order and sentence follow the weights."
    from pyproj import CRS

    from lakemap.geo.crs import unproject

    rng = np.random.default_rng(5)
    spots = ranked(replace(many_spots(30, rng), x_m=500_000 + np.arange(30) * 100.0, y_m=np.full(30, 5e6)), BEFORE)
    at, count, hours = fished(spots, 200, {"edge": 4.0}, rng)
    lon, lat = unproject(CRS.from_epsg(32615), spots.x_m[at] + 5, spots.y_m[at])
    catches = Catches(lon, lat, count, hours, np.full(200, np.nan), ("",) * 200, ("",) * 200, ("c.csv",) * 200)
    after, said = heed_catches(spots, catches, CRS.from_epsg(32615), SpotSettings())
    assert len(said) == 1 and "200 stops" in said[0]
    assert list(after.score) == sorted(after.score, reverse=True) and after.name != spots.name
    assert all(sum(text.startswith("Scored") for text in reasons) == 1 for reasons in after.reasons)
    far = replace(catches, lat_deg=lat + 0.01)
    assert heed_catches(spots, far, CRS.from_epsg(32615), SpotSettings())[0] is spots
    assert heed_catches(spots, Catches(), CRS.from_epsg(32615), SpotSettings()) == (spots, ())
