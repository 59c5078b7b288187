"""Which passes came by a place, and how wide a thing shows: told by beam, height and gain, fitted where data allow."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from scipy.special import ndtr

from lakemap.model.hits import Hits
from lakemap.model.soundings import Soundings
from lakemap.physics.beam import footprint_diameter_m
from lakemap.spots.evidence import Looks, best_of_pass, pairs_in
from lakemap.spots.settings import SpotSettings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]

LONGEST_STEP_M = 20.0
"""Between soundings farther apart the boat's way is not known."""

WIDEST = 2.0
"""No thing shows beyond so many times the radius of the beam at half power: side lobes begin."""

USUAL_HEIGHT_M, LEAST_RISE_M = 0.8, 0.3
"""Height of a usual thing, and how far its echo must come ahead of the floor's to show (as in echo/)."""

DECIBELS_AT_EDGE = 6.0
"""Two ways through the edge of the beam at half power, 3 dB each."""

LEAST_LOOKS = 20
"""Fewer looks do not tell the width in which things show."""

FACTORS, DETECTIONS = np.arange(0.5, WIDEST + 0.01, 0.1), np.arange(0.3, 0.96, 0.05)
FACTOR_SPREAD, LOG_SPREAD, DETECTION_SPREAD = 0.3, 0.2, 0.15
"""What is believed before any look: log of the width within a third of the beam's, of one log's within a fifth of the
lake's, detection within 0.15 of the setting (own choice)."""


@dataclass(frozen=True)
class Shows:
    """``factor`` (logs,): width in which a usual thing shows, as a share of the beam's at half power, for each log's
    gain; ``detection``: share of passes over a thing that show it; ``looks`` that both rest on (0: beliefs)."""

    factor: Floats
    detection: float
    looks: int = 0

    def half_width_m(self, radius_m: Floats, depth_m: Floats, height_m: Floats, log: Ints) -> Floats:
        """How far to the side a thing shows (m,) [m].

        Loss through the beam grows with the square of the angle (a normal beam): a level that is E dB above what just
        shows reaches sqrt(E / 6) times the radius at half power; E grows with gain (``factor``) and with the thing's
        height as 10 log10. No farther than where its slant range equals that of the floor below, less LEAST_RISE_M.
        """
        height = np.where(np.isfinite(height_m), np.maximum(height_m, 0.1), USUAL_HEIGHT_M)
        level = self.factor[log] ** 2 + 10.0 / DECIBELS_AT_EDGE * np.log10(height / USUAL_HEIGHT_M)
        beam = radius_m * np.sqrt(np.clip(level, 0.1, WIDEST**2))
        floor, top = np.maximum(depth_m - LEAST_RISE_M, 0.0), np.maximum(depth_m - height_m, 0.0)
        slant = np.sqrt(np.maximum(floor**2 - top**2, 0.0))
        return np.where(np.isfinite(slant), np.minimum(beam, np.maximum(slant, 0.5 * radius_m)), beam)


@dataclass(frozen=True)
class Passing:
    """m pairs of a place and a pass that came near it: distance of the boat's way, radius of the beam at half power,
    joint position error (all [m]), depth and height of the place, and the log."""

    place: Ints
    pass_id: Ints
    away_m: Floats
    radius_m: Floats
    joint_m: Floats
    depth_m: Floats
    height_m: Floats
    log: Ints

    def __len__(self) -> int:
        return len(self.place)

    def take(self, rows: Ints | Mask) -> Passing:
        """Some of them."""
        return Passing(*(getattr(self, name)[rows] for name in self.__dataclass_fields__))

    def looks(self, shows: Shows) -> Looks:
        """Chance that each pass could have seen the place: it lay within the half width, position errors normal."""
        if not len(self):
            return Looks.none()
        half = shows.half_width_m(self.radius_m, self.depth_m, self.height_m, self.log)
        return Looks(self.place, self.pass_id, covered(self.away_m, half, self.joint_m),
                     np.asarray(self.away_m <= half + self.joint_m))


def covered(away_m: Floats, half_m: Floats, sigma_m: Floats) -> Floats:
    """Chance that a place at a distance from the way lies within half a width of it, the distance having an error."""
    sigma = np.maximum(sigma_m, 1e-3)
    return np.asarray(ndtr((half_m - away_m) / sigma) - ndtr((-half_m - away_m) / sigma))


def passes_by(
    xy: Floats, sigma_m: Floats, depth_m: Floats, height_m: Floats, soundings: Soundings, settings: SpotSettings
) -> Passing:
    """Passes that came near enough to each place to have shown a thing there.

    ``xy`` (k, 2) and position error (k,) [m]; ``depth_m`` of the floor and ``height_m`` of the thing (k,), NaN unknown.
    Distance is to the boat's line, not only to its soundings.
    """
    rows = np.flatnonzero(soundings.usable() & (soundings.pass_id >= 0) & np.isfinite(soundings.x_m))
    if not len(rows) or not len(xy):
        none, zero = np.empty(0), np.empty(0, np.int64)
        return Passing(zero, zero, none, none, none, none, none, zero)
    track = np.column_stack([soundings.x_m[rows], soundings.y_m[rows]])
    beam = soundings.per_log("beam_deg", settings.beam_deg)[rows]
    error = np.nan_to_num(soundings.position_sigma_m[rows].astype(np.float64))
    reach = WIDEST * footprint_diameter_m(depth_m, float(beam.max())) / 2.0 + 2.0 * np.hypot(sigma_m, error.max())
    found = cKDTree(track).query_ball_point(xy, np.nan_to_num(reach) + LONGEST_STEP_M / 2.0, return_sorted=True)
    place = np.repeat(np.arange(len(xy)), [len(near) for near in found])
    near = np.concatenate([np.asarray(some, np.int64) for some in found])
    away = _distance_to_way(xy[place], track, soundings.pass_id[rows], near)
    passes = soundings.pass_id[rows][near].astype(np.int64)
    best = best_of_pass(place, passes, -away)
    place, near, away = place[best], near[best], away[best]
    radius = np.nan_to_num(footprint_diameter_m(depth_m[place], beam[near]) / 2.0)
    inside = away <= np.nan_to_num(reach)[place]
    return Passing(
        place, passes[best], away, radius, np.hypot(sigma_m[place], error[near]), depth_m[place], height_m[place],
        soundings.log[rows][near].astype(np.int64),
    ).take(inside)


def believed(logs: int, settings: SpotSettings) -> Shows:
    """What is believed before any look."""
    return Shows(np.ones(max(logs, 1)), settings.detection)


def fit_shows(passing: Passing, shown: Mask, told: Mask, logs: int, settings: SpotSettings) -> Shows:
    """Width and detection of this lake, and of each log by itself, where the looks tell them.

    ``shown`` (m,): the pass showed the thing; ``told`` (m,): at least two other passes showed it, so that it is there
    whatever this pass says. The most likely values on a grid, with the beliefs above counted in.
    """
    before = believed(logs, settings)
    some, seen = passing.take(told), shown[told]
    if len(some) < LEAST_LOOKS:
        return before
    likely = np.array([[
        _log_likelihood(some, seen, np.full(logs, factor), detection, settings)
        - 0.5 * (np.log(factor) / FACTOR_SPREAD) ** 2
        - 0.5 * ((detection - settings.detection) / DETECTION_SPREAD) ** 2
        for detection in DETECTIONS] for factor in FACTORS])
    at, of = np.unravel_index(int(np.argmax(likely)), likely.shape)
    factor, detection = np.full(logs, FACTORS[at]), float(DETECTIONS[of])
    for log in range(logs):
        mine = some.log == log
        if mine.sum() >= LEAST_LOOKS:
            own = [_log_likelihood(some.take(mine), seen[mine], np.full(logs, one), detection, settings)
                   - 0.5 * (np.log(one / FACTORS[at]) / LOG_SPREAD) ** 2 for one in FACTORS]
            factor[log] = FACTORS[int(np.argmax(own))]
    return Shows(factor, detection, len(some))


def how_wide(passing: Passing, hits: Hits, label: Ints, logs: int, settings: SpotSettings) -> Shows:
    """Shows of this lake from its own hits; ``label`` (n,) is the place of each."""
    sailed = hits.pass_id >= 0
    pairs = np.unique(np.column_stack([label[sailed], hits.pass_id[sailed].astype(np.int64)]), axis=0)
    shown = pairs_in(passing.place, passing.pass_id, pairs[:, 0], pairs[:, 1])
    witnesses = np.bincount(pairs[:, 0], minlength=int(label.max(initial=-1)) + 1)[passing.place]
    return fit_shows(passing, shown, witnesses - shown >= 2, logs, settings)


def _log_likelihood(
    some: Passing, seen: Mask, factor: Floats, detection: float, settings: SpotSettings
) -> float:
    half = Shows(factor, detection).half_width_m(some.radius_m, some.depth_m, some.height_m, some.log)
    chance = covered(some.away_m, half, some.joint_m)
    shown = detection * chance + settings.false_alarm * (1.0 - chance)
    return float(np.sum(np.log(np.where(seen, shown, 1.0 - shown))))


def _distance_to_way(xy: Floats, track: Floats, pass_id: NDArray[np.int32], near: Ints) -> Floats:
    """Distance of each place (m, 2) to the piece of way that starts at sounding ``near`` (m,)."""
    start, end = track[near], track[np.minimum(near + 1, len(track) - 1)]
    way = end - start
    length = np.hypot(*way.T)
    joined = (pass_id[near] == pass_id[np.minimum(near + 1, len(track) - 1)]) & (length <= LONGEST_STEP_M)
    along = np.clip(np.sum((xy - start) * way, axis=1) / np.maximum(length, 1e-9) ** 2, 0.0, 1.0)
    foot = start + np.where(joined, along, 0.0)[:, None] * way
    return np.asarray(np.hypot(*(xy - foot).T))
