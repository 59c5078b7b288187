"""What stands up from the floor along a pass, as hits."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lakemap.echo.settings import EchoSettings
from lakemap.geo.excursions import SHOULDER_ROWS, Excursions, find_excursions, positions_of
from lakemap.geo.floor_along import SailedLine, running_floor, sailed_line
from lakemap.model.flags import Flag
from lakemap.model.hits import FROM_RISE, Hits
from lakemap.model.marks import NOTHING
from lakemap.model.soundings import Soundings
from lakemap.physics.beam import footprint_diameter_m

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

HALF_SURE_SIGMAS = 4.0
"""Height over scatter at which two pings are as likely relief of the floor as cover: own judgement, not calibrated."""
SIGMAS_PER_NEPER, NEPER_PER_PING, MOST_PINGS = 2.5, 0.6, 5
LONE_NEPERS = -1.5
"""One ping alone may be a false echo; support makes up for part of it."""
MOST_CONFIDENCE = 0.97


def find_rises(soundings: Soundings, settings: EchoSettings, marked: Hits | None = None) -> Hits:
    """Hits of kind ``cover`` from runs of readings with the note ``rise``, in the order they were sailed.

    A run of two or more pings is a hit. One ping alone is a hit only where another pass has a rise of like height,
    or a mark lies, within ``support_m``. Depths must be cleaned (``depth_m``, passes, notes).
    """
    line = sailed_line(soundings, soundings.usable())
    if len(line) == 0:
        return Hits.empty()
    up = find_excursions(line, running_floor(line, settings.floor_window_m), True, settings.rise_longest_m)
    noted = soundings.has(Flag.rise)[line.rows]
    up = up.take((up.height_m >= settings.rise_m) & noted[up.peak] & _on_one_course(soundings, line, up))
    if len(up) == 0:
        return Hits.empty()
    x, y = _centres(soundings, line, up)
    backed = _supported(np.column_stack([x, y]), up.height_m, soundings.pass_id[line.rows[up.peak]], settings)
    marked = marked.take(marked.kind != NOTHING) if marked is not None else None
    if marked is not None and len(marked):
        tree = cKDTree(np.column_stack([marked.x_m, marked.y_m]))
        backed |= tree.query(np.column_stack([x, y]))[0] <= settings.support_m
    hits = _as_hits(soundings, line, up, (x, y), _confidence(up, backed), settings)
    return hits.take((up.pings > 1) | backed)


def _on_one_course(soundings: Soundings, line: SailedLine, up: Excursions) -> Bools:
    """Rises (k,) with floor of their own pass before and after: a turn at the shore looks like a rise."""
    sailed = soundings.pass_id[line.rows]
    before, after = np.maximum(up.first - SHOULDER_ROWS, 0), np.minimum(up.last + SHOULDER_ROWS, len(line) - 1)
    return np.asarray((sailed[before] == sailed[up.peak]) & (sailed[after] == sailed[up.peak]))


def _centres(soundings: Soundings, line: SailedLine, up: Excursions) -> tuple[Floats, Floats]:
    """Place of each rise: its readings weighted by the square of how far they stand up, so mostly its top."""
    run, position = positions_of(up.first, up.last)
    stands = np.maximum(up.floor_m[run] - line.depth_m[position], 0.0)
    weight = np.where(position == up.peak[run], np.maximum(stands, 1e-6), stands) ** 2
    total = np.bincount(run, weight)
    # about the peak, so that large coordinates cost no digits
    rows, peaks = line.rows[position], line.rows[up.peak]
    x, y = (
        column[peaks] + np.bincount(run, weight * (column[rows] - column[peaks[run]])) / total
        for column in (soundings.x_m, soundings.y_m)
    )
    return np.asarray(x), np.asarray(y)


def _supported(xy: Floats, height_m: Floats, sailed: NDArray[np.int32], settings: EchoSettings) -> Bools:
    """Rises (k,) near which another pass has one of like height; xy (k, 2)."""
    pairs = cKDTree(xy).query_pairs(settings.support_m, output_type="ndarray")
    a, b = pairs[:, 0], pairs[:, 1]
    ratio = np.maximum(height_m[a], height_m[b]) / np.minimum(height_m[a], height_m[b])
    good = (sailed[a] != sailed[b]) & (ratio <= settings.support_height_ratio)
    backed = np.zeros(len(xy), dtype=bool)
    backed[a[good]] = True
    backed[b[good]] = True
    return backed


def _confidence(up: Excursions, backed: Bools) -> Floats:
    """0..1 that something is there, rising with height over scatter, with pings, with support; not calibrated."""
    score = (up.height_m / up.scatter_m - HALF_SURE_SIGMAS) / SIGMAS_PER_NEPER
    score = score + NEPER_PER_PING * (np.minimum(up.pings, MOST_PINGS) - 2) + np.where(backed, 1.0, 0.0)
    score = np.where(up.pings == 1, score + LONE_NEPERS, score)
    return MOST_CONFIDENCE / (1.0 + np.exp(-np.clip(score, -30.0, 30.0)))


def _as_hits(
    soundings: Soundings, line: SailedLine, up: Excursions, at: tuple[Floats, Floats], confidence: Floats,
    settings: EchoSettings,
) -> Hits:
    peak = line.rows[up.peak]
    # heights were measured on logged depths, whose zero may differ from the surface's
    depth = soundings.depth_m[peak] + up.height_m
    return Hits(
        kind=np.full(len(up), "cover", dtype="U16"), origin=np.full(len(up), FROM_RISE, np.int8), x_m=at[0], y_m=at[1],
        position_sigma_m=_position_sigma_m(soundings, peak, up, settings), depth_m=depth, height_m=up.height_m,
        confidence=confidence, pings=up.pings.astype(np.int32), pass_id=soundings.pass_id[peak],
        time_s=soundings.time_s[peak], time_utc=soundings.time_utc[peak], note=np.full(len(up), "", dtype="U1"),
        noted_lon_deg=soundings.lon_deg[peak], noted_lat_deg=soundings.lat_deg[peak],
    )


def _position_sigma_m(soundings: Soundings, peak: Ints, up: Excursions, settings: EchoSettings) -> Floats:
    """Fix, and where in the beam it stood: one axis of an evenly lit disc is a quarter of its diameter."""
    fix = soundings.position_sigma_m[peak].astype(np.float64)
    fix = np.where(np.isfinite(fix), fix, settings.position_sigma_m)
    beam = soundings.per_log("beam_deg", settings.assumed_beam_deg)[peak]
    return np.hypot(fix, footprint_diameter_m(np.maximum(up.floor_m, 0.0), beam) / 4.0)
