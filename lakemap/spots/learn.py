"""What the catch log says of the weights: a Poisson regression of fish on hours and parts of the score, held to what
was believed before."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS
from scipy.spatial import cKDTree

from lakemap.geo.crs import project
from lakemap.model.catches import Catches
from lakemap.model.spots import Spots
from lakemap.spots.score import ranked
from lakemap.spots.settings import SpotSettings, WeightSettings

Floats = NDArray[np.float64]

LEAST_STOPS, LEAST_SPOTS, LEAST_FISH = 30, 8, 10
"""Fewer stops, spots or fish do not tell one part of the score from another (own choice)."""

FULL_SCORE_RATE = 4.0
"""Log of how many times more fish an hour a full score is believed to bring than none, before anything was caught."""

BELIEF_SPREAD = 0.6
"""Standard error of each part's coefficient before anything was caught."""

ROUNDS = 50


@dataclass(frozen=True)
class Learnt:
    """Weights after the catch log (those before where it says too little) and lines for the report."""

    weights: WeightSettings
    messages: tuple[str, ...]


def heed_catches(
    spots: Spots, catches: Catches, crs: CRS | None, settings: SpotSettings
) -> tuple[Spots, tuple[str, ...]]:
    """Scored spots, weighed anew by what was caught where enough is logged; and what is said of it."""
    if not len(catches) or not len(spots) or crs is None:
        return spots, catches.messages
    x_m, y_m = project(crs, catches.lon_deg, catches.lat_deg)
    away, at = cKDTree(np.column_stack([spots.x_m, spots.y_m])).query(np.column_stack([x_m, y_m]))
    near = (away <= settings.catch_near_m) & np.isfinite(catches.effort_h)
    learnt = learn_weights(spots, np.asarray(at)[near], catches.count[near], catches.effort_h[near], settings.weights)
    spots = spots if learnt.weights == settings.weights else ranked(spots, learnt.weights)
    return spots, (*catches.messages, *learnt.messages)


def learn_weights(
    spots: Spots, at: NDArray[np.int64], count: Floats, effort_h: Floats, before: WeightSettings
) -> Learnt:
    """New weights from stops (n,): spot each was at, fish caught, hours spent.

    Fish are Poisson with the log of their rate linear in the parts of the score; each coefficient is believed to be its
    weight's share of FULL_SCORE_RATE, give or take BELIEF_SPREAD (ridge regression; the most likely values by Newton's
    method). Where fish come in bunches, stops count for less by the ratio of Pearson's chi square to its freedom.
    Coefficients below 0 become weight 0; weights keep their sum.
    """
    spent = (f"catch log: {len(at)} stops with hours at {len(np.unique(at))} spots, {count.sum():.0f} fish")
    if len(at) < LEAST_STOPS or len(np.unique(at)) < LEAST_SPOTS or count.sum() < LEAST_FISH:
        return Learnt(before, (f"{spent}: too little to learn from, the weights stay (it takes {LEAST_STOPS} stops at "
                               f"{LEAST_SPOTS} spots and {LEAST_FISH} fish, blanks counted too)",))
    weights = before.as_dict()
    table = np.column_stack([spots.score_parts[name] for name in weights])[at]
    seen = np.isfinite(table)
    mean = np.where(seen, table, 0.0).sum(axis=0) / np.maximum(seen.sum(axis=0), 1)
    parts = np.where(seen, table - mean, 0.0)
    share = np.array(list(weights.values())) / sum(weights.values())
    belief = FULL_SCORE_RATE * share
    slope = _most_likely(parts, count, effort_h, belief, 1.0)
    rate = _rate(parts, count, effort_h, slope)
    bunched = max(1.0, float(np.sum((count - rate) ** 2 / rate)) / max(len(at) - parts.shape[1], 1))
    slope = np.maximum(_most_likely(parts, count, effort_h, belief, bunched), 0.0)
    if not slope.any():
        return Learnt(before, (f"{spent}: no part of the score goes with more fish; the weights stay",))
    after = slope / slope.sum() * sum(weights.values())
    told = ", ".join(f"{name} {old:.2f} -> {new:.2f}" for (name, old), new in zip(weights.items(), after, strict=True))
    return Learnt(WeightSettings(**dict(zip(weights, np.round(after, 4).tolist(), strict=True))),
                  (f"{spent}: weights before and after: {told}",))


def _rate(parts: Floats, count: Floats, effort_h: Floats, slope: Floats) -> Floats:
    """Expected fish (n,) at these slopes, as many in all as were caught."""
    shape = effort_h * np.exp(parts @ slope)
    return np.asarray(np.maximum(shape * count.sum() / shape.sum(), 1e-9))


def _most_likely(parts: Floats, count: Floats, effort_h: Floats, belief: Floats, bunched: float) -> Floats:
    slope = belief.copy()
    for _ in range(ROUNDS):
        rate = _rate(parts, count, effort_h, slope)
        centred = parts - (rate @ parts) / rate.sum()
        gradient = parts.T @ (count - rate) / bunched - (slope - belief) / BELIEF_SPREAD**2
        curve = (centred * rate[:, None]).T @ centred / bunched + np.eye(len(slope)) / BELIEF_SPREAD**2
        step = np.linalg.solve(curve, gradient)
        slope = slope + np.clip(step, -1.0, 1.0)
        if np.abs(step).max() < 1e-10:
            break
    return slope
