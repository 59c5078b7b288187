"""Clusters: against published cases, other libraries, and whatever order the hits come in."""

from __future__ import annotations

import time

import networkx
import numpy as np
import pytest
from floors import hits
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree
from sklearn.cluster import DBSCAN

from lakemap.spots.cluster import NOISE_LABEL, canonical_order, cluster, linked, sailed
from lakemap.spots.settings import SpotSettings

SQUARES = [
    (x + dx, x + dy) for x in (0.0, 10.0) for dx, dy in ((0, 0), (1, 0), (0, 1), (1, 1), (0.5, 0.5))
] + [(5.0, 5.0), (2.1, 1.0)]


def by_radius(xy, radius, least):
    "Our labels with one radius for all."
    xy = np.asarray(xy, float)
    pairs = cKDTree(xy).query_pairs(radius, output_type="ndarray")
    return linked(len(xy), pairs, np.hypot(*(xy[pairs[:, 0]] - xy[pairs[:, 1]]).T), least)


@pytest.mark.parametrize(("xy", "radius", "least", "expected"), [
    # the example in scikit-learn's documentation of DBSCAN, run with 1.9.1
    ([(1, 2), (2, 2), (2, 3), (8, 7), (8, 8), (25, 80)], 3.0, 2, [0, 0, 0, 1, 1, -1]),
    # two squares with centres, a lone point, and a border point that is no core
    (SQUARES, 1.2, 4, [0] * 5 + [1] * 5 + [-1, 0]),
])
def test_density_clusters_of_known_cases(xy, radius, least, expected):
    "Labels, noise and a border point come out as published."
    assert list(by_radius(xy, radius, least)) == expected


def test_iris_like_counts_against_scikit_learn():
    "On 400 random places core points and noise are those of scikit-learn for every least number."
    xy = np.random.default_rng(5).uniform(0, 60, (400, 2))
    for least in (1, 2, 4, 6):
        mine, theirs = by_radius(xy, 2.5, least), DBSCAN(eps=2.5, min_samples=least).fit(xy)
        assert np.array_equal(mine == NOISE_LABEL, theirs.labels_ == NOISE_LABEL)
        core = theirs.core_sample_indices_
        pairs = set(zip(mine[core], theirs.labels_[core], strict=True))
        assert len(pairs) == len(set(mine[core])) == len(set(theirs.labels_[core]))


def test_components_against_networkx():
    "With one hit enough, clusters are the connected components of the links."
    xy = np.random.default_rng(6).uniform(0, 100, (500, 2))
    graph = networkx.Graph()
    graph.add_nodes_from(range(len(xy)))
    graph.add_edges_from(cKDTree(xy).query_pairs(3.0))
    labels = by_radius(xy, 3.0, 1)
    mine = {frozenset(np.flatnonzero(labels == number)) for number in np.unique(labels)}
    assert mine == {frozenset(part) for part in networkx.connected_components(graph)}


def test_vague_positions_reach_farther():
    "Hits 6 m apart are one thing when each is placed to 2 m, two things when each is placed to 0.5 m."
    xy = np.array([[0.0, 0.0], [6.0, 0.0]])
    assert len(set(cluster(xy, np.array([2.0, 2.0]), SpotSettings()))) == 1
    assert len(set(cluster(xy, np.array([0.5, 0.5]), SpotSettings()))) == 2
    assert len(set(cluster(xy * 10, np.array([90.0, 90.0]), SpotSettings()))) == 2


def test_a_weed_edge_is_cut_into_spots():
    "A chain of 200 hits over 400 m does not become one spot: no piece is longer than spot_m, all hits are kept."
    xy = np.column_stack([np.arange(200) * 2.0, 0.3 * np.sin(np.arange(200))])
    labels = cluster(xy, np.full(200, 1.0), SpotSettings())
    lengths = [np.ptp(xy[labels == number, 0]) for number in np.unique(labels)]
    assert max(lengths) <= 15.0 and 27 <= len(lengths) <= 80 and NOISE_LABEL not in labels


def test_a_long_chain_is_cut_at_its_widest_gap():
    "Two groups 9 m wide and 5 m apart, linked by vague positions, are cut between them."
    xy = np.array([[x, 0.0] for x in (0, 3, 6, 9, 14, 17, 20, 23)], float)
    assert list(cluster(xy, np.full(8, 2.0), SpotSettings())) == [0] * 4 + [1] * 4


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10_000), count=st.integers(2, 60), wide=st.floats(5.0, 80.0), vague=st.booleans())
def test_order_of_input_does_not_matter(seed, count, wide, vague):
    "Hits of several passes and marks, sharp and vague, thick or thin: in any order the same ones stand together."
    rng = np.random.default_rng(seed)
    drawn = [{"x": x, "y": y, "sigma": 8.0 if vague and i % 5 == 0 else 1.5, "minute": i % 7, "pass": i % 4 - 1}
             for i, (x, y) in enumerate(rng.uniform(0, wide, (count, 2)))]
    whole = hits(drawn)

    def groups(some):
        some = some.take(canonical_order(some))
        labels = cluster(np.column_stack([some.x_m, some.y_m]), some.position_sigma_m, SpotSettings(),
                         sailed(some, SpotSettings()))
        return list(zip(labels.tolist(), some.x_m.tolist(), strict=True))

    assert groups(whole.take(rng.permutation(count))) == groups(whole)


def test_canonical_order_puts_dated_hits_first():
    "Oldest first; hits without a date come last."
    some = hits([{"x": 0, "y": 0, "minute": None}, {"x": 1, "y": 0, "minute": 5}, {"x": 2, "y": 0, "minute": 3}])
    assert list(canonical_order(some)) == [2, 1, 0]


def test_no_hits_no_clusters():
    "Nothing in, nothing out."
    assert len(cluster(np.empty((0, 2)), np.empty(0), SpotSettings())) == 0


def test_a_hundred_thousand_hits_take_seconds():
    "100 000 hits in a lake of 2 x 2 km."
    xy = np.random.default_rng(8).uniform(0, 2000, (100_000, 2))
    started = time.perf_counter()
    labels = cluster(xy, np.full(len(xy), 1.5), SpotSettings())
    assert time.perf_counter() - started < 20
    assert labels.max() > 1000
