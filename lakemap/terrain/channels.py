"""Channels: long narrow lows such as an old river bed, and the outsides of their bends."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import dijkstra

from lakemap.terrain.floor import Floor, confidence_of
from lakemap.terrain.found import Found
from lakemap.terrain.regions import closed, connected, crop, distance_px
from lakemap.terrain.settings import TerrainSettings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]

STOPS_GROWING = 1.6
"""In twice the window a basin's low is twice as deep or more, a channel's stays: its banks end (own choice)."""

FOOT = 0.5
"""A channel reaches out to this share of its least depth below the banks."""

LENGTH_PER_WIDTH = 4.0
"""A channel is at least so many times as long as it is wide; a shorter low is a hole (own choice)."""


def find_channels(floor: Floor, settings: TerrainSettings) -> list[Found]:
    """Channels and their outside bends; relief is the median depth below the banks, beyond ``sigmas`` errors.

    Depth below the banks is depth less its opening by a square wider than the channel (grey morphology): nothing on any
    even slope, and the incision where a low is narrower than the square.
    """
    window = floor.pixels(settings.channel_width_m)
    cut = _incision(floor, window)
    wide = _incision(floor, 2.0 * window)
    error = np.sqrt(2.0) * np.nan_to_num(floor.sigma_m)
    least = np.maximum(settings.channel_relief_m, settings.sigmas * error)
    ends = (cut > 0) & (wide <= STOPS_GROWING * cut)
    low = closed((cut >= FOOT * least) & ends, 1.5)
    found: list[Found] = []
    for rows, columns in connected(low & floor.seen, floor.pixels(settings.channel_length_m)):
        deep = cut[rows, columns]
        strong = deep >= least[rows, columns]
        if strong.any():
            found += _channel(rows, columns, cut, floor, settings)
    return found


def _incision(floor: Floor, window_px: float) -> Floats:
    size = max(3, 2 * round(window_px / 2.0) + 1)
    eroded = ndimage.minimum_filter(np.where(floor.seen, floor.depth_m, np.inf), size=size, mode="nearest")
    opened = ndimage.maximum_filter(np.where(np.isfinite(eroded), eroded, -np.inf), size=size, mode="nearest")
    return np.where(floor.seen, floor.depth_m - opened, 0.0)


def _channel(rows: Ints, columns: Ints, cut: Floats, floor: Floor, settings: TerrainSettings) -> list[Found]:
    line = _middle_line(rows, columns)
    length = float(np.hypot(*np.diff(line, axis=0).T).sum()) if len(line) > 1 else 0.0
    width = len(rows) / max(length, 1.0)
    on_line = tuple(np.rint(line).astype(int).T)
    relief = float(np.median(cut[on_line]))
    error = np.sqrt(2.0) * floor.typical_sigma_m(_mask(rows, columns, floor.seen.shape))
    if (
        length < max(floor.pixels(settings.channel_length_m), LENGTH_PER_WIDTH * width)
        or relief < max(settings.channel_relief_m, settings.sigmas * error)
    ):
        return []
    sure = confidence_of(relief, settings.channel_relief_m, error)
    deepest = int(np.argmax(cut[on_line]))
    anchor = int(on_line[0][deepest]), int(on_line[1][deepest])
    whole = Found("channel", rows, columns, anchor, relief, sure)
    return [whole, *_bends(whole, line, width, floor, settings)]


def _bends(whole: Found, line: Floats, width: float, floor: Floor, settings: TerrainSettings) -> list[Found]:
    """Outside halves of the bends: where the line turns by ``bend_deg`` within some widths, on the far side."""
    smooth = ndimage.gaussian_filter1d(line, max(2.0, width / 2.0), axis=0, mode="nearest")
    arm = max(4, round(2.0 * width))
    if len(smooth) < 2 * arm + 3:
        return []
    before = smooth[arm:-arm] - smooth[: -2 * arm]
    after = smooth[2 * arm:] - smooth[arm:-arm]
    across = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    turn = np.degrees(np.arctan2(across, np.sum(before * after, axis=1)))
    found: list[Found] = []
    for rows, _ in connected((np.abs(turn) >= settings.bend_deg)[:, None], 2):
        at = int(rows[np.argmax(np.abs(turn[rows]))])
        middle, inward = smooth[arm + at], after[at] / np.hypot(*after[at]) - before[at] / np.hypot(*before[at])
        inward = inward / max(float(np.hypot(*inward)), 1e-9)
        side = np.column_stack([whole.rows, whole.columns]) - middle
        outer = (side @ inward <= 0) & (np.hypot(*side.T) <= arm)
        if outer.any():
            far = side @ -inward - 0.5 * np.abs(side @ np.array([-inward[1], inward[0]]))
            anchor = int(np.argmax(np.where(outer, far, -np.inf)))
            found.append(Found("outside bend", whole.rows[outer], whole.columns[outer],
                               (int(whole.rows[anchor]), int(whole.columns[anchor])), whole.relief_m, whole.confidence))
    return found


def _middle_line(rows: Ints, columns: Ints) -> Floats:
    """Pixels (p, 2) of the longest way through a group that keeps to its middle."""
    window = crop((int(rows.max()) + 1, int(columns.max()) + 1), rows, columns, 0)
    mask = np.zeros((window[0].stop - window[0].start, window[1].stop - window[1].start), bool)
    mask[rows - window[0].start, columns - window[1].start] = True
    graph, places = _graph_of(mask)
    first = int(np.argmax(_finite(dijkstra(graph, indices=0))))
    away, came = dijkstra(graph, indices=first, return_predecessors=True)
    at, way = int(np.argmax(_finite(away))), []
    while at >= 0:
        way.append(at)
        at = int(came[at])
    return np.asarray(places[way] + np.array([window[0].start, window[1].start]), dtype=np.float64)


def _graph_of(mask: Mask) -> tuple[coo_matrix, Ints]:
    """Steps between neighbouring pixels, dearer near the sides; and the pixels (k, 2)."""
    number = np.full(mask.shape, -1)
    number[mask] = np.arange(np.count_nonzero(mask))
    depth = distance_px(mask)
    a_all, b_all, cost_all = [], [], []
    for down, right in ((0, 1), (1, 0), (1, 1), (1, -1)):
        here = number[: mask.shape[0] - down, max(0, -right): mask.shape[1] - max(0, right)]
        there = number[down:, max(0, right): mask.shape[1] - max(0, -right)]
        both = (here >= 0) & (there >= 0)
        a, b = here[both], there[both]
        inside = np.minimum(depth[mask][a], depth[mask][b])
        a_all.append(a)
        b_all.append(b)
        cost_all.append(np.hypot(down, right) / inside)
    a, b, cost = (np.concatenate(part) for part in (a_all, b_all, cost_all))
    count = int(number.max()) + 1
    graph = coo_matrix((np.append(cost, cost), (np.append(a, b), np.append(b, a))), shape=(count, count)).tocsr()
    return graph, np.argwhere(mask)


def _finite(values: Floats) -> Floats:
    return np.where(np.isfinite(values), values, -1.0)


def _mask(rows: Ints, columns: Ints, shape: tuple[int, ...]) -> Mask:
    mask = np.zeros(shape, bool)
    mask[rows, columns] = True
    return mask
