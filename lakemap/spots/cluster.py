"""Hits that show one thing, gathered by distance with their position error in mind."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lakemap.model.hits import Hits
from lakemap.physics.beam import footprint_diameter_m
from lakemap.spots.links import NOISE_LABEL, linked, linked_by_bands, renumbered
from lakemap.spots.parts import Sailed, taken_apart
from lakemap.spots.settings import SpotSettings

__all__ = ["NOISE_LABEL", "canonical_order", "cluster", "linked", "members", "sailed"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

VAGUE_M = 5.0
"""A hit placed no better joins the things around it, but is no bridge between them (own choice)."""

def canonical_order(hits: Hits) -> Ints:
    """Row numbers of hits, oldest first: dated before undated, then running time, then place and kind."""
    undated, untimed = np.isnat(hits.time_utc), np.isnan(hits.time_s)
    stamp = np.where(undated, 0, hits.time_utc.astype("datetime64[ms]").astype(np.int64))
    keys: list[Any] = [
        hits.pass_id, hits.confidence, hits.origin, hits.kind, hits.y_m, hits.x_m,
        np.where(untimed, 0.0, hits.time_s), untimed, stamp, undated,
    ]
    return np.lexsort(keys)


def cluster(xy: Floats, sigma_m: Floats, settings: SpotSettings, sailed: Sailed | None = None) -> Ints:
    """Cluster number of each hit (n,), counted from 0 by first member; NOISE_LABEL where ``least_hits`` is not met.

    Hits at ``xy`` (n, 2) [m] are linked as ``links.near_pairs`` says; groups that are more than one thing are taken
    apart again (parts.py); a vague hit, such as most marks, joins the thing it is nearest to, measured by their errors.
    Rows in canonical order make the same clusters whatever order the files came in.
    """
    sailed = Sailed.unknown(len(xy)) if sailed is None else sailed
    out = np.full(len(xy), NOISE_LABEL, np.int64)
    sharp, vague = np.flatnonzero(sigma_m <= VAGUE_M), np.flatnonzero(sigma_m > VAGUE_M)
    out[sharp] = _gathered(xy[sharp], sigma_m[sharp], sailed.take(sharp), settings)
    out[vague] = _nearest_thing(xy, sigma_m, out, vague, settings)
    alone = vague[out[vague] == NOISE_LABEL]
    rest = _gathered(xy[alone], sigma_m[alone], sailed.take(alone), settings)
    out[alone] = np.where(rest == NOISE_LABEL, NOISE_LABEL, rest + int(out.max(initial=NOISE_LABEL)) + 1)
    return renumbered(out)


def sailed(hits: Hits, settings: SpotSettings) -> Sailed:
    """What each hit came from; the beam's width at its floor where that is known."""
    width = footprint_diameter_m(np.nan_to_num(hits.depth_m), settings.beam_deg)
    return Sailed(hits.pass_id.astype(np.int64), hits.time_s, np.asarray(width, np.float64))


def _gathered(xy: Floats, sigma_m: Floats, sailed: Sailed, settings: SpotSettings) -> Ints:
    if not len(xy):
        return np.empty(0, np.int64)
    labels = linked_by_bands(xy, sigma_m, settings)
    inside = np.flatnonzero(labels != NOISE_LABEL)
    labels[inside] = taken_apart(xy[inside], sigma_m[inside], labels[inside], sailed.take(inside), settings)
    return renumbered(labels)


def _nearest_thing(xy: Floats, sigma_m: Floats, labels: Ints, rows: Ints, settings: SpotSettings) -> Ints:
    """Label of the hit nearest to each of ``rows`` among those in a cluster and within reach; NOISE_LABEL without."""
    known = np.flatnonzero(labels != NOISE_LABEL)
    if not len(known) or not len(rows):
        return np.full(len(rows), NOISE_LABEL, np.int64)
    away, at = cKDTree(xy[known]).query(xy[rows])
    nearest = known[at]
    reach = settings.link_m + settings.link_sigmas * np.hypot(sigma_m[rows], sigma_m[nearest])
    return np.where(away <= np.minimum(reach, settings.link_most_m), labels[nearest], NOISE_LABEL)


def members(labels: Ints) -> list[Ints]:
    """Rows of each cluster 0, 1, ..., in row order."""
    order = np.argsort(labels, kind="stable")
    bounds = np.searchsorted(labels[order], np.arange(int(labels.max(initial=NOISE_LABEL)) + 2))
    return [order[start:stop] for start, stop in pairwise(bounds.tolist())]
