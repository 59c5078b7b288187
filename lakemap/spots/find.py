"""From hits and terrain to spots with their evidence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lakemap.geo.crs import unproject
from lakemap.model.hits import FROM_MARK, Hits
from lakemap.model.marks import NOTHING
from lakemap.model.soundings import Soundings
from lakemap.model.spot_names import CODE_LENGTH, codes_in, is_written, name_in
from lakemap.model.spots import Spots
from lakemap.model.surface import Surface
from lakemap.model.terrain import Terrain
from lakemap.spots.cluster import NOISE_LABEL, canonical_order, cluster, members, sailed
from lakemap.spots.doubt import chance_standing, firm, too_short
from lakemap.spots.evidence import Evidence, mean_places, weigh
from lakemap.spots.from_features import feature_spots
from lakemap.spots.join import joined
from lakemap.spots.looked import looked_at
from lakemap.spots.name import names_of
from lakemap.spots.neighbours import SIGNS_OF_FISH, fish_near, freshness, signs_of_fish
from lakemap.spots.passing import how_wide, passes_by
from lakemap.spots.reasons import evidence_sentences, fish_sentence, looked_sentence
from lakemap.spots.settings import SpotSettings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NO_THING = (*SIGNS_OF_FISH, NOTHING)
"""Kinds that never make a spot."""

VAGUE_KINDS = ("cover", "place")
"""Kinds that say no more than that something is there: any other kind in the cluster names the spot."""


def find_spots(
    hits: Hits, terrain: Terrain, soundings: Soundings, depth: Surface, hardness: Surface | None,
    settings: SpotSettings,
) -> Spots:
    """Candidate spots: clusters of hits, and strong features of the floor without any; not yet scored.

    Signs of fish (bait, fish, catch) never make a spot, and marks of nothing speak against those in reach; a rise of
    one ping (or two and very tall) makes one only with another pass or a mark; a rise counts the less, the less it
    stands up from the depth surface; a cluster less likely than ``least_probability`` stays hits, unless a mark is in
    it. ``Spots.hits`` are row numbers into ``hits``, oldest first. ``score_parts`` holds ``bait_near`` already,
    ``reasons`` what the evidence says.
    """
    fixed = np.isfinite(hits.x_m) & np.isfinite(hits.y_m) & ~np.isin(hits.kind, NO_THING)
    order = canonical_order(hits)
    order = order[fixed[order]]
    some = hits.take(order)
    some = replace(some, confidence=np.nan_to_num(some.confidence) * firm(chance_standing(some, depth, terrain)))
    found = _from_hits(some, order, soundings, depth, settings, hits.take(hits.kind == NOTHING))
    spots = joined([found, feature_spots(terrain.features, found, soundings, depth, settings)])
    fish = signs_of_fish(hits)
    fresh = freshness(fish, _latest(np.append(hits.time_utc, soundings.time_utc)), settings.fish_half_life_days)
    return _with_surroundings(spots, (fish, fresh), hardness, settings)


def _from_hits(
    hits: Hits, rows: Ints, soundings: Soundings, depth: Surface, settings: SpotSettings, nothing: Hits
) -> Spots:
    label = cluster(
        np.column_stack([hits.x_m, hits.y_m]), np.nan_to_num(hits.position_sigma_m), settings, sailed(hits, settings))
    label = _supported(hits, label)
    inside = label != NOISE_LABEL
    hits, rows, label = hits.take(inside), rows[inside], label[inside]
    count = int(label.max(initial=NOISE_LABEL)) + 1
    if not count:
        return Spots.empty()
    xy, sigma_m = mean_places(count, label, hits)
    groups = members(label)
    floor_m, floor_sigma_m = _floor(xy, depth, hits, groups)
    height_m = np.array([_highest(hits.height_m[group]) for group in groups])
    passing = passes_by(xy, sigma_m, floor_m, height_m, soundings, settings)
    shows = how_wide(passing, hits, label, len(soundings.logs), settings)
    looked = looked_at(xy, sigma_m, nothing, settings.false_alarm)
    evidence = weigh(count, label, hits, passing.looks(shows), settings, shows.detection, looked)
    spots = _spots(hits, rows, groups, (xy, sigma_m, floor_m, floor_sigma_m), evidence, depth)
    spots = replace(spots, reasons=tuple(
        said + looked_sentence(int(n)) for said, n in zip(spots.reasons, looked.count, strict=True)))
    marked = np.array([bool(np.any(hits.origin[group] == FROM_MARK)) for group in groups])
    return spots.take(np.flatnonzero(marked | (evidence.probability >= settings.least_probability)))


def _supported(hits: Hits, label: Ints) -> Ints:
    """Clusters that rest on one short rise alone become noise; the others are numbered again."""
    short = too_short(hits)
    out, number = np.full(len(label), NOISE_LABEL, np.int64), 0
    for group in members(label):
        one_pass = len(np.unique(hits.pass_id[group])) == 1
        marked = bool(np.any(hits.origin[group] == FROM_MARK))
        if marked or not one_pass or not np.all(short[group]):
            out[group] = number
            number += 1
    return out


def _floor(xy: Floats, depth: Surface, hits: Hits, groups: Sequence[Ints]) -> tuple[Floats, Floats]:
    """Depth of the floor and its sigma at each place; from the hits where the surface says nothing."""
    floor_m, sigma_m = depth.estimate.at(*xy.T), depth.sigma.at(*xy.T)
    told = np.array([_median(hits.depth_m[group]) for group in groups])
    return np.where(np.isfinite(floor_m), floor_m, told), sigma_m


def _median(values: Floats) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if len(known) else float("nan")


def _kind(kinds: Sequence[str]) -> str:
    """The oldest kind that says what it is, else the oldest."""
    return next((kind for kind in kinds if kind not in VAGUE_KINDS), kinds[0])


def _spots(
    hits: Hits, rows: Ints, groups: Sequence[Ints], placed: tuple[Floats, Floats, Floats, Floats],
    evidence: Evidence, depth: Surface,
) -> Spots:
    xy, sigma_m, floor_m, floor_sigma_m = placed
    lon, lat = unproject(depth.frame.crs, *xy.T)
    oldest = np.array([group[0] for group in groups])
    old_lon, old_lat = _noted(hits.take(oldest), depth)
    kinds = tuple(_kind(hits.kind[group].tolist()) for group in groups)
    height_m = np.array([_highest(hits.height_m[group]) for group in groups])
    unknown = np.full(len(groups), np.nan)
    marks = [int(np.count_nonzero(hits.origin[group] == FROM_MARK)) for group in groups]
    return Spots(
        name=names_of(kinds, hits.time_utc[oldest], old_lon, old_lat, _codes_given(hits.take(oldest))), kind=kinds,
        hits=tuple(rows[group] for group in groups), x_m=xy[:, 0], y_m=xy[:, 1], lon_deg=lon, lat_deg=lat,
        position_sigma_m=sigma_m, depth_m=floor_m, depth_sigma_m=floor_sigma_m, height_m=height_m, hardness=unknown,
        seen=evidence.seen, could_see=evidence.could_see, probability=evidence.probability,
        prob_low=evidence.low, prob_high=evidence.high,
        last_seen=np.array([_latest(hits.time_utc[group]) for group in groups], "datetime64[ms]"), score=unknown,
        reasons=tuple(evidence_sentences(marks, evidence, sigma_m, height_m, floor_m)),
    )


def _codes_given(hits: Hits) -> list[str]:
    """Whole code in the name of each hit that is a waypoint of ours, else nothing."""
    names = [name_in(str(note)) if origin == FROM_MARK else ""
             for note, origin in zip(hits.note, hits.origin, strict=True)]
    return [next((code for code in codes_in(name) if len(code) == CODE_LENGTH), "") if is_written(name) else ""
            for name in names]


def _noted(hits: Hits, depth: Surface) -> tuple[Floats, Floats]:
    """Longitude and latitude as first logged or noted, which corrections found later do not move."""
    lon, lat = unproject(depth.frame.crs, hits.x_m, hits.y_m)
    known = np.isfinite(hits.noted_lon_deg) & np.isfinite(hits.noted_lat_deg)
    return np.where(known, hits.noted_lon_deg, lon), np.where(known, hits.noted_lat_deg, lat)


def _highest(height_m: Floats) -> float:
    known = height_m[np.isfinite(height_m)]
    return float(known.max()) if len(known) else float("nan")


def _latest(times: NDArray[np.datetime64]) -> np.datetime64:
    known = times[~np.isnat(times)]
    return known.max() if len(known) else np.datetime64("NaT", "ms")


def _with_surroundings(
    spots: Spots, fish: tuple[Hits, Floats], hardness: Surface | None, settings: SpotSettings
) -> Spots:
    part, count, still = fish_near(spots.x_m, spots.y_m, *fish, settings.bait_near_m)
    reasons = tuple(
        said + fish_sentence(int(n), float(left), settings.bait_near_m)
        for said, n, left in zip(spots.reasons, count, still, strict=True)
    )
    known = np.full(len(spots), np.nan) if hardness is None else hardness.estimate.at(spots.x_m, spots.y_m)
    return replace(spots, hardness=known, score_parts={"bait_near": part}, reasons=reasons)
