"""Boats for the bench: layouts of passes, what they record of a lake, one spike filter and one block reduction."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
import shapely.affinity
import shapely.ops
from lakes import BenchLake
from scipy.ndimage import gaussian_filter1d, median_filter
from shapely.geometry.base import BaseGeometry

from lakemap.model.observations import Observations

DENSE_LAYOUTS = ("straight", "turned", "uneven", "rings")
LAYOUTS = {"E": "even", "I": "irregular", "Z": "zig-zag", "P": "perimeter"}
PING_M = 2.5
POSITION_M, DEPTH_M, DEPTH_SHARE, BIAS_M = 1.0, 0.05, 0.01, 0.15
SPIKES = 0.005
FROM_SHORE_M = 6.0
"""Boats keep so far off the bank."""


@dataclass(frozen=True)
class Survey:
    """``obs``: what is left after the spike filter; ``bias_m`` (passes,) what was put on each; ``lines`` as sailed."""

    obs: Observations
    bias_m: np.ndarray
    lines: list[BaseGeometry]


def layout(lake: BenchLake, kind: str, passes: int, seed: int) -> list[BaseGeometry]:
    """``passes`` lines of the layout ``kind`` (E, I, Z, P), cut to the water that a boat can sail."""
    rng = np.random.default_rng([seed, passes, ord(kind)])
    sailed = lake.water.buffer(-FROM_SHORE_M)
    frame = _long_frame(lake.water)
    made = {"E": _even, "I": _irregular, "Z": _zigzag}.get(kind)
    if made:
        lines = [frame(line) for line in made(passes, rng)]
    else:
        lines = _perimeter(lake.water, frame, passes, rng)
    return [shapely.intersection(line, sailed) for line in lines]


def dense_layout(
    lake: BenchLake, spacing_m: float, ties_m: float, seed: int, kind: str = "straight"
) -> list[BaseGeometry]:
    """Passes about ``spacing_m`` apart and others across them, ``ties_m`` apart: from south to north (``straight``), in
    any direction (``turned``), at uneven distances (``uneven``), or round the bank first (``rings``)."""
    rng = np.random.default_rng([seed, 77])
    sailed = lake.water.buffer(-FROM_SHORE_M)
    if kind == "straight":
        lines = _grid(lake.water, spacing_m, ties_m, rng)
    elif kind == "rings":
        rings = [shapely.remove_repeated_points(part.exterior, 1.0) for away in np.arange(10.0, 100.0, 1.5 * spacing_m)
                 for part in shapely.get_parts(lake.water.buffer(-away)) if part.exterior.length > 200]
        rings = [shapely.LineString(ring.coords) for ring in rings]
        lines = rings + _grid(lake.water, 1.2 * spacing_m, 1.5 * ties_m, rng)
    else:
        middle = lake.water.centroid
        angle = rng.uniform(20, 160) if kind == "turned" else 90.0
        water = shapely.affinity.rotate(lake.water, -angle, middle)
        lines = _grid(water, spacing_m, ties_m, rng, 0.6 if kind == "uneven" else 0.0)
        lines = [shapely.affinity.rotate(line, angle, middle) for line in lines]
    lines = [shapely.intersection(line, sailed) for line in lines]
    return [line for line in lines if line.length > 50]


def _grid(
    water: BaseGeometry, spacing_m: float, ties_m: float, rng: np.random.Generator, jitter: float = 0.0
) -> list[BaseGeometry]:
    """Lines up and lines across over the water's box, each moved by up to ``jitter`` of their distance."""
    west, south, east, north = water.bounds
    x, y = np.arange(west + spacing_m / 2, east, spacing_m), np.arange(south + ties_m / 2, north, ties_m)
    if jitter:
        x, y = (at + jitter * step * rng.uniform(-1, 1, len(at)) for at, step in ((x, spacing_m), (y, ties_m)))
    return [_wavy((at, south - 9), (at, north + 9), rng) for at in x] + [
        _wavy((west - 9, at), (east + 9, at), rng) for at in y]


def sail(
    lake: BenchLake, lines: list[BaseGeometry], seed: int, ping_m: float = PING_M, spikes: float = SPIKES,
    bias_m: float = BIAS_M,
) -> Survey:
    """Soundings along ``lines``: position and depth noise, a bias to each pass, gross errors, then the spike filter."""
    rng = np.random.default_rng([seed, 5])
    given = rng.uniform(-bias_m, bias_m, len(lines))
    parts = [_pings(lake, line, ping_m, rng) for line in lines]
    kept_xy, kept_z, number = [], [], []
    for k, (xy, depth) in enumerate(parts):
        gross = rng.random(len(xy)) < spikes
        read = depth + given[k] + (DEPTH_M + DEPTH_SHARE * depth) * rng.standard_normal(len(xy))
        read = np.where(gross, read * rng.uniform(0.2, 2.0, len(xy)), read)
        keep = ~is_spike(read)
        kept_xy.append(xy[keep])
        kept_z.append(read[keep])
        number.append(np.full(int(keep.sum()), k))
    value = np.concatenate(kept_z)
    sigma = DEPTH_M + DEPTH_SHARE * np.abs(value)
    obs = Observations.of("depth_m", np.concatenate(kept_xy), value, sigma, np.concatenate(number))
    return Survey(obs, given, lines)


def is_spike(value: np.ndarray, width: int = 9) -> np.ndarray:
    """Readings (n,) far from the running median along their pass."""
    if len(value) < width:
        return np.zeros(len(value), dtype=bool)
    away = np.abs(value - median_filter(value, width, mode="nearest"))
    return away > 0.3 + 5 * 1.4826 * median_filter(away, 4 * width + 1, mode="nearest")


def merged_blocks(obs: Observations, block_m: float) -> np.ndarray:
    """Median x, y, depth of all soundings in each square block (k, 3): what every anchor is given."""
    cell = np.floor(obs.xy / block_m).astype(np.int64)
    number = np.unique(cell, axis=0, return_inverse=True)[1].ravel()
    count = np.bincount(number)
    start = np.concatenate([[0], np.cumsum(count)[:-1]])
    columns = []
    for values in (obs.xy[:, 0], obs.xy[:, 1], obs.value):
        ordered = values[np.lexsort((values, number))]
        columns.append((ordered[start + (count - 1) // 2] + ordered[start + count // 2]) / 2)
    return np.column_stack(columns)


def _pings(
    lake: BenchLake, line: BaseGeometry, ping_m: float, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    at = [shapely.get_coordinates(shapely.line_interpolate_point(part, np.arange(0, part.length, ping_m)))
          for part in shapely.get_parts(line) if part.length > 2 * ping_m]
    true = np.concatenate(at) if at else np.empty((0, 2))
    wander = rng.standard_normal((len(true), 2))
    if len(true) > 20:
        slow = gaussian_filter1d(rng.standard_normal((len(true), 2)), 10, axis=0)
        wander = (wander + slow / slow.std()) / np.sqrt(2)
    return true + POSITION_M * wander, lake.depth_at(true)


def _long_frame(water: BaseGeometry) -> Callable[[BaseGeometry], BaseGeometry]:
    """A function from the unit square (u along the long side) to the lake's smallest rectangle."""
    corner = shapely.get_coordinates(shapely.minimum_rotated_rectangle(water))[:4]
    along, across = corner[1] - corner[0], corner[3] - corner[0]
    if np.hypot(*along) < np.hypot(*across):
        along, across = across, along

    def place(line: BaseGeometry) -> BaseGeometry:
        return shapely.transform(line, lambda uv: corner[0] + uv[:, :1] * along + uv[:, 1:] * across)

    return place


def _even(passes: int, rng: np.random.Generator) -> list[BaseGeometry]:
    """Equally far apart across the long side; a single one runs along the middle."""
    if passes == 1:
        v = rng.uniform(0.4, 0.6)
        return [shapely.LineString([(-0.1, v), (1.1, v)])]
    u = (np.arange(passes) + rng.uniform(0.3, 0.7)) / passes
    return [shapely.LineString([(at, -0.1), (at, 1.1)]) for at in u]


def _irregular(passes: int, rng: np.random.Generator) -> list[BaseGeometry]:
    """Chords between random places on opposite or neighbouring sides."""
    made = []
    for k in range(passes):
        a, b = rng.uniform(0.05, 0.95, 2)
        made.append([((a, -0.1), (b, 1.1)), ((-0.1, a), (1.1, b)), ((a, -0.1), (1.1, b))][k % 3])
    return [shapely.LineString(ends) for ends in made]


def _zigzag(passes: int, rng: np.random.Generator) -> list[BaseGeometry]:
    """From bank to bank along the lake; each leg is a pass."""
    u = np.linspace(0.03, 0.97, passes + 1) + rng.uniform(-0.02, 0.02)
    v = np.where(np.arange(passes + 1) % 2 == 0, 0.03, 0.97)
    return [shapely.LineString([(u[k], v[k]), (u[k + 1], v[k + 1])]) for k in range(passes)]


def _perimeter(
    water: BaseGeometry, frame: Callable[[BaseGeometry], BaseGeometry], passes: int, rng: np.random.Generator
) -> list[BaseGeometry]:
    """Round the lake some 40 m off the bank (a third of the passes share the way), then across it."""
    ring = max(shapely.get_parts(water.buffer(-rng.uniform(30, 50))), key=lambda part: part.area).exterior
    legs = 1 if passes == 1 else max(passes // 3, 1)
    cuts = np.linspace(0, ring.length, legs + 1)
    round_it = [shapely.ops.substring(ring, a, b) for a, b in pairwise(cuts)]
    across = passes - legs
    return round_it + [frame(line) for line in (_even(across, rng) if across > 1 else _irregular(across, rng))]


def _wavy(start: tuple[float, float], end: tuple[float, float], rng: np.random.Generator) -> BaseGeometry:
    a, b = np.array(start), np.array(end)
    length = np.hypot(*(b - a))
    t = np.arange(0, length, 10.0)
    side = np.array([-(b - a)[1], (b - a)[0]]) / length
    off = 3 * np.sin(t / 90 + rng.uniform(0, 6))
    return shapely.LineString(a + t[:, None] * (b - a) / length + off[:, None] * side)
