"""Bare structure: strong features of the floor become spots of their own, kept apart by their kind."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from scipy.special import ndtr, ndtri
from shapely import contains_xy

from lakemap.geo.crs import unproject
from lakemap.model.soundings import Soundings
from lakemap.model.spot_names import code_of
from lakemap.model.spots import Spots
from lakemap.model.surface import Surface
from lakemap.model.terrain import Features
from lakemap.spots.first_shown import first_shown, when_and_where
from lakemap.spots.name import names_of
from lakemap.spots.reasons import feature_sentences
from lakemap.spots.settings import SpotSettings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SPOT_KINDS = ("hump", "point", "ledge", "drop-off", "hole", "saddle", "outside bend")
"""Kinds of features that are a place to stop at; flats and whole channels are too wide to be one."""


def feature_spots(
    features: Features, found: Spots, soundings: Soundings, depth: Surface, settings: SpotSettings
) -> Spots:
    """The greatest features of each kind that are sure enough, were crossed by a pass, and hold no spot ``found`` yet.

    Position is the feature's anchor, its error half a pixel or the passes' own; ``seen`` and ``could_see`` are the
    passes that crossed it, ``last_seen`` when the last of them did; the probability is that of its relief being there,
    with one standard error either way.
    """
    rows = _chosen(features, found, settings)
    crossings = [_crossing(features, row, soundings) for row in rows.tolist()]
    crossed = np.array([len(passes) for passes, _ in crossings], dtype=np.int64)
    last = np.array([day for _, day in crossings], dtype="datetime64[ms]")
    rows, crossed, last = rows[crossed > 0], crossed[crossed > 0], last[crossed > 0]
    shown = first_shown(features, rows, soundings)
    # sections of one drop-off that the same reading showed first are one place: the greatest stands for all
    told = [(features.kind[row], reading) for row, reading in zip(rows, shown.tolist(), strict=True)]
    one_each = np.array([k for k, one in enumerate(told) if one not in told[:k]], dtype=np.int64)
    rows, crossed, last, shown = rows[one_each], crossed[one_each], last[one_each], shown[one_each]
    if not len(rows):
        return Spots.empty()
    x_m, y_m = features.x_m[rows], features.y_m[rows]
    lon, lat = unproject(depth.frame.crs, x_m, y_m)
    kinds = tuple(features.kind[row] for row in rows)
    error = np.hypot(depth.frame.pixel_m / 2.0, _position_error(soundings))
    normal = ndtri(np.clip(features.confidence[rows], 1e-6, 1.0 - 1e-6))
    unknown = np.full(len(rows), np.nan)
    return Spots(
        name=names_of(kinds, *when_and_where(soundings, shown)), kind=kinds, hits=(np.empty(0, np.int64),) * len(rows),
        x_m=x_m, y_m=y_m, lon_deg=lon, lat_deg=lat, position_sigma_m=np.full(len(rows), error),
        depth_m=features.depth_m[rows], depth_sigma_m=depth.sigma.at(x_m, y_m), height_m=features.relief_m[rows],
        hardness=unknown, seen=crossed.astype(np.int32), could_see=crossed.astype(np.int32),
        probability=features.confidence[rows], prob_low=ndtr(normal - 1.0), prob_high=ndtr(normal + 1.0),
        last_seen=last, score=unknown,
        reasons=tuple(feature_sentences(features, int(row), int(n)) for row, n in zip(rows, crossed, strict=True)),
    )


def codes_of_features(features: Features, soundings: Soundings) -> list[tuple[str, float, float]]:
    """Code that each feature fit for a spot would have in its name, and its anchor [m]."""
    rows = np.array([row for row in range(len(features)) if features.kind[row] in SPOT_KINDS], dtype=np.int64)
    shown = first_shown(features, rows, soundings)
    rows, shown = rows[shown >= 0], shown[shown >= 0]
    when, lon, lat = when_and_where(soundings, shown)
    return [(code_of(moment, a, b), x, y) for moment, a, b, x, y in zip(
        when, lon.tolist(), lat.tolist(), features.x_m[rows].tolist(), features.y_m[rows].tolist(), strict=True)]


def _chosen(features: Features, found: Spots, settings: SpotSettings) -> Ints:
    """Rows of the features that may be spots, in the order they stand."""
    sure = features.confidence >= settings.feature_confidence
    rows = [
        row for kind in SPOT_KINDS
        for row in _apart(features, [r for r in np.flatnonzero(sure).tolist() if features.kind[r] == kind], settings)
    ]
    chosen = np.array(sorted(rows), dtype=np.int64)
    if not len(found) or not len(chosen):
        return chosen
    anchors = np.column_stack([features.x_m[chosen], features.y_m[chosen]])
    away, _ = cKDTree(np.column_stack([found.x_m, found.y_m])).query(anchors)
    return np.asarray(chosen[np.asarray(away) > settings.spot_m], dtype=np.int64)


def _apart(features: Features, rows: list[int], settings: SpotSettings) -> list[int]:
    """The first ``features_per_kind`` of some rows, greatest first, that lie ``near_m`` from each one taken before:
    two sections of one bank that meet are one place to stop at."""
    taken: list[int] = []
    for row in rows:
        away = np.hypot(features.x_m[taken] - features.x_m[row], features.y_m[taken] - features.y_m[row])
        if len(taken) < settings.features_per_kind and np.all(away >= settings.near_m):
            taken.append(row)
    return taken


def _crossing(features: Features, row: int, soundings: Soundings) -> tuple[Ints, np.datetime64]:
    """Passes that have a sounding inside a feature's outline, and when the last of them did (NaT where none is dated).
    """
    west, south, east, north = features.geometry[row].bounds
    near = np.flatnonzero(
        soundings.usable() & (soundings.pass_id >= 0) & (soundings.x_m >= west) & (soundings.x_m <= east)
        & (soundings.y_m >= south) & (soundings.y_m <= north)
    )
    inside = contains_xy(features.geometry[row], soundings.x_m[near], soundings.y_m[near])
    those = soundings.take(near[inside])
    return np.unique(those.pass_id).astype(np.int64), those.newest


def _position_error(soundings: Soundings) -> float:
    known = soundings.position_sigma_m[soundings.usable() & np.isfinite(soundings.position_sigma_m)]
    return float(np.median(known)) if len(known) else 0.0
