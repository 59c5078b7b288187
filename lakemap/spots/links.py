"""Links between hits near each other, found band by band so that a million of them fit into memory."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from lakemap.spots.settings import SpotSettings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NOISE_LABEL = -1
"""A hit that belongs to no cluster."""

BAND_ROWS = 20_000
"""Hits in one band; more would not be faster."""


def near_pairs(xy: Floats, sigma_m: Floats, settings: SpotSettings) -> Iterator[tuple[Ints, Floats]]:
    """Pairs (p, 2) of rows that are linked, each once, and their distances (p,) [m], in bands from south to north.

    Two hits are linked when no farther apart than ``link_m`` plus ``link_sigmas`` of their joint position error, and
    never beyond ``link_most_m``.
    """
    order = np.lexsort([xy[:, 0], xy[:, 1]])
    north = xy[order, 1]
    for start in range(0, len(order), BAND_ROWS):
        stop = min(start + BAND_ROWS, len(order))
        # what lies north of the band within reach is looked at from here, what lies south was looked at from there
        end = int(np.searchsorted(north, north[stop - 1] + settings.link_most_m, side="right"))
        rows = order[start:end]
        pairs = cKDTree(xy[rows]).query_pairs(settings.link_most_m, output_type="ndarray")
        pairs = pairs[pairs.min(axis=1) < stop - start]
        a, b = rows[pairs[:, 0]], rows[pairs[:, 1]]
        apart = np.hypot(*(xy[a] - xy[b]).T)
        near = apart <= settings.link_m + settings.link_sigmas * np.hypot(sigma_m[a], sigma_m[b])
        yield np.column_stack([a[near], b[near]]), apart[near]


def linked_by_bands(xy: Floats, sigma_m: Floats, settings: SpotSettings) -> Ints:
    """Cluster numbers (n,) as ``linked`` gives them for all pairs at once, without ever holding them."""
    count = len(xy)
    if settings.least_hits > 1:
        found = list(near_pairs(xy, sigma_m, settings))
        return linked(count, np.concatenate([p for p, _ in found]), np.concatenate([d for _, d in found]),
                      settings.least_hits)
    component = np.arange(count)
    for pairs, _ in near_pairs(xy, sigma_m, settings):
        rows, place = np.unique(pairs, return_inverse=True)
        # rows of the band with the components they are in already: old links count as links, too
        old, home = np.unique(component[rows], return_inverse=True)
        ends = home[place.reshape(-1, 2)]
        _, new = connected_components(_graph(ends, len(old)), False)
        least = np.full(int(new.max(initial=-1)) + 1, count)
        np.minimum.at(least, new, old)
        renamed = least[new]
        moved = np.flatnonzero(renamed != old)
        component = _renamed(component, old[moved], renamed[moved])
    return renumbered(component)


def _graph(pairs: Ints, count: int) -> coo_matrix:
    return coo_matrix((np.ones(len(pairs), np.int8), (pairs[:, 0], pairs[:, 1])), shape=(count, count))


def _renamed(component: Ints, old: Ints, new: Ints) -> Ints:
    table = np.arange(len(component))
    table[old] = new
    return np.asarray(table[component])


def linked(count: int, pairs: Ints, apart_m: Floats, least: int) -> Ints:
    """Cluster numbers (count,) from linked pairs (p, 2) and their distances (p,).

    A row with at least ``least`` rows around it, itself included, is a core; linked cores share a cluster, another row
    joins its nearest core, and the rest is NOISE_LABEL (Ester et al. 1996, DBSCAN; with least 1, connected components).
    """
    degree = np.bincount(pairs.ravel(), minlength=count) + 1
    core = degree >= least
    both = core[pairs[:, 0]] & core[pairs[:, 1]]
    _, component = connected_components(_graph(pairs[both], count), False)
    labels = np.where(core, component, NOISE_LABEL).astype(np.int64)
    to_core = np.concatenate([pairs, pairs[:, ::-1]])
    far = np.concatenate([apart_m, apart_m])
    border = ~core[to_core[:, 0]] & core[to_core[:, 1]]
    order = np.lexsort([to_core[border, 1], far[border], to_core[border, 0]])
    rows, first = np.unique(to_core[border, 0][order], return_index=True)
    labels[rows] = component[to_core[border, 1][order][first]]
    return renumbered(labels)


def renumbered(labels: Ints) -> Ints:
    """Labels counted from 0 by their first row; NOISE_LABEL stays."""
    inside = labels != NOISE_LABEL
    _, first, inverse = np.unique(labels[inside], return_index=True, return_inverse=True)
    rank = np.empty(len(first), np.int64)
    rank[np.argsort(first)] = np.arange(len(first))
    out = np.full(len(labels), NOISE_LABEL, np.int64)
    out[inside] = rank[inverse]
    return out
