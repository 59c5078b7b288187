"""The error of each depth, written once: what varies from row to row (sigma) and, apart, what all depths share."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lakemap.clean.settings import CleanSettings
from lakemap.geo.floor_along import MAD_TO_SIGMA, Floor, SailedLine
from lakemap.model.error_budget import SHARED, WAVES_SHARED, CommonPart, ErrorBudget, LogBudget
from lakemap.model.soundings import Soundings
from lakemap.physics.beam import first_return_depth_m
from lakemap.units import M_PER_UNIT

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

WAVES_M, SHARE = 0.04, 0.0065
"""Error of one reading without its place and its digits: pulse, and a share of the depth for roll, waves and the beam.

The share is half of what S-44 order 1 allows with depth at 95 % (1.3 %; IHO S-44 ed. 6.1.0, table 1); both are
assumptions, common practice of the trade. Where a pass scatters more than this, its own scatter counts.
"""
UNIFORM = float(np.sqrt(12.0))
"""A rounding step over the standard error it makes."""
LEAST_VALUES, USUAL_STEP, MOST_JUDGED = 3, 0.1, 100_000
"""Depths that hardly ever change do not show their digits: one decimal is what displays have (common practice)."""
DRAFT_VARIES_M = 0.03
"""Load, trim and squat move a draft by so much within a day; common practice of the trade."""
USUAL_BEAM_DEG = 20.0
"""Taken where the beam is not known; common practice of the trade for 200 kHz."""
BEAM_SHARE = 0.5
"""A slope's first return is nearer than the depth straight below by a known amount, but for roughness and the beam's
true width: so much of it stays open (own choice)."""
UNKNOWN_OFFSET_M = 0.3
"""Common error when draft or reference of the depths is not known; contract of the project."""
KNOWN_OFFSET_M = 0.05
"""Common error of a draft that was measured: load and trim; common practice of the trade."""
GAUGE_ZERO_M = 0.02
"""Error of a gauge's zero against the datum it is named after: a staff that was set by eye, a full pool told to a tenth
of a foot (own choice)."""
UNKNOWN_SCALE = 0.015
"""Common error when sound speed is not known: 1500 m/s taken in water of 10 to 30 degC (1447 to 1509 m/s, Marczak)."""
KNOWN_SCALE = 0.003
"""One degree Celsius of error in the mean temperature, at 10 degC (Marczak 1997)."""
GRADIENT_FACTOR = float(np.sqrt(2.0))
"""The slope along a pass is one of two components; on an average course the whole slope is larger by this."""


def common_parts(offset_known: bool, speed_known: bool, gauged: bool) -> tuple[CommonPart, ...]:
    """What all depths share: their zero, sound speed, and the datum's height; positions do not enter here."""
    return (
        CommonPart("draft and reference", KNOWN_OFFSET_M if offset_known else UNKNOWN_OFFSET_M, 0.0,
                   "known, but for load and trim" if offset_known else "not known"),
        CommonPart("sound speed", 0.0, KNOWN_SCALE if speed_known else UNKNOWN_SCALE,
                   "known to about 1 degC" if speed_known else "not known"),
        CommonPart("lake level", GAUGE_ZERO_M if gauged else 0.0, 0.0,
                   "the gauge's zero against the datum" if gauged else "no gauge: below the surface of each day"),
    )


def total_common(parts: tuple[CommonPart, ...]) -> tuple[float, float]:
    """Offset [m] and scale of all parts together: independent, so their squares add."""
    return float(np.sqrt(sum(part.offset_m**2 for part in parts))), float(np.sqrt(sum(part.scale**2 for part in parts)))


def with_common(soundings: Soundings, parts: tuple[CommonPart, ...]) -> Soundings:
    """The same rows with these parts as their common error."""
    offset, scale = total_common(parts)
    logs = soundings.budget.logs if soundings.budget else ()
    return replace(soundings, common_offset_m=offset, common_scale=scale, budget=ErrorBudget(logs, parts))


def add_errors(
    soundings: Soundings, line: SailedLine, floor: Floor, settings: CleanSettings, level_sigma_m: Floats | None = None
) -> Soundings:
    """Fill ``position_sigma_m`` where the log did not, ``depth_sigma_m`` and ``depth_shared_m`` (n,), and the budget.

    ``line`` and its running ``floor`` tell scatter and slope where there is a pass. The squares of all parts add; the
    waves are the larger of what is assumed and the scatter along the pass. A depth that came with an error of its own
    keeps it in place of digits and waves.
    """
    place = soundings.position_sigma_m.astype(np.float64)
    place = np.where(np.isfinite(place), place, settings.position_sigma_m)
    depth, slope = np.nan_to_num(soundings.depth_m), _slope_between(soundings)
    slope[line.rows] = GRADIENT_FACTOR * np.abs(floor.slope)
    waves = np.hypot(WAVES_M, SHARE * depth)
    waves[line.rows] = np.maximum(waves[line.rows], floor.scatter_m)
    own = soundings.depth_sigma_m.astype(np.float64)
    came = np.isfinite(own)
    parts = {
        "resolution": np.where(came, 0.0, resolution_m(soundings)[soundings.log] / UNIFORM),
        "waves": np.where(came, 0.0, waves),
        "position": slope * place,
        "draft": np.where(came, 0.0, _draft_m(soundings, settings)),
        "level": np.zeros(len(soundings)) if level_sigma_m is None else np.nan_to_num(level_sigma_m),
        "beam": BEAM_SHARE * _beam_m(soundings, depth, slope, settings),
        "own": np.where(came, own, 0.0),
    }
    there = np.isfinite(soundings.depth_m)
    total = np.sqrt(sum(part**2 for part in parts.values()))
    shared = np.sqrt(sum(parts[name] ** 2 for name in SHARED) + WAVES_SHARED * parts["waves"] ** 2)
    filled = soundings.with_columns(
        position_sigma_m=place, depth_sigma_m=np.where(there, total, np.nan),
        depth_shared_m=np.where(there, shared, np.nan),
    )
    common = soundings.budget.common if soundings.budget else ()
    return replace(filled, budget=ErrorBudget(_by_log(filled, parts, total, shared), common))


def resolution_m(soundings: Soundings) -> Floats:
    """For each log (k,) the step in which its depths were written [m]: 0.1 ft, 0.01 m and so on, by their digits."""
    steps = np.full(max(len(soundings.logs), 1), 0.01)
    for code, log in enumerate(soundings.logs):
        rows = (soundings.log == code) & np.isfinite(soundings.logged_depth_m)
        if rows.any():
            unit_m = M_PER_UNIT.get(log.depth_unit, 1.0)
            steps[code] = unit_m * _step(soundings.logged_depth_m[rows] / unit_m)
    return steps


def _step(values: Floats) -> float:
    """The coarsest of 1, 0.1, 0.01, 0.001 in which nearly all values are whole; USUAL_STEP where too few differ."""
    if len(np.unique(values[:MOST_JUDGED])) < LEAST_VALUES:
        return USUAL_STEP
    values = values[:MOST_JUDGED]
    for step in (1.0, 0.1, 0.01):
        whole = np.abs(values / step - np.round(values / step)) < 1e-3
        if np.mean(whole) > 0.98:
            return step
    return 0.001


def _draft_m(soundings: Soundings, settings: CleanSettings) -> Floats:
    """What a draft varies by (n,) [m]: within a day, and where a transducer is raised and lowered by what each of its
    places was measured to."""
    moved = np.array([bool(log.drafts) and settings.applies("draft") for log in soundings.logs] or [False])
    return np.asarray(np.where(moved, np.hypot(DRAFT_VARIES_M, KNOWN_OFFSET_M), DRAFT_VARIES_M)[soundings.log])


def _beam_m(soundings: Soundings, depth_m: Floats, slope: Floats, settings: CleanSettings) -> Floats:
    """How much shallower than straight below a beam hears a plane slope (n,) [m]; the usual beam where nothing is to be
    made of the log's own."""
    known = settings.applies("slope within the beam")
    beam = soundings.per_log("beam_deg", USUAL_BEAM_DEG) if known else np.full(len(soundings), USUAL_BEAM_DEG)
    deep = np.maximum(depth_m, 0.0)
    return np.asarray(deep - first_return_depth_m(deep, np.degrees(np.arctan(slope)), beam), dtype=np.float64)


def _by_log(
    soundings: Soundings, parts: dict[str, Floats], total: Floats, shared: Floats
) -> tuple[LogBudget, ...]:
    found = []
    used = soundings.usable() & np.isfinite(soundings.depth_m)
    for code, log in enumerate(soundings.logs):
        rows = used & (soundings.log == code)
        if rows.any():
            usual = {name: float(np.median(part[rows])) for name, part in parts.items()}
            found.append(LogBudget(log.name, usual, float(np.median(total[rows])), float(np.median(shared[rows]))))
    return tuple(found)


def _slope_between(soundings: Soundings) -> Floats:
    """Usual slope from each usable row to the nearest one, as one number for all rows (n,): for rows of no pass."""
    rows = np.flatnonzero(soundings.usable() & (soundings.pass_id < 0) & np.isfinite(soundings.x_m + soundings.depth_m))
    if len(rows) < 3:
        return np.zeros(len(soundings))
    xy = np.column_stack([soundings.x_m[rows], soundings.y_m[rows]])
    distance, nearest = (column[:, 1] for column in cKDTree(xy).query(xy, k=2))
    apart = distance > 0
    if not apart.any():
        return np.zeros(len(soundings))
    fall = np.abs(soundings.depth_m[rows] - soundings.depth_m[rows[nearest]])[apart] / distance[apart]
    return np.full(len(soundings), GRADIENT_FACTOR * MAD_TO_SIGMA * float(np.median(fall)))
