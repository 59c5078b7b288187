"""What speaks for a spot and what against it: passes that showed it, passes that went over it and did not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix
from scipy.spatial import cKDTree
from scipy.special import expit, logit, ndtr

from lakemap.model.hits import FROM_MARK, Hits
from lakemap.model.soundings import Soundings
from lakemap.physics.beam import footprint_diameter_m
from lakemap.spots.settings import SpotSettings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

LONGEST_STEP_M = 20.0
"""Between soundings farther apart the boat's way is not known."""

PRIOR_SPREAD, LOOK_SPREAD = 0.7, 0.35
"""Standard error of the prior's log odds (a factor of two), and of each look's weight as a share of itself."""


@dataclass(frozen=True)
class Looks:
    """k pairs of a place and a pass that came near it: place number, pass, chance that the footprint covered it, and
    whether the place was within the footprint's radius plus one joint position error: the pass went over it.
    """

    place: Ints
    pass_id: Ints
    chance: Floats
    over: NDArray[np.bool_]

    @classmethod
    def none(cls) -> Looks:
        """Nobody looked."""
        return cls(np.empty(0, np.int64), np.empty(0, np.int64), np.empty(0), np.empty(0, bool))


@dataclass(frozen=True)
class Evidence:
    """For each place (k,): passes that showed it, passes that could have, probability with its 95 % interval."""

    seen: NDArray[np.int32]
    could_see: NDArray[np.int32]
    probability: Floats
    low: Floats
    high: Floats


def looks_at(xy: Floats, sigma_m: Floats, depth_m: Floats, soundings: Soundings, settings: SpotSettings) -> Looks:
    """Which passes went over each place, and with what chance the place lay in the footprint.

    ``xy`` (k, 2) and position error (k,) [m]; ``depth_m`` (k,) of the floor there. The footprint's radius comes from
    depth and beam; distance is to the boat's line, not only to its soundings; the joint position error is normal.
    """
    rows = np.flatnonzero(soundings.usable() & (soundings.pass_id >= 0) & np.isfinite(soundings.x_m))
    if not len(rows) or not len(xy):
        return Looks.none()
    track = np.column_stack([soundings.x_m[rows], soundings.y_m[rows]])
    beam = soundings.per_log("beam_deg", settings.beam_deg)[rows]
    error = np.nan_to_num(soundings.position_sigma_m[rows].astype(np.float64))
    reach = footprint_diameter_m(depth_m, float(beam.max())) / 2.0 + 2.0 * np.hypot(sigma_m, float(error.max()))
    found = cKDTree(track).query_ball_point(xy, np.nan_to_num(reach) + LONGEST_STEP_M / 2.0, return_sorted=True)
    place = np.repeat(np.arange(len(xy)), [len(near) for near in found])
    near = np.concatenate([np.asarray(some, np.int64) for some in found])
    away = _distance_to_way(xy[place], track, soundings.pass_id[rows], near)
    radius = np.nan_to_num(footprint_diameter_m(depth_m[place], beam[near]) / 2.0)
    joint = np.hypot(sigma_m[place], error[near])
    chance = _covered(away, radius, joint)
    passes = soundings.pass_id[rows][near].astype(np.int64)
    best = _best_of_pass(place, passes, chance)
    return Looks(place[best], passes[best], chance[best], (away <= radius + joint)[best])


def _covered(away_m: Floats, radius_m: Floats, sigma_m: Floats) -> Floats:
    sigma = np.maximum(sigma_m, 1e-3)
    return np.asarray(ndtr((radius_m - away_m) / sigma) - ndtr((-radius_m - away_m) / sigma))


def _distance_to_way(xy: Floats, track: Floats, pass_id: NDArray[np.int32], near: Ints) -> Floats:
    """Distance of each place (m, 2) to the piece of way that starts at sounding ``near`` (m,)."""
    start, end = track[near], track[np.minimum(near + 1, len(track) - 1)]
    way = end - start
    length = np.hypot(*way.T)
    joined = (pass_id[near] == pass_id[np.minimum(near + 1, len(track) - 1)]) & (length <= LONGEST_STEP_M)
    along = np.clip(np.sum((xy - start) * way, axis=1) / np.maximum(length, 1e-9) ** 2, 0.0, 1.0)
    foot = start + np.where(joined, along, 0.0)[:, None] * way
    return np.asarray(np.hypot(*(xy - foot).T))


def _best_of_pass(place: Ints, pass_id: Ints, value: Floats) -> Ints:
    """Row with the greatest value for each place and pass, sorted by these two."""
    order = np.lexsort([-value, pass_id, place])
    first = np.ones(len(place), bool)
    first[1:] = (np.diff(place[order]) != 0) | (np.diff(pass_id[order]) != 0)
    return order[first]


def weigh(count: int, place: Ints, hits: Hits, looks: Looks, settings: SpotSettings) -> Evidence:
    """Probability of a thing at each of ``count`` places, from hits (place of each in ``place``) and looks.

    Log odds add up (Bayes, looks taken as independent): the prior; for each pass or mark that showed it,
    log(1 + c (detection / false_alarm - 1)) with the hit's confidence c; for each pass that did not,
    log((1 - detection w) / (1 - false_alarm w)) with its chance w of having covered the place. The interval takes the
    weights of prior and looks as known to PRIOR_SPREAD and LOOK_SPREAD.
    """
    witness, shown_place, shown_pass, confidence = _witnesses(place, hits)
    ratio = settings.detection / settings.false_alarm
    gain = np.log1p(np.clip(confidence, 0.0, 1.0) * (ratio - 1.0))
    passes = shown_pass[witness]
    showed = _pairs_in(looks.place, looks.pass_id, shown_place[witness], passes)
    missed = np.where(showed, 0.0, np.log1p(-settings.detection * looks.chance) - np.log1p(
        -settings.false_alarm * looks.chance))
    odds = logit(settings.prior) + _sum(shown_place, gain, count) + _sum(looks.place, missed, count)
    spread = 1.96 * np.sqrt(PRIOR_SPREAD**2 + LOOK_SPREAD**2 * (
        _sum(shown_place, gain**2, count) + _sum(looks.place, missed**2, count)))
    seen = np.bincount(shown_place[witness], minlength=count)
    others = np.bincount(looks.place[~showed & looks.over], minlength=count)
    return Evidence(
        seen.astype(np.int32), (seen + others).astype(np.int32), expit(odds), expit(odds - spread), expit(odds + spread)
    )


def _witnesses(place: Ints, hits: Hits) -> tuple[NDArray[np.bool_], Ints, Ints, Floats]:
    """One row for each place and pass with its best confidence; a mark is a witness of its own (pass numbers < -1)."""
    source, confidence = sources_of(hits), np.nan_to_num(hits.confidence)
    best = _best_of_pass(place, source, confidence)
    return source[best] >= 0, place[best], source[best], confidence[best]


def _pairs_in(place: Ints, pass_id: Ints, shown_place: Ints, shown_pass: Ints) -> NDArray[np.bool_]:
    width = int(max(pass_id.max(initial=0), shown_pass.max(initial=0))) + 1
    return np.isin(place * width + pass_id, shown_place * width + shown_pass)


def _sum(place: Ints, values: Floats, count: int) -> Floats:
    return np.asarray(np.bincount(place, weights=values, minlength=count), dtype=np.float64)


def sources_of(hits: Hits) -> Ints:
    """A number for what each hit comes from: its pass, or (negative) a mark of its own."""
    mark = (hits.origin == FROM_MARK) | (hits.pass_id < 0)
    return np.where(mark, -2 - np.arange(len(hits)), hits.pass_id).astype(np.int64)


def mean_places(count: int, place: Ints, hits: Hits) -> tuple[Floats, Floats]:
    """Position (count, 2) and its standard error (count,) [m] of each place from its hits.

    Weighted by 1 / sigma squared; hits of one pass share its position error and count together as one.
    """
    _, source = np.unique(np.column_stack([place, sources_of(hits)]), axis=0, return_inverse=True)
    source = np.asarray(source).ravel()
    shared = np.bincount(source)[source]
    weight = 1.0 / (np.maximum(hits.position_sigma_m, 0.1) ** 2 * shared)
    total = csr_matrix((weight, (place, np.arange(len(hits)))), shape=(count, len(hits)))
    origin = np.array([hits.x_m.min(), hits.y_m.min()]) if len(hits) else np.zeros(2)
    whole = np.asarray(total.sum(axis=1)).ravel()
    xy = total @ (np.column_stack([hits.x_m, hits.y_m]) - origin) / whole[:, None] + origin
    return np.asarray(xy), 1.0 / np.sqrt(whole)
