"""What makes echoes lie about a floor, named: boulders, a soft layer over something hard, gas in mud.

None of these can be told for sure from two echoes. Where the evidence has two readings, the row becomes anything
between them, so that the map shows doubt and no average.
"""

from __future__ import annotations

import numpy as np
from scipy.ndimage import median_filter
from scipy.spatial import cKDTree

from lakemap.hardness.calibrate import class_limits
from lakemap.hardness.groups import Ints, medians, squares
from lakemap.hardness.instruments import Places
from lakemap.hardness.reading import Floats, Mask, Reading
from lakemap.hardness.second_echo import SecondEcho
from lakemap.hardness.settings import HardnessSettings
from lakemap.model.hardness_notes import LEVELS
from lakemap.model.soundings import Soundings
from lakemap.physics.beam import edge_excess_m, pulse_length_m

ROWS = 7
"""Rows in a running median of the first echo's length: one ping's fading says nothing."""
TAIL_MADS = 5.0
FREQUENCY_RATIO = 1.5
"""Frequencies nearer than this go equally deep into mud (own choice)."""
LAYER_SIGMAS, LEAST_LAYER = 3.0, 0.18
"""How far two frequencies must differ in a place: in standard errors, and in hardness (4 dB)."""
LAYER_REACH_M, LAYER_ALIKE = 25.0, 0.15
"""Rows so near to such a place, and reading so much alike, share its doubt (own choice)."""
GAS_NEAR_M, GAS_FAR_M = 30.0, 90.0
GAS_SOFT_SHARE, GAS_FEWEST = 0.7, 6
GAS_RELIEF_M, GAS_RELIEF_SHARE = 0.4, 0.03
"""A hard patch may be gas when at least such a share of the squares in the ring round it is soft, and it does not stand
up from them; rock does (own choice, after the shape of gassy patches in mud)."""
GAS_DEPTH_RANK = 0.6
"""Mud with gas lies in the deep: at or below this share of the lake's squares by depth."""


def scattering(soundings: Soundings, geometry: SecondEcho, reading: Reading, settings: HardnessSettings) -> Mask:
    """Rows (n,) whose first echo is far longer than beam, pulse and the log's usual floor make it, while the second is
    weaker than a hard floor's."""
    tail = (soundings.first_echo_end_m - geometry.shown_m) / geometry.shown_m
    pulse = pulse_length_m(soundings.per_log("pulse_ms", settings.pulse_ms), 1480.0)
    beam = soundings.per_log("beam_deg", settings.beam_deg)
    own = tail - (edge_excess_m(geometry.shown_m, beam) + pulse) / geometry.shown_m
    long = np.zeros(len(soundings), dtype=bool)
    for code in range(len(soundings.logs)):
        rows = np.flatnonzero((soundings.log == code) & np.isfinite(own))
        if len(rows) < ROWS:
            continue
        usual = float(np.median(own[rows]))
        spread = 1.4826 * float(np.median(np.abs(own[rows] - usual)))
        long[rows] = median_filter(own[rows], ROWS, mode="nearest") > usual + max(
            settings.tail_share, TAIL_MADS * spread / np.sqrt(ROWS))
    return np.asarray(long & reading.has(LEVELS) & (reading.value < class_limits(settings)[1]))


def layered(
    places: Places, frequency_khz: Floats, side_m: float, xy: Floats, instrument: Ints
) -> tuple[Mask, Floats]:
    """Rows (n,) in squares where logs of clearly different frequency differ, and what the other log reads there (n,).

    ``places`` on the joined scale; ``frequency_khz`` (k,) by instrument. A square counts with a neighbour that differs
    too: one alone is a stray position.
    """
    other, found = np.full(len(xy), np.nan), np.zeros(len(xy), dtype=bool)
    rows = np.flatnonzero(np.isfinite(xy).all(axis=1) & (instrument >= 0))
    square = squares(xy[rows], side_m)
    known = np.unique(places.instrument)
    for low in known:
        for high in known[frequency_khz[known] >= FREQUENCY_RATIO * frequency_khz[low]]:
            differs, said = _differing(places, int(low), int(high))
            for side, one in enumerate((low, high)):
                at = np.minimum(np.searchsorted(differs, square), max(len(differs) - 1, 0))
                mine = (instrument[rows] == one) & (differs[at] == square if len(differs) else False)
                other[rows[mine]], found[rows[mine]] = said[1 - side][at[mine]], True
    return _in_company(found, xy, side_m), other


def grown(layers: Mask, other: Floats, value: Floats, xy: Floats, instrument: Ints) -> tuple[Mask, Floats]:
    """The rows in doubt and those of the same log beside them that read as they do: days meet in few places only."""
    layers, other = layers.copy(), other.copy()
    for one in np.unique(instrument[layers]):
        known = np.flatnonzero(layers & (instrument == one))
        asked = np.flatnonzero(~layers & (instrument == one) & np.isfinite(value) & np.isfinite(xy).all(axis=1))
        if len(asked) == 0:
            continue
        away, nearest = cKDTree(xy[known]).query(xy[asked], distance_upper_bound=LAYER_REACH_M)
        near = np.isfinite(away)
        source = known[np.where(near, nearest, 0)]
        alike = near & (np.abs(value[asked] - value[source]) < LAYER_ALIKE)
        layers[asked[alike]], other[asked[alike]] = True, other[source[alike]]
    return layers, other


def _differing(places: Places, low: int, high: int) -> tuple[Ints, Floats]:
    """Squares (m,), sorted, in which two instruments differ beyond their errors, and what each reads there (2, m)."""
    one, two = places.take(places.instrument == low), places.take(places.instrument == high)
    both, a, b = np.intersect1d(one.square, two.square, return_indices=True)
    apart = np.abs(one.hardness[a] - two.hardness[b])
    # the deeper going low frequency meets what is below: only there may it be the harder one
    harder = one.hardness[a] > two.hardness[b]
    least = np.maximum(LEAST_LAYER, LAYER_SIGMAS * np.sqrt(one.variance[a] + two.variance[b]))
    differs = harder & (apart > least)
    return both[differs], np.stack([one.hardness[a][differs], two.hardness[b][differs]])


def _in_company(found: Mask, xy: Floats, side_m: float) -> Mask:
    rows = np.flatnonzero(found)
    if len(rows) == 0:
        return found
    square = squares(xy[rows], side_m)
    first = np.unique(square, return_index=True)[1]
    middle = side_m * (np.floor(xy[rows[first]] / side_m) + 0.5)
    near = cKDTree(middle).query_ball_point(middle, 1.5 * side_m, return_length=True)
    lonely = square[first][np.asarray(near) < 2]
    out = found.copy()
    out[rows[np.isin(square, lonely)]] = False
    return out


def gassy(reading: Reading, xy: Floats, depth_m: Floats, settings: HardnessSettings) -> Mask:
    """Rows (n,) of hard squares deep in soft surroundings from which they do not stand up."""
    low, high = class_limits(settings)
    out = np.zeros(len(xy), dtype=bool)
    rows = np.flatnonzero(
        reading.observed & ~reading.censored & np.isfinite(xy).all(axis=1) & np.isfinite(depth_m))
    if len(rows) == 0:
        return out
    _, code = np.unique(squares(xy[rows], settings.join_m), return_inverse=True)
    count = int(code.max()) + 1
    hardness, depth, x, y = (
        medians(column, code, count) for column in (reading.value[rows], depth_m[rows], *xy[rows].T))
    places = np.column_stack([x, y])
    tree = cKDTree(places)
    suspects = np.flatnonzero((hardness >= high) & (depth >= np.quantile(depth, GAS_DEPTH_RANK)))
    ring = tree.query_ball_point(places[suspects], GAS_FAR_M)
    gas = np.zeros(count, dtype=bool)
    for suspect, around in zip(suspects, ring, strict=True):
        far = np.array(around)
        far = far[np.hypot(*(places[far] - places[suspect]).T) > GAS_NEAR_M]
        if len(far) < GAS_FEWEST or np.mean(hardness[far] < low) < GAS_SOFT_SHARE:
            continue
        stands = _plane_at(places[far] - places[suspect], depth[far]) - depth[suspect]
        gas[suspect] = stands < max(GAS_RELIEF_M, GAS_RELIEF_SHARE * depth[suspect])
    out[rows[gas[code]]] = True
    return out & (reading.value >= high)


def _plane_at(away_m: Floats, depth_m: Floats) -> float:
    """Depth [m] that a plane through the places around (k, 2) has in their midst: a slope is no relief."""
    columns = np.column_stack([np.ones(len(away_m)), away_m])
    return float(np.linalg.lstsq(columns, depth_m, rcond=None)[0][0])
