"""How good a spot is: parts with names, each 0..1, weighed into one score, and the sentences that say so."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from shapely import STRtree, distance, points

from lakemap.model.bottom import Bottom
from lakemap.model.spots import Spots
from lakemap.model.surface import Surface
from lakemap.model.terrain import Features, Terrain
from lakemap.model.water import Water
from lakemap.spots.neighbours import NearFeature, features_near
from lakemap.spots.reasons import SCORED, bottom_sentences, near_sentences, score_sentence, water_sentence
from lakemap.spots.settings import SpotSettings, WeightSettings

Floats = NDArray[np.float64]

EDGE_SPAN = 0.4
"""Hardness that changes by so much beyond its error makes a full edge (from soft to hard, our own choice)."""

STRUCTURE_KINDS = ("hump", "hole", "drop-off", "ledge", "point", "saddle", "outside bend")
"""A flat is no structure to fish: it says where there is none; of a channel its bends are."""


def score_spots(
    spots: Spots, terrain: Terrain, hardness: Surface | None, settings: SpotSettings, bottom: Bottom | None = None,
    water: Water | None = None,
) -> Spots:
    """Spots with parts, score and reasons, best first, equal ones by name; expects what ``find_spots`` returned.

    Edges are those of ``bottom`` where it is known, else told from ``hardness``; ``water`` says which depths suit.
    A part that was not observed (NaN) is left out of the weighing, neither good nor bad.
    """
    if not len(spots):
        return spots
    near = features_near(spots.x_m, spots.y_m, terrain.features, settings.near_m)
    edge = _edge(spots, hardness, settings.edge_m) if bottom is None else edges_near(spots, bottom, settings.edge_m)
    parts = {
        "structure": np.array([_structure(some, terrain.features, settings.near_m) for some in near]),
        "hard_bottom": np.clip(spots.hardness, 0.0, 1.0),
        "edge": edge,
        "relief": _relief(spots, terrain, settings.relief_m),
        "bait_near": spots.score_parts.get("bait_near", np.full(len(spots), np.nan)),
        "fishable_water": suits(spots, water),
        "confidence": spots.probability,
    }
    sigma = np.full(len(spots), np.nan) if hardness is None else hardness.sigma.at(spots.x_m, spots.y_m)
    reasons = tuple(
        said + near_sentences(_others(kind, some, terrain.features), terrain.features)
        + bottom_sentences(float(spots.hardness[row]), float(sigma[row]), float(parts["edge"][row]))
        + water_sentence(float(parts["fishable_water"][row]))
        for row, (kind, said, some) in enumerate(zip(spots.kind, spots.reasons, near, strict=True))
    )
    return ranked(dataclasses.replace(spots, score_parts=parts, reasons=reasons), settings.weights)


def ranked(spots: Spots, weights: WeightSettings) -> Spots:
    """Spots with parts weighed into a score, the sentence that explains it last among their reasons, best first."""
    score = weighed(spots.score_parts, weights)
    table = weights.as_dict()
    reasons = tuple(
        (*(text for text in said if not text.startswith(SCORED)),
         score_sentence(float(score[row]), {name: float(spots.score_parts[name][row]) for name in table}, table))
        for row, said in enumerate(spots.reasons)
    )
    scored = dataclasses.replace(spots, score=score, reasons=reasons)
    return scored.take(np.lexsort([np.array(spots.name, dtype=np.str_), -np.round(score, 9)]))


def weighed(parts: Mapping[str, Floats], weights: WeightSettings) -> Floats:
    """Weighted mean (k,) of the parts that are there; 0 where none with a weight is."""
    table = np.column_stack([parts[name] for name in weights.as_dict()])
    weight = np.where(np.isfinite(table), np.array(list(weights.as_dict().values())), 0.0)
    total = weight.sum(axis=1)
    return np.asarray(np.nansum(weight * np.nan_to_num(table), axis=1) / np.where(total > 0, total, 1.0))


def _structure(near: list[NearFeature], features: Features, near_m: float) -> float:
    """Chance-like sum over the kinds near: each counts its confidence, falling to 0 at ``near_m``."""
    lacking = 1.0
    for feature in near:
        if features.kind[feature.row] in STRUCTURE_KINDS:
            lacking *= 1.0 - float(features.confidence[feature.row]) * (1.0 - feature.distance_m / near_m)
    return 1.0 - lacking


def edges_near(spots: Spots, bottom: Bottom, edge_m: float) -> Floats:
    """The strongest edge within ``edge_m`` (k,): its contrast as a share of EDGE_SPAN times how sure it is, falling to
    half at ``edge_m``; 0 without any, NaN where the bottom is not known.
    """
    known = np.isfinite(bottom.probability[0].at(spots.x_m, spots.y_m)) if bottom.probability else np.isfinite(
        spots.hardness)
    out = np.where(known, 0.0, np.nan)
    if len(bottom.edges):
        worth = np.clip(bottom.edges.contrast / EDGE_SPAN, 0.0, 1.0) * bottom.edges.probability
        places, lines = points(spots.x_m, spots.y_m), np.array(bottom.edges.lines, dtype=object)
        at, row = STRtree(lines).query(places, predicate="dwithin", distance=edge_m)
        value = worth[row] * (1.0 - 0.5 * distance(places[at], lines[row]) / edge_m)
        np.fmax.at(out, at, value)
    return out


def suits(spots: Spots, water: Water | None) -> Floats:
    """1 where the floor lies in water that suits what was sought, 0 where it does not, NaN where nothing is known."""
    told = [None if water is None else water.suits(float(depth_m)) for depth_m in spots.depth_m]
    return np.array([np.nan if one is None else float(one) for one in told])


def _edge(spots: Spots, hardness: Surface | None, edge_m: float) -> Floats:
    """How far hardness ranges within ``edge_m``, beyond two standard errors, as a share of EDGE_SPAN."""
    if hardness is None:
        return np.full(len(spots), np.nan)
    step = max(hardness.frame.pixel_m, edge_m / 8.0)
    offset = np.arange(-int(edge_m / step), int(edge_m / step) + 1) * step
    dx, dy = (grid.ravel() for grid in np.meshgrid(offset, offset))
    disc = np.hypot(dx, dy) <= edge_m
    x, y = spots.x_m[:, None] + dx[disc], spots.y_m[:, None] + dy[disc]
    around = hardness.estimate.at(x.ravel(), y.ravel()).reshape(x.shape)
    error = np.nan_to_num(hardness.sigma.at(spots.x_m, spots.y_m))
    seen = np.isfinite(around)
    span = np.where(seen, around, -np.inf).max(axis=1) - np.where(seen, around, np.inf).min(axis=1)
    return np.where(seen.sum(axis=1) > 1, np.clip((span - 2.0 * error) / EDGE_SPAN, 0.0, 1.0), np.nan)


def _relief(spots: Spots, terrain: Terrain, full_m: float) -> Floats:
    """The thing's own height or, if more, how far the floor there lies above or below its surroundings."""
    error = 2.0 * np.nan_to_num(spots.depth_sigma_m)
    shape = np.fmax(
        np.abs(terrain.position_fine.at(spots.x_m, spots.y_m)), np.abs(terrain.position_broad.at(spots.x_m, spots.y_m))
    )
    standing = np.fmax(spots.height_m, np.maximum(shape - error, 0.0))
    return np.where(np.isfinite(standing), np.clip(standing / full_m, 0.0, 1.0), np.nan)


def _others(kind: str, near: list[NearFeature], features: Features) -> list[NearFeature]:
    """Features near but for the one that is the spot itself."""
    return [some for some in near if not (features.kind[some.row] == kind and some.distance_m < 1.0)]
