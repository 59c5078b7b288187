"""What makes echoes lie about a floor, named: boulders, a soft layer over something hard, gas in mud.

None of these can be told for sure from two echoes. Where the evidence has two readings, the row becomes anything
between them, so that the map shows doubt and no average.
"""

from __future__ import annotations

import numpy as np
from scipy.ndimage import median_filter
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from lakemap.hardness.calibrate import class_limits
from lakemap.hardness.groups import Ints, medians, ranked, squares
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
FEWEST_ROWS, LEAST_LAYER = 4, 0.3
"""Rows of each frequency in a square, and how far apart the nearer quarters of their readings must lie: 7 dB (fitted to
lakes of tests/bench that are not reported)."""
LAYER_REACH_M, LAYER_ALIKE = 25.0, 0.15
"""Rows so near to such a place, and reading so much alike, share its doubt (own choice)."""
GAS_LINK_M, GAS_EDGE_M, GAS_FAR_M = 30.0, 25.0, 45.0
GAS_EDGE_SHARE, GAS_RING_SHARE, GAS_FEWEST = 0.55, 0.55, 4
"""Hard squares so near to each other are one patch. It may be gas where so large a share of the squares within the edge
distance is soft, and of those in the ring beyond it: waves sort stones, sand and mud into one another, so that real
hard floors are mostly bordered by sand; gas in mud ends at once (fitted to lakes of tests/bench not reported)."""
GAS_RELIEF_M, GAS_RELIEF_SHARE = 0.4, 0.03
"""Rock stands up from the mud around it by more than this, gas does not (own choice)."""
GAS_DEPTH_RANK = 0.4
"""Mud with gas lies in the deep: not in this share of the lake's squares, the shallowest."""


def scattering(soundings: Soundings, geometry: SecondEcho, reading: Reading, settings: HardnessSettings) -> Mask:
    """Rows (n,) whose first echo is far longer than beam, pulse and the log's usual floor make it, while both together
    read softer than the middle of hard floors."""
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
    return np.asarray(long & reading.has(LEVELS) & (reading.value < (class_limits(settings)[1] + 1.0) / 2.0))


def layered(
    reading: Reading, frequency_khz: Floats, side_m: float, xy: Floats, instrument: Ints
) -> tuple[Mask, Floats]:
    """Rows (n,) in squares where logs of clearly different frequency differ, and what the other log reads there (n,).

    ``reading`` on the joined scale; ``frequency_khz`` (k,) by instrument, -1 is none. The squares are laid twice, half
    a side apart: passes meet where they meet.
    """
    other, found = np.full(len(xy), np.nan), np.zeros(len(xy), dtype=bool)
    rows = np.flatnonzero(
        np.isfinite(xy).all(axis=1) & (instrument >= 0) & reading.observed & ~reading.censored)
    known = np.unique(instrument[rows])
    for shift_m in (0.0, side_m / 2.0):
        square = squares(xy[rows] + shift_m, side_m)
        for low in known:
            for high in known[frequency_khz[known] >= FREQUENCY_RATIO * frequency_khz[low]]:
                one, two = rows[instrument[rows] == low], rows[instrument[rows] == high]
                here = square[instrument[rows] == low], square[instrument[rows] == high]
                differs, said = _differing((reading.value[one], here[0]), (reading.value[two], here[1]))
                for side, (mine, at) in enumerate(zip((one, two), here, strict=True)):
                    place = np.minimum(np.searchsorted(differs, at), max(len(differs) - 1, 0))
                    hit = differs[place] == at if len(differs) else np.zeros(len(at), dtype=bool)
                    other[mine[hit]], found[mine[hit]] = said[1 - side][place[hit]], True
    return found, other


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


def _differing(low: tuple[Floats, Ints], high: tuple[Floats, Ints]) -> tuple[Ints, Floats]:
    """Squares (m,), sorted, in which the lower frequency reads harder throughout, and what both read there (2, m).

    Each given as its readings and their squares. Throughout: its softer quarter is harder than the other's harder
    quarter. At the edge of two floors both logs have met both, and their readings overlap.
    """
    told = []
    for (value, square), share in ((low, 0.25), (high, 0.75)):
        name, code, count = np.unique(square, return_inverse=True, return_counts=True)
        told.append((name, medians(value, code, len(name)), ranked(value, code, len(name), share), count))
    both, a, b = np.intersect1d(told[0][0], told[1][0], return_indices=True)
    enough = (told[0][3][a] >= FEWEST_ROWS) & (told[1][3][b] >= FEWEST_ROWS)
    differs = enough & (told[0][2][a] - told[1][2][b] > LEAST_LAYER)
    return both[differs], np.stack([told[0][1][a][differs], told[1][1][b][differs]])


def gassy(reading: Reading, xy: Floats, depth_m: Floats, settings: HardnessSettings) -> Mask:
    """Rows (n,) of hard patches deep in mud that begins at their very edge and from which they do not stand up."""
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
    gas = np.zeros(count, dtype=bool)
    others = np.flatnonzero(hardness < high)
    deep = np.quantile(depth, GAS_DEPTH_RANK)
    for patch in _patches(places, np.flatnonzero(hardness >= high)):
        middle = places[patch].mean(axis=0)
        if len(others) == 0 or depth[patch].mean() < deep:
            continue
        away = cKDTree(places[patch]).query(places[others], distance_upper_bound=GAS_FAR_M)[0]
        edge, ring = others[away <= GAS_EDGE_M], others[(away > settings.join_m) & np.isfinite(away)]
        if not (_soft(hardness[edge], low, GAS_EDGE_SHARE) and _soft(hardness[ring], low, GAS_RING_SHARE)):
            continue
        stands = _plane_at(places[ring] - middle, depth[ring]) - float(np.median(depth[patch]))
        gas[patch] = stands < max(GAS_RELIEF_M, GAS_RELIEF_SHARE * float(np.median(depth[patch])))
    out[rows[gas[code]]] = True
    return out & (reading.value >= high)


def _soft(hardness: Floats, low: float, share: float) -> bool:
    return len(hardness) >= GAS_FEWEST and bool(np.mean(hardness < low) >= share)


def _patches(places: Floats, hard: Ints) -> list[Ints]:
    """Hard squares (k,) that lie within GAS_LINK_M of each other, patch by patch."""
    if len(hard) == 0:
        return []
    pairs = cKDTree(places[hard]).query_pairs(GAS_LINK_M, output_type="ndarray")
    links = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(hard), len(hard)))
    number, label = connected_components(links, directed=False)
    return [hard[label == k] for k in range(number)]


def _plane_at(away_m: Floats, depth_m: Floats) -> float:
    """Depth [m] that a plane through the places around (k, 2) has in their midst: a slope is no relief."""
    columns = np.column_stack([np.ones(len(away_m)), away_m])
    return float(np.linalg.lstsq(columns, depth_m, rcond=None)[0][0])
