"""An invented lake for the grid's tests: a rough floor with humps, a channel and ledges, and a boat that surveys it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from affine import Affine
from pyproj import CRS
from scipy.ndimage import gaussian_filter, map_coordinates

from lakemap.model.frame import GridFrame
from lakemap.model.observations import Observations

STEP_M = 2.5
ORIGIN_X, ORIGIN_Y = 400_000.0, 5_000_000.0


@dataclass(frozen=True)
class RoughLake:
    """Depth on a fine lattice (0 on land) whose first node is the south-west corner."""

    depth_m: np.ndarray
    half_x: float
    half_y: float

    def inside(self, x_m: np.ndarray, y_m: np.ndarray) -> np.ndarray:
        u, v = (x_m - ORIGIN_X - self.half_x) / self.half_x, (y_m - ORIGIN_Y - self.half_y) / self.half_y
        return u**2 + v**2 + 0.25 * u * v < 0.94

    def depth_at(self, x_m: np.ndarray, y_m: np.ndarray) -> np.ndarray:
        nodes = np.array([(y_m - ORIGIN_Y) / STEP_M, (x_m - ORIGIN_X) / STEP_M])
        return map_coordinates(self.depth_m, nodes, order=1, mode="nearest")

    def frame(self, pixel_m: float = 5.0) -> GridFrame:
        rows, columns = int(2 * self.half_y / pixel_m), int(2 * self.half_x / pixel_m)
        transform = Affine(pixel_m, 0, ORIGIN_X, 0, -pixel_m, ORIGIN_Y + rows * pixel_m)
        blank = GridFrame((rows, columns), transform, CRS.from_epsg(32632), np.ones((rows, columns), bool), True)
        x_m, y_m = np.meshgrid(*blank.centres())
        return GridFrame(blank.shape, transform, blank.crs, self.inside(x_m, y_m), True)

    def pixel_means(self, frame: GridFrame) -> np.ndarray:
        """Mean true depth in each water pixel (k,)."""
        xy = frame.water_xy()
        steps = (np.arange(4) + 0.5) / 4 - 0.5
        x_m, y_m, side = xy[:, 0], xy[:, 1], frame.pixel_m
        return np.mean([self.depth_at(x_m + a * side, y_m + b * side) for a in steps for b in steps], axis=0)


def rough_lake(seed: int, half_x: float = 600.0, half_y: float = 350.0, roughness_m: float = 0.15) -> RoughLake:
    """A basin of up to some 15 m with two ledges, a winding channel, humps, hollows and a rough floor."""
    rng = np.random.default_rng(seed)
    x, y = np.meshgrid(np.arange(0, 2 * half_x + STEP_M, STEP_M), np.arange(0, 2 * half_y + STEP_M, STEP_M))
    u, v = x / half_x - 1, y / half_y - 1
    inward = np.clip(1 - (u**2 + v**2 + 0.25 * u * v), 0, None)
    depth = 11 * inward**0.6 * (1 + 0.25 * np.sin(2.1 * u + rng.uniform(0, 6)) * np.cos(1.7 * v + rng.uniform(0, 6)))
    for level in rng.uniform(3, 9, 2):
        depth += 0.8 * np.tanh((depth - level) / 0.25)
    bend = 0.3 * np.sin(3 * u + rng.uniform(0, 6))
    depth += 2.5 * np.exp(-(((v - bend) * half_y) / 25) ** 2) * np.minimum(inward * 3, 1)
    for _ in range(25):
        place, width = rng.uniform(-0.8, 0.8, 2), rng.uniform(12, 50)
        away = ((u - place[0]) * half_x) ** 2 + ((v - place[1]) * half_y) ** 2
        depth -= rng.choice([1, 1, -0.7]) * rng.uniform(0.5, 2.5) * np.exp(-away / (2 * width**2))
    for length, share in ((3.0, 0.5), (8.0, 0.8)):
        noise = gaussian_filter(rng.standard_normal(depth.shape), length / STEP_M)
        depth += share * roughness_m * noise / noise.std()
    return RoughLake(np.where(inward > 0, np.clip(depth, 0.3, None), 0.0), half_x, half_y)


def survey(
    lake: RoughLake, seed: int, spacing_m: float = 30.0, bias_m: float = 0.1, ties: int = 3, ping_m: float = 2.5
) -> Observations:
    """What a boat records on parallel passes and a few that cross them: position noise of 1 m, depth noise of
    0.05 m and 1 %, and a bias to each pass."""
    rng = np.random.default_rng(seed + 1000)
    along_y = ORIGIN_X + np.arange(spacing_m / 2, 2 * lake.half_x, spacing_m)
    along_x = ORIGIN_Y + 2 * lake.half_y * (np.arange(ties) + 1) / (ties + 1)
    passes = [_line(x, lake.half_y, ping_m, ORIGIN_Y, rng, False) for x in along_y]
    passes += [_line(y, lake.half_x, ping_m, ORIGIN_X, rng, True) for y in along_x]
    xy, value, number = [], [], []
    for k, line in enumerate(passes):
        line = line[lake.inside(line[:, 0], line[:, 1])]
        if len(line) < 3:
            continue
        depth = lake.depth_at(line[:, 0], line[:, 1])
        sigma = 0.05 + 0.01 * depth
        value.append(depth + sigma * rng.standard_normal(len(line)) + bias_m * rng.standard_normal())
        xy.append(line + _wander(len(line), rng))
        number.append(np.full(len(line), k))
    depths = np.concatenate(value)
    return Observations.of("depth_m", np.concatenate(xy), depths, 0.05 + 0.01 * depths, np.concatenate(number))


def _line(
    at: float, half: float, ping_m: float, start: float, rng: np.random.Generator, eastward: bool
) -> np.ndarray:
    along = start + np.arange(0, 2 * half, ping_m)
    across = at + 3 * np.sin(along / 90 + rng.uniform(0, 6))
    return np.column_stack([along, across] if eastward else [across, along])


def _wander(n: int, rng: np.random.Generator) -> np.ndarray:
    """Position error of 1 m each way, half of it slow (some 10 pings)."""
    slow = gaussian_filter(rng.standard_normal((n, 2)), (10, 0))
    slow /= max(float(slow.std()), 1e-9)
    return np.sqrt(0.5) * (slow + rng.standard_normal((n, 2)))
