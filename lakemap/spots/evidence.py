"""What speaks for a spot and what against it: passes that showed it, passes that went over it and did not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix
from scipy.special import expit, logit

from lakemap.model.hits import FROM_MARK, Hits
from lakemap.spots.looked import Looked
from lakemap.spots.settings import SpotSettings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

PRIOR_SPREAD, LOOK_SPREAD = 0.7, 0.35
"""Standard error of the prior's log odds (a factor of two), and of each look's weight as a share of itself."""


@dataclass(frozen=True)
class Looks:
    """k pairs of a place and a pass that came near it: place number, pass, chance that the place lay within the width
    in which a thing shows, and whether it was no farther off than that and one joint position error: the pass could
    have seen it.
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


def best_of_pass(place: Ints, pass_id: Ints, value: Floats) -> Ints:
    """Row with the greatest value for each place and pass, sorted by these two."""
    order = np.lexsort([-value, pass_id, place])
    first = np.ones(len(place), bool)
    first[1:] = (np.diff(place[order]) != 0) | (np.diff(pass_id[order]) != 0)
    return order[first]


def weigh(
    count: int, place: Ints, hits: Hits, looks: Looks, settings: SpotSettings, detection: float | None = None,
    looked: Looked | None = None,
) -> Evidence:
    """Probability of a thing at each of ``count`` places, from hits (place of each in ``place``) and looks.

    Log odds add up (Bayes, looks taken as independent): the prior; for each pass or mark that showed it,
    log(1 + c (detection / false_alarm - 1)) with the hit's confidence c; for each pass that did not,
    log((1 - detection w) / (1 - false_alarm w)) with its chance w of having covered the place; and what somebody who
    ``looked`` and found nothing says. The interval takes the weights of prior and looks as known to PRIOR_SPREAD and
    LOOK_SPREAD.
    """
    witness, shown_place, shown_pass, confidence = _witnesses(place, hits)
    detection = settings.detection if detection is None else detection
    ratio = detection / settings.false_alarm
    gain = np.log1p(np.clip(confidence, 0.0, 1.0) * (ratio - 1.0))
    passes = shown_pass[witness]
    showed = pairs_in(looks.place, looks.pass_id, shown_place[witness], passes)
    missed = np.where(showed, 0.0, np.log1p(-detection * looks.chance) - np.log1p(
        -settings.false_alarm * looks.chance))
    against = np.zeros(count) if looked is None else looked.log_odds
    odds = logit(settings.prior) + _sum(shown_place, gain, count) + _sum(looks.place, missed, count) + against
    spread = 1.96 * np.sqrt(PRIOR_SPREAD**2 + LOOK_SPREAD**2 * (
        _sum(shown_place, gain**2, count) + _sum(looks.place, missed**2, count) + against**2))
    seen = np.bincount(shown_place[witness], minlength=count)
    others = np.bincount(looks.place[~showed & looks.over], minlength=count)
    return Evidence(
        seen.astype(np.int32), (seen + others).astype(np.int32), expit(odds), expit(odds - spread), expit(odds + spread)
    )


def _witnesses(place: Ints, hits: Hits) -> tuple[NDArray[np.bool_], Ints, Ints, Floats]:
    """One row for each place and pass with its best confidence; a mark is a witness of its own (pass numbers < -1)."""
    source, confidence = sources_of(hits), np.nan_to_num(hits.confidence)
    best = best_of_pass(place, source, confidence)
    return source[best] >= 0, place[best], source[best], confidence[best]


def pairs_in(place: Ints, pass_id: Ints, shown_place: Ints, shown_pass: Ints) -> NDArray[np.bool_]:
    """Which pairs of place and pass are among those that showed something."""
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
