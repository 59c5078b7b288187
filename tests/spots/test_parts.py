"""Neighbours are told apart where the hits tell them apart, and one thing stays one."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import cKDTree

from lakemap.spots import links
from lakemap.spots.cluster import cluster
from lakemap.spots.links import linked, linked_by_bands, near_pairs
from lakemap.spots.parts import Sailed
from lakemap.spots.settings import SpotSettings

SETTINGS = SpotSettings()


def scattered(middles, count, sigma_m, rng):
    "Hits of some things, ``count`` each, in random order; places and number of the thing."
    thing = rng.permutation(np.repeat(np.arange(len(middles)), count))
    return np.asarray(middles, float)[thing] + rng.normal(0, sigma_m, (len(thing), 2)), thing


def beside(xy, pass_id, time_s, width_m=2.0):
    "Labels of hits with the passes they came from."
    sailed = Sailed(np.asarray(pass_id), np.asarray(time_s, float), np.full(len(xy), width_m))
    return cluster(np.asarray(xy, float), np.full(len(xy), 2.5), SETTINGS, sailed)


@pytest.mark.parametrize("count", [2, 6, 10, 25, 80])
def test_one_thing_stays_one(count):
    "Of 400 things placed to 2 m, fewer than one in twenty is taken apart, with many hits one in fifty."
    rng = np.random.default_rng(count)
    apart = sum(
        len(set(cluster(rng.normal(0, 2.0, (count, 2)), np.full(count, 2.0), SETTINGS))) > 1 for _ in range(400))
    assert apart <= (20 if count == 2 else 8)


def test_two_heaps_a_beam_apart_are_two_things():
    "Two things 5 m apart, twenty sharp hits each: apart in most cases; placed to 1.6 m, few are."
    rng = np.random.default_rng(2)

    def right(sigma_m):
        good = 0
        for _ in range(40):
            xy, thing = scattered([(0, 0), (5, 0)], 20, sigma_m, rng)
            label = cluster(xy, np.full(len(xy), sigma_m), SETTINGS)
            good += len(set(label)) == 2 and np.mean((label == label[0]) == (thing == thing[0])) > 0.9
        return good

    assert right(1.2) >= 30 and right(1.6) <= 20


def test_one_pass_tells_neighbours_apart():
    "Two rises of one pass 4 m apart are two things, and hits of others go to the nearer; an hour apart they are one."
    xy = [(0, 0), (4, 0), (0.5, 1), (4.5, -1), (3.6, 0.5)]
    passes, soon = [1, 1, 2, 3, 4], [0, 3, 9000, 19000, 29000]
    assert list(beside(xy, passes, soon)) == [0, 1, 0, 1, 1]
    assert set(beside(xy, passes, [0, 3600, 9000, 19000, 29000])) == {0}
    assert set(beside(xy, passes, soon, width_m=6.0)) == {0}


def test_three_things_in_a_row_by_one_pass():
    "Each its own, whatever order the rounds take them in."
    assert len(set(beside([(0, 0), (4, 0), (8, 0), (0, 1), (8, 1)], [1, 1, 1, 2, 3], [0, 2, 4, 900, 1800]))) == 3


def test_a_mark_is_no_bridge():
    "A mark placed to 8 m between two things 14 m apart joins the nearer and leaves them two."
    xy = np.array([(0, 0), (1, 0), (14, 0), (15, 0), (6, 0)], float)
    label = cluster(xy, np.array([1.0, 1.0, 1.0, 1.0, 8.0]), SETTINGS)
    assert list(label) == [0, 0, 1, 1, 0]
    assert list(cluster(xy[[0, 4]] + (0, 500), np.array([1.0, 8.0]), SETTINGS)) == [0, 0]
    assert list(cluster(np.array([(0.0, 0), (6, 0)]), np.array([8.0, 8.0]), SETTINGS)) == [0, 0]


@pytest.mark.parametrize("least", [1, 3])
def test_bands_change_nothing(monkeypatch, least):
    "Links found band by band make the clusters of all links at once."
    rng = np.random.default_rng(3)
    xy, sigma = rng.uniform(0, 150, (900, 2)), rng.uniform(0.3, 2.0, 900)
    settings = SpotSettings(least_hits=least)
    pairs = cKDTree(xy).query_pairs(settings.link_most_m, output_type="ndarray")
    apart = np.hypot(*(xy[pairs[:, 0]] - xy[pairs[:, 1]]).T)
    near = apart <= settings.link_m + settings.link_sigmas * np.hypot(*sigma[pairs].T)
    whole = linked(len(xy), pairs[near], apart[near], least)
    monkeypatch.setattr(links, "BAND_ROWS", 50)
    assert sum(len(pairs) for pairs, _ in near_pairs(xy, sigma, settings)) == near.sum()
    assert np.array_equal(linked_by_bands(xy, sigma, settings), whole)
