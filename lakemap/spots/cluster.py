"""Hits that show one thing, gathered by distance with their position error in mind."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from lakemap.model.hits import Hits
from lakemap.spots.settings import SpotSettings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NOISE_LABEL = -1
"""A hit that belongs to no cluster."""


def canonical_order(hits: Hits) -> Ints:
    """Row numbers of hits, oldest first: dated before undated, then running time, then place and kind."""
    undated, untimed = np.isnat(hits.time_utc), np.isnan(hits.time_s)
    stamp = np.where(undated, 0, hits.time_utc.astype("datetime64[ms]").astype(np.int64))
    keys: list[Any] = [
        hits.pass_id, hits.confidence, hits.origin, hits.kind, hits.y_m, hits.x_m,
        np.where(untimed, 0.0, hits.time_s), untimed, stamp, undated,
    ]
    return np.lexsort(keys)


def cluster(xy: Floats, sigma_m: Floats, settings: SpotSettings) -> Ints:
    """Cluster number of each hit (n,), counted from 0 by first member; NOISE_LABEL where ``least_hits`` is not met.

    Two hits at ``xy`` (n, 2) [m] are linked when no farther apart than ``link_m`` plus ``link_sigmas`` of their joint
    position error, and never beyond ``link_most_m``; clusters longer than ``spot_m`` are cut at their widest gap.
    Rows in canonical order make the same clusters whatever order the files came in.
    """
    if not len(xy):
        return np.empty(0, np.int64)
    pairs = cKDTree(xy).query_pairs(settings.link_most_m, output_type="ndarray")
    apart = np.hypot(*(xy[pairs[:, 0]] - xy[pairs[:, 1]]).T)
    reach = settings.link_m + settings.link_sigmas * np.hypot(sigma_m[pairs[:, 0]], sigma_m[pairs[:, 1]])
    near = apart <= reach
    labels = linked(len(xy), pairs[near], apart[near], settings.least_hits)
    return _cut(xy, labels, settings.spot_m)


def linked(count: int, pairs: Ints, apart_m: Floats, least: int) -> Ints:
    """Cluster numbers (count,) from linked pairs (p, 2) and their distances (p,).

    A row with at least ``least`` rows around it, itself included, is a core; linked cores share a cluster, another row
    joins its nearest core, and the rest is NOISE_LABEL (Ester et al. 1996, DBSCAN; with least 1, connected components).
    """
    degree = np.bincount(pairs.ravel(), minlength=count) + 1
    core = degree >= least
    both = core[pairs[:, 0]] & core[pairs[:, 1]]
    a, b = pairs[both].T
    _, component = connected_components(coo_matrix((np.ones(len(a), np.int8), (a, b)), shape=(count, count)), False)
    labels = np.where(core, component, NOISE_LABEL).astype(np.int64)
    to_core = np.concatenate([pairs, pairs[:, ::-1]])
    far = np.concatenate([apart_m, apart_m])
    border = ~core[to_core[:, 0]] & core[to_core[:, 1]]
    order = np.lexsort([to_core[border, 1], far[border], to_core[border, 0]])
    rows, first = np.unique(to_core[border, 0][order], return_index=True)
    labels[rows] = component[to_core[border, 1][order][first]]
    return _renumbered(labels)


def _renumbered(labels: Ints) -> Ints:
    inside = labels != NOISE_LABEL
    _, first, inverse = np.unique(labels[inside], return_index=True, return_inverse=True)
    rank = np.empty(len(first), np.int64)
    rank[np.argsort(first)] = np.arange(len(first))
    out = np.full(len(labels), NOISE_LABEL, np.int64)
    out[inside] = rank[inverse]
    return out


def members(labels: Ints) -> list[Ints]:
    """Rows of each cluster 0, 1, ..., in row order."""
    order = np.argsort(labels, kind="stable")
    bounds = np.searchsorted(labels[order], np.arange(int(labels.max(initial=NOISE_LABEL)) + 2))
    return [order[start:stop] for start, stop in pairwise(bounds.tolist())]


def _cut(xy: Floats, labels: Ints, longest_m: float) -> Ints:
    out, following = labels.copy(), int(labels.max(initial=NOISE_LABEL)) + 1
    waiting = [rows for rows in members(labels) if len(rows) > 1]
    while waiting:
        rows = waiting.pop()
        beyond = _far_part(xy[rows], longest_m)
        if beyond is not None:
            out[rows[beyond]] = following
            following += 1
            waiting += [rows[beyond], rows[~beyond]]
    return _renumbered(out)


def _far_part(xy: Floats, longest_m: float) -> NDArray[np.bool_] | None:
    """Which rows lie beyond the widest gap in the middle half of the long axis; None where short enough."""
    if np.hypot(*np.ptp(xy, axis=0)) <= longest_m:
        return None
    centred = xy - xy.mean(axis=0)
    _, axes = np.linalg.eigh(centred.T @ centred)
    along = centred @ axes[:, -1]
    span = float(np.ptp(along))
    if span <= longest_m:
        return None
    ordered = np.sort(along)
    gap, middle = np.diff(ordered), (ordered[1:] + ordered[:-1]) / 2.0
    inner = np.abs(middle - (ordered[0] + ordered[-1]) / 2.0) <= span / 4.0
    if not inner.any():
        inner[:] = True
    at = int(np.argmax(np.where(inner, gap, -1.0)))
    return np.asarray(along > middle[at])
