"""Lakes for the bench, with their truth: one invented, others made by flooding the elevation sample of matplotlib."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from itertools import pairwise

import numpy as np
import shapely
from affine import Affine
from contourpy import contour_generator
from pyproj import CRS
from scipy.ndimage import gaussian_filter, map_coordinates, zoom
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from lakemap.geo.shore import water_mask
from lakemap.model.frame import GridFrame
from lakemap.model.shoreline import Shore

STEP_M = 2.5
SLOPE_M = 1.0
WEST_M, SOUTH_M = 400_000.0, 5_000_000.0
UTM = CRS.from_epsg(32632)
NO_GEOMETRY = shapely.MultiLineString([])


@dataclass(frozen=True, eq=False)
class BenchLake:
    """``depth_m`` (rows, columns): node (i, j) lies i steps north and j steps east of the south-west corner.

    ``water`` is the true outline; ``walls`` are the stretches of it where the water is deep at once; ``peninsula`` is
    its middle line, empty without one.
    """

    name: str
    depth_m: np.ndarray
    water: BaseGeometry
    walls: BaseGeometry = NO_GEOMETRY
    peninsula: BaseGeometry = NO_GEOMETRY
    held_back: bool = False
    _frames: dict = field(default_factory=dict, repr=False)

    def depth_at(self, xy: np.ndarray) -> np.ndarray:
        """True depth [m] at ``xy`` (n, 2)."""
        nodes = np.array([xy[:, 1] - SOUTH_M, xy[:, 0] - WEST_M]) / STEP_M
        return map_coordinates(self.depth_m, nodes, order=1, mode="nearest")

    def inside(self, xy: np.ndarray) -> np.ndarray:
        """Which of ``xy`` (n, 2) lie in the water."""
        shapely.prepare(self.water)
        return shapely.contains_xy(self.water, xy[:, 0], xy[:, 1])

    @cached_property
    def bank(self) -> BaseGeometry:
        """The outline without its walls."""
        edge = self.water.boundary
        return edge if self.walls.is_empty else edge.difference(self.walls.buffer(1.0))

    def shore_points(self, every_m: float = 10.0) -> np.ndarray:
        """Points (k, 2) along the outline, none on walls."""
        return _along(self.bank, every_m)

    @cached_property
    def _bank_tree(self) -> cKDTree:
        return cKDTree(_along(self.water.boundary, 1.0))

    def to_shore_m(self, xy: np.ndarray) -> np.ndarray:
        """Distance (n,) to the outline, walls and all."""
        return self._bank_tree.query(xy)[0]

    def frame(self, pixel_m: float = 5.0) -> GridFrame:
        """The lake's frame; what is known of its shore goes with it."""
        if pixel_m not in self._frames:
            rows, columns = (int(np.ceil((n - 1) * STEP_M / pixel_m)) for n in self.depth_m.shape)
            transform = Affine(pixel_m, 0, WEST_M, 0, -pixel_m, SOUTH_M + rows * pixel_m)
            mask = water_mask(self.water, (rows, columns), transform)
            self._frames[pixel_m] = _with_shore(GridFrame((rows, columns), transform, UTM, mask, True), self)
        return self._frames[pixel_m]

    def pixel_means(self, frame: GridFrame) -> np.ndarray:
        """Mean true depth of each water pixel (k,)."""
        xy = frame.water_xy()
        steps = ((np.arange(4) + 0.5) / 4 - 0.5) * frame.pixel_m
        return np.mean([self.depth_at(xy + [a, b]) for a in steps for b in steps], axis=0)

    def steepest_deg(self, frame: GridFrame) -> np.ndarray:
        """Steepest true slope (k,) met within each water pixel, edges too: a ledge may lie between two middles."""
        xy, steepest = frame.water_xy(), np.zeros(int(frame.water.sum()))
        east, north = np.array([SLOPE_M / 2, 0.0]), np.array([0.0, SLOPE_M / 2])
        across = np.arange(-frame.pixel_m / 2, frame.pixel_m / 2 + 1e-9, SLOPE_M)
        for place in (xy + [a, b] for a in across for b in across):
            dx = self.depth_at(place + east) - self.depth_at(place - east)
            dy = self.depth_at(place + north) - self.depth_at(place - north)
            steepest = np.maximum(steepest, np.degrees(np.arctan(np.hypot(dx, dy) / SLOPE_M)))
        return steepest


def _with_shore(frame: GridFrame, lake: BenchLake) -> GridFrame:
    return dataclasses.replace(frame, shore=Shore(lake.water, lake.walls))


def _along(lines: BaseGeometry, every_m: float) -> np.ndarray:
    points = []
    for line in shapely.get_parts(shapely.line_merge(lines) if lines.geom_type != "LineString" else lines):
        at = np.arange(0.0, line.length, every_m)
        points.append(shapely.get_coordinates(shapely.line_interpolate_point(line, at)))
    return np.concatenate(points)


def _noise(shape: tuple[int, int], length_m: float, rng: np.random.Generator) -> np.ndarray:
    made = gaussian_filter(rng.standard_normal(shape), length_m / STEP_M)
    return made / made.std()


def _smooth(shape: tuple[int, int], length_m: float, rng: np.random.Generator) -> np.ndarray:
    """As _noise for lengths of many steps, made on a coarser lattice."""
    coarse = max(int(length_m / STEP_M / 6), 1)
    small = tuple(n // coarse + 2 for n in shape)
    made = gaussian_filter(rng.standard_normal(small), length_m / STEP_M / coarse)
    made = zoom(made, coarse, order=1)[: shape[0], : shape[1]]
    return (made - made.mean()) / made.std()


@lru_cache(maxsize=4)
def simulated_lake(seed: int, roughness_m: float = 0.15) -> BenchLake:
    """3 x 2 km: a peninsula some 30 m wide with other depths on either side, an island, a channel, humps, a ledge."""
    rng = np.random.default_rng(seed)
    x, y = np.meshgrid(np.arange(0, 3000 + STEP_M, STEP_M), np.arange(0, 2000 + STEP_M, STEP_M))
    angle = np.linspace(0, 2 * np.pi, 721)[:-1]
    bulge = 0.9 + sum(0.05 * np.cos(k * angle + rng.uniform(0, 6)) / np.sqrt(k - 1) for k in (2, 3, 5, 8))
    bulge /= bulge.max() * 1.02
    outer = shapely.Polygon(np.column_stack([1500 + 1500 * bulge * np.cos(angle), 1000 + 1000 * bulge * np.sin(angle)]))
    finger_x, lean = rng.uniform(1000, 1900), rng.uniform(-150, 150)
    up = np.linspace(0, 1, 40)
    middle = np.column_stack([finger_x + lean * up + 40 * np.sin(4 * up), 1000 * up])
    peninsula = shapely.LineString(middle)
    island = shapely.Point(rng.uniform(700, 2300), rng.uniform(1250, 1500)).buffer(rng.uniform(50, 90))
    water = outer.difference(peninsula.buffer(15)).difference(island)
    water = max(shapely.get_parts(water), key=lambda part: part.area)
    edge = cKDTree(_along(water.boundary, 1.0))
    d = edge.query(np.column_stack([x.ravel(), y.ravel()]))[0].reshape(x.shape)
    deep = 13 + 2.5 * _smooth(x.shape, 350, rng) + 2.0 * np.sign(x - np.interp(y, middle[:, 1], middle[:, 0])) * (
        np.clip(1 - np.abs(y - 500) / 900, 0, 1) * np.exp(-np.abs(x - finger_x) / 500))
    bank_m = np.clip(70 * np.exp(0.5 * _smooth(x.shape, 300, rng)), 20, 200)
    depth = np.maximum(deep, 5) * (1 - np.exp(-d / bank_m))
    level = rng.uniform(5, 8)
    depth += 0.7 * np.tanh((depth - level) / 0.4) * np.minimum(d / 60, 1)
    bend = 1150 + 200 * np.sin(x / 420 + rng.uniform(0, 6))
    depth += 2.5 * np.exp(-(((y - bend) / 25) ** 2)) * np.minimum(d / 80, 1)
    for _ in range(25):
        cx, cy, width = rng.uniform(300, 2700), rng.uniform(200, 1800), rng.uniform(15, 50)
        hump = rng.uniform(0.5, 2.5) * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * width**2))
        depth -= hump * np.minimum(d / 60, 1)
    for length, share in ((3.0, 0.5), (8.0, 0.85)):
        depth += share * roughness_m * _noise(x.shape, length, rng) * np.minimum(d / 10, 1)
    at = np.array([WEST_M, SOUTH_M])
    moved = [shapely.transform(shape, lambda xy: xy + at) for shape in (water, peninsula.intersection(outer))]
    return BenchLake(f"simulated {seed}", np.clip(depth, 0.05, None), moved[0], NO_GEOMETRY, moved[1])


HELD_BACK = "held back"
FLOODED: dict[str, tuple[int, int, int, float, float, float, str]] = {
    "forked": (176, 94, 72, 20.0, 0.3, 14.0, ""),
    "bays": (41, 329, 54, 30.0, 0.5, 10.0, ""),
    "long": (79, 143, 56, 35.0, 0.3, 24.0, ""),
    "star": (93, 144, 71, 20.0, 0.4, 14.0, ""),
    "ragged": (264, 225, 64, 25.0, 0.5, 10.0, ""),
    "arm": (236, 278, 60, 25.0, 0.5, 24.0, ""),
    "dam": (189, 131, 54, 35.0, 0.3, 18.0, "west"),
    HELD_BACK: (104, 224, 52, 35.0, 0.4, 10.0, ""),
}
"""Name: first row and column of the cut, cells each way, metres a cell is made, quantile of height to which it is
filled, depth [m] that the .98 quantile of depth is scaled to, and the side that is a wall."""


def _elevation() -> np.ndarray:
    from matplotlib.cbook import get_sample_data

    with get_sample_data("jacksboro_fault_dem.npz") as sample:
        return np.asarray(sample["elevation"], dtype=float)[::-1]


def _raised_edge(cut: np.ndarray, wall: str, cells: int = 8) -> np.ndarray:
    """The cut with land rising towards its edges, but for the side that is to be a wall."""
    rows, columns = (np.arange(n) for n in cut.shape)
    far = 1000
    south, north = (np.full_like(rows, far) if wall == side else way for side, way in
                    (("south", rows), ("north", rows[::-1])))
    west, east = (np.full_like(columns, far) if wall == side else way for side, way in
                  (("west", columns), ("east", columns[::-1])))
    to_edge = np.minimum(np.minimum(south, north)[:, None], np.minimum(west, east)[None, :])
    return cut + 1.5 * np.ptp(cut) * np.clip(1 - to_edge / cells, 0, None) ** 2


@lru_cache(maxsize=8)
def flooded_lake(name: str, roughness_m: float = 0.1) -> BenchLake:
    """Real terrain, scaled, cut and filled with water; fine roughness is added, which the sample cannot show."""
    row, column, cells, cell_m, quantile, deep_m, wall = FLOODED[name]
    cut = _raised_edge(_elevation()[row : row + cells, column : column + cells], wall)
    inner = cut[6:-6, 6:-6]
    below = np.quantile(inner, quantile) - zoom(cut, cell_m / STEP_M, order=3, mode="nearest", grid_mode=True)
    rows, columns = below.shape
    x, y = WEST_M + STEP_M * np.arange(columns), SOUTH_M + STEP_M * np.arange(rows)
    points, offsets = contour_generator(x, y, below, fill_type="OuterOffset").filled(0.0, np.inf)
    shapes = [
        shapely.Polygon(ring[: at[1]], [ring[a:b] for a, b in pairwise(at[1:]) if b - a > 12])
        for ring, at in zip(points, offsets, strict=True)
    ]
    water = shapely.make_valid(max(shapes, key=lambda shape: shape.area))
    water = max(shapely.get_parts(water), key=lambda shape: shape.area)
    side = {"south": ((0, 0), (1, 0)), "north": ((0, 1), (1, 1)), "west": ((0, 0), (0, 1)), "east": ((1, 0), (1, 1))}
    walls = NO_GEOMETRY
    if wall:
        ends = [(x[0] + a * (x[-1] - x[0]), y[0] + b * (y[-1] - y[0])) for a, b in side[wall]]
        walls = water.boundary.intersection(shapely.LineString(ends).buffer(0.5))
    east, north = np.meshgrid(x, y)
    inside = shapely.contains_xy(water, east, north)
    depth = np.where(inside, below, 0.0)
    depth *= deep_m / np.quantile(depth[inside], 0.98)
    rng = np.random.default_rng(row + 1000 * column)
    rough = sum(share * _noise(depth.shape, length, rng) for length, share in ((3.0, 0.5), (8.0, 0.85)))
    depth = np.clip(depth + roughness_m * rough * np.minimum(depth, 1), 0.0, None)
    return BenchLake(name, depth, water, walls, held_back=name == HELD_BACK)


def flooded_names(held_back: bool = False) -> list[str]:
    """Names of the flooded lakes to tune on, or with the one that is held back."""
    return [name for name in FLOODED if held_back or name != HELD_BACK]
