"""Evidence counts both ways: passes that showed a thing, and passes over it that did not."""

from __future__ import annotations

import numpy as np
import pytest
from floors import NORTH, WEST, hits, passes
from numpy.testing import assert_allclose
from scipy.stats import norm

from lakemap.spots.evidence import Looks, mean_places, weigh
from lakemap.spots.passing import Passing, Shows, believed, fit_shows, passes_by
from lakemap.spots.settings import SpotSettings

SETTINGS = SpotSettings(prior=0.2, false_alarm=0.03)
NOBODY = Looks.none()


def looked(place, pass_id, chance):
    "Looks that count as having gone over the place."
    return Looks(np.asarray(place), np.asarray(pass_id), np.asarray(chance), np.ones(len(place), bool))


def looks_at(place, sigma_m, depth_m, soundings, settings, height_m=np.nan):
    "Looks as beliefs have them."
    found = passes_by(place, sigma_m, depth_m, np.full(len(place), height_m), soundings, settings)
    return found.looks(believed(len(soundings.logs), settings))


def looks_of(offsets, depth=8.0, sigma=1.0, beam=20.0):
    "One place at the corner and passes straight past it at some distances."
    lines = [((-50.0, away), (50.0, away)) for away in offsets]
    soundings = passes(lines, beam_deg=beam, position_sigma_m=sigma)
    place = np.array([[WEST + 1.0, NORTH]])
    return looks_at(place, np.array([0.0]), np.array([depth]), soundings, SETTINGS)


def test_only_passes_whose_footprint_covered_the_place_could_see():
    "At 8 m a 20 deg beam lights 1.41 m to each side: over it likely, 1.41 m off even, 10 m off not."
    looks = looks_of([0.0, 8.0 * np.tan(np.radians(10.0)), 10.0])
    chance = dict(zip(looks.pass_id.tolist(), looks.chance.tolist(), strict=True))
    radius = 8.0 * np.tan(np.radians(10.0))
    assert chance[0] == pytest.approx(norm.cdf(radius) - norm.cdf(-radius), abs=1e-6)
    assert chance[1] == pytest.approx(0.5, abs=0.01)
    assert chance.get(2, 0.0) < 1e-6
    assert set(looks.pass_id[looks.over].tolist()) == {0, 1}


def test_a_wider_beam_and_deeper_water_see_more():
    "The chance to have seen a place 2 m aside grows with beam and depth."
    narrow, wide, deep = (
        looks_of([2.0], depth, 0.5, beam).chance.sum() for depth, beam in ((5, 9), (5, 40), (25, 9))
    )
    assert narrow < 0.05 < wide and deep > narrow


def test_distance_is_to_the_way_not_to_its_soundings():
    "A boat sounding every 10 m passed right over a place between two soundings."
    soundings = passes([((-50.0, 0.0), (50.0, 0.0))], step_m=10.0, position_sigma_m=0.1)
    place = np.array([[WEST + 5.0, NORTH]])
    assert looks_at(place, np.array([0.0]), np.array([8.0]), soundings, SETTINGS).chance[0] > 0.99


def test_one_hit_by_bayes_by_hand():
    "Prior 0.2, one pass with confidence 1: odds 0.25 times 0.7 / 0.03."
    evidence = weigh(1, np.array([0]), hits([{"x": 0, "y": 0, "pass": 3, "confidence": 1.0}]), NOBODY, SETTINGS)
    odds = 0.25 * 0.7 / 0.03
    assert evidence.probability[0] == pytest.approx(odds / (1 + odds), abs=1e-9)
    assert (evidence.seen[0], evidence.could_see[0]) == (1, 1)


def test_a_miss_by_bayes_by_hand():
    "A pass surely over it that showed nothing multiplies the odds by 0.3 / 0.97."
    seen = hits([{"x": 0, "y": 0, "pass": 0, "confidence": 1.0}])
    looks = looked([0, 0], [0, 1], [1.0, 1.0])
    evidence = weigh(1, np.array([0]), seen, looks, SETTINGS)
    odds = 0.25 * 0.7 / 0.03 * 0.3 / 0.97
    assert evidence.probability[0] == pytest.approx(odds / (1 + odds), abs=1e-9)
    assert (evidence.seen[0], evidence.could_see[0]) == (1, 2)


def test_hits_raise_and_misses_lower():
    "Two passes say more than one; several passes over it without a sign say less; the interval holds the value."
    one = [{"x": 0, "y": 0, "pass": 0}]
    two = [*one, {"x": 0, "y": 0, "pass": 1}]
    missed = looked(np.zeros(3, int), [5, 6, 7], np.full(3, 0.9))
    p = [
        weigh(1, np.zeros(len(some), int), hits(some), looks, SETTINGS)
        for some, looks in ((one, missed), (one, NOBODY), (two, NOBODY))
    ]
    assert p[0].probability[0] < 0.5 < p[1].probability[0] < p[2].probability[0]
    for evidence in p:
        assert 0 < evidence.low[0] < evidence.probability[0] < evidence.high[0] < 1


def test_ten_hits_of_one_pass_are_one_witness():
    "A pass that lingered over a thing counts once, by its best hit."
    many = hits([{"x": 0, "y": 0, "pass": 4, "confidence": 0.5 if i else 0.8} for i in range(10)])
    once = hits([{"x": 0, "y": 0, "pass": 4, "confidence": 0.8}])
    a = weigh(1, np.zeros(10, int), many, NOBODY, SETTINGS)
    b = weigh(1, np.zeros(1, int), once, NOBODY, SETTINGS)
    assert a.probability[0] == b.probability[0] and a.seen[0] == 1


def test_probabilities_are_calibrated_on_their_own_world():
    "Places drawn by prior, detection and false alarm: of those said to be p likely, about p are there."
    rng = np.random.default_rng(9)
    count, looks = 4000, 4
    there = rng.random(count) < SETTINGS.prior
    shown = rng.random((count, looks)) < np.where(there, SETTINGS.detection, SETTINGS.false_alarm)[:, None]
    place, pass_id = np.nonzero(shown)
    seen = hits([{"x": 0, "y": 0, "pass": int(number), "confidence": 1.0} for number in pass_id])
    all_place, all_pass = (grid.ravel() for grid in np.meshgrid(np.arange(count), np.arange(looks), indexing="ij"))
    said = weigh(count, place, seen, looked(all_place, all_pass, np.ones(count * looks)), SETTINGS).probability
    for low, high in ((0.0, 0.2), (0.2, 0.8), (0.8, 1.0)):
        those = (said >= low) & (said < high)
        if those.sum() > 100:
            assert there[those].mean() == pytest.approx(said[those].mean(), abs=0.05)


def test_position_is_the_weighted_mean_and_passes_share_their_error():
    "A hit placed to 1 m counts four times one placed to 2 m; five hits of one pass are no better than one."
    some = hits([{"x": 0, "y": 0, "sigma": 1.0, "pass": 0}, {"x": 5, "y": 0, "sigma": 2.0, "pass": 1}])
    xy, sigma = mean_places(1, np.array([0, 0]), some)
    assert_allclose(xy[0] - (WEST, NORTH), [1.0, 0.0], atol=1e-6)
    assert sigma[0] == pytest.approx(1 / np.sqrt(1 + 0.25))
    lingering = hits([{"x": 0, "y": 0, "sigma": 2.0, "pass": 0}] * 5)
    assert mean_places(1, np.zeros(5, int), lingering)[1][0] == pytest.approx(2.0)


def test_a_tall_thing_shows_wider_and_a_low_one_narrower():
    "Level grows with height; a low thing far aside comes in after the floor below, however strong it is."
    shows = believed(1, SETTINGS)
    log = np.zeros(3, int)
    low, usual, tall = shows.half_width_m(np.full(3, 1.0), np.full(3, 6.0), np.array([0.32, 0.8, 2.0]), log)
    assert usual == pytest.approx(1.0) and low < 0.7 and tall == pytest.approx(np.sqrt(1 + 10 / 6 * np.log10(2.5)))
    flat = shows.half_width_m(np.full(1, 3.0), np.full(1, 6.0), np.array([0.31]), log[:1])
    assert flat[0] == pytest.approx(1.5)
    assert shows.half_width_m(np.full(1, 1.0), np.full(1, 6.0), np.array([np.nan]), log[:1])[0] == pytest.approx(1.0)


@pytest.mark.parametrize(("factor", "detection"), [(0.6, 0.8), (1.6, 0.5)])
def test_width_and_detection_are_learnt_from_looks(factor, detection):
    "From 3000 looks drawn with another gain and detection than believed, both come back; from ten, beliefs stay."
    rng = np.random.default_rng(11)
    n = 3000
    passing = Passing(
        np.arange(n), np.arange(n), rng.uniform(0, 5, n), np.full(n, 2.0), np.full(n, 0.5), np.full(n, 11.0),
        np.full(n, 0.8), np.zeros(n, int))
    chance = passing.looks(Shows(np.array([factor]), detection)).chance
    shown = rng.random(n) < detection * chance + SETTINGS.false_alarm * (1 - chance)
    found = fit_shows(passing, shown, np.ones(n, bool), 1, SETTINGS)
    assert found.looks == n and abs(found.factor[0] - factor) <= 0.15 and abs(found.detection - detection) <= 0.06
    few = fit_shows(passing, shown, np.arange(n) < 10, 1, SETTINGS)
    assert few.looks == 0 and few.factor[0] == 1.0 and few.detection == SETTINGS.detection


def test_no_passes_at_all():
    "Marks alone, without a log: nobody could see, and the mark still counts."
    soundings = passes([((0, 0), (10, 0))]).with_columns(pass_id=np.full(6, -1))
    looks = looks_at(np.array([[WEST, NORTH]]), np.ones(1), np.array([5.0]), soundings, SETTINGS)
    evidence = weigh(1, np.array([0]), hits([{"x": 0, "y": 0, "kind": "stump"}]), looks, SETTINGS)
    assert evidence.could_see[0] == 0 and evidence.probability[0] > 0.5
