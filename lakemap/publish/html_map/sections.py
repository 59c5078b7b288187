"""What the passes over each spot read: depth along the pass, with what stood up from the floor.

No open log that is read here carries the sounder's picture, so the card shows a section made of readings.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lakemap.model.flags import Flag
from lakemap.model.lake_map import LakeMap
from lakemap.model.soundings import NO_PASS, Soundings
from lakemap.publish.html_map import lines

Rows = NDArray[np.int64]

NEAR_M, REACH_M = 10.0, 25.0
"""A pass that comes so near a spot is shown, for so far on either side of its nearest place."""

GAP_M = 8.0
"""Readings further apart than this are not joined."""

SLACK_M = 0.03
"""How far the drawn depths may leave those read."""

MOST_PASSES, MOST_SPOTS, MOST_POINTS = 3, 400, 90
"""Of a spot, of a lake (best first), and of a pass: a picture of the size of a thumb shows no more."""


def sections(lake_map: LakeMap) -> list[list[dict[str, Any]]]:
    """For each spot, in their order, its passes: those that showed it first, then the nearest; empty for none.

    ``along`` [dm] and ``depth`` [cm] as whole steps, each from the one before; ``rise`` pairs of ends along [dm];
    ``off_m`` how near it came, ``day``, and ``seen`` whether a hit of the spot is this pass's; None for a shape of the
    floor, which no single pass shows.
    """
    soundings, spots = lake_map.soundings, lake_map.spots
    known = np.isfinite(soundings.x_m) & np.isfinite(soundings.depth_m)
    rows = np.flatnonzero(known & soundings.usable() & (soundings.pass_id != NO_PASS))
    if not len(spots) or not len(rows):
        return [[] for _ in range(len(spots))]
    tree = cKDTree(np.column_stack([soundings.x_m[rows], soundings.y_m[rows]]))
    made = []
    for k in range(len(spots)):
        place = np.array([spots.x_m[k], spots.y_m[k]])
        near = tree.query_ball_point(place, REACH_M) if k < MOST_SPOTS else []
        of_spot = spots.hits[k] if len(lake_map.hits) else spots.hits[k][:0]
        showed = set(lake_map.hits.pass_id[of_spot].tolist()) if len(spots.hits[k]) else None
        made.append(_of_spot(soundings, rows[np.sort(np.array(near, np.int64))], place, showed))
    return made


def _of_spot(
    soundings: Soundings, near: Rows, place: NDArray[np.float64], showed: set[int] | None
) -> list[dict[str, Any]]:
    found = []
    for number in np.unique(soundings.pass_id[near]):
        mine = near[soundings.pass_id[near] == number]
        away = np.hypot(soundings.x_m[mine] - place[0], soundings.y_m[mine] - place[1])
        if away.min() <= NEAR_M:
            one = _of_pass(soundings, mine, int(np.argmin(away)))
            if one:
                seen = None if showed is None else int(number) in showed
                found.append(one | {"off_m": round(float(away.min()), 1), "seen": seen})
    return sorted(found, key=lambda one: (not one["seen"], one["off_m"]))[:MOST_PASSES]


def _of_pass(soundings: Soundings, rows: Rows, nearest: int) -> dict[str, Any] | None:
    """The unbroken run of rows around the nearest one; None where that is one row."""
    steps = np.hypot(np.diff(soundings.x_m[rows]), np.diff(soundings.y_m[rows]))
    breaks = np.flatnonzero(steps > GAP_M)
    first = int(breaks[breaks < nearest].max(initial=-1)) + 1
    last = int(breaks[breaks >= nearest].min(initial=len(rows) - 1)) + 1
    along = np.r_[0.0, np.cumsum(steps)]
    along = (along - along[nearest])[first:last]
    mine = rows[first:last]
    if np.ptp(along) <= 0:
        return None
    depth = soundings.depth_m[mine].astype(np.float64)
    times = soundings.time_utc[mine]
    dated = times[~np.isnat(times)]
    return {
        **_line(along, depth), "rise": _stretches(along, soundings.has(Flag.rise)[mine]),
        "day": lines.day_of(dated.min()) if len(dated) else None,
    }


def _line(along: NDArray[np.float64], depth: NDArray[np.float64]) -> dict[str, list[int]]:
    slack = SLACK_M
    line = shapely.simplify(shapely.linestrings(along, depth), slack)
    while shapely.get_num_coordinates(line) > MOST_POINTS:
        slack *= 1.5
        line = shapely.simplify(line, slack)
    kept = shapely.get_coordinates(line)
    return {name: np.diff(np.rint(column * scale).astype(int), prepend=0).tolist()
            for name, column, scale in (("along", kept[:, 0], 10), ("depth", kept[:, 1], 100))}


def _stretches(along: NDArray[np.float64], marked: NDArray[np.bool_]) -> list[list[int]]:
    """Ends [dm] of each run of marked rows, out to the middle of the way to its neighbours."""
    edges = np.flatnonzero(np.diff(np.r_[False, marked, False].astype(int)))
    middles = np.r_[along[0], (along[1:] + along[:-1]) / 2, along[-1]]
    ends: list[list[int]] = np.rint(10 * middles[edges]).astype(int).reshape(-1, 2).tolist()
    return ends
