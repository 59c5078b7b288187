"""Harrow Lake, which does not exist: what is truly there, for tests to judge by. The pipeline never sees it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS
from scipy.ndimage import map_coordinates

from lakemap.demo.bottom import grain_size_phi, reflection_of
from lakemap.demo.cover import Cover, plant_cover
from lakemap.demo.outline import water_outline
from lakemap.demo.shape import Planted, features, make_floor
from lakemap.errors import FrameMismatch
from lakemap.model.frame import GridFrame
from lakemap.physics.reflection import bottom_class, bottom_loss_db, hardness_index

Floats = NDArray[np.float64]

DEMO_NAME = "Harrow Lake"
CRS_CODE = 32614
CORNER_M = (471_200.0, 4_322_500.0)
"""South-west corner of the lake's box on CRS_CODE: dry plains in truth, the lake is invented."""


@dataclass(frozen=True)
class DemoLake:
    """What is truly there. Places are x, y [m] on ``crs``; ``lattice_depth_m`` and ``lattice_reflection`` hold one
    value a metre from ``corner_m`` on, rows from the south, depth 0 on land.
    """

    crs: CRS
    corner_m: tuple[float, float]
    shoreline: shapely.Polygon
    cover: Cover
    features: tuple[Planted, ...]
    lattice_depth_m: Floats
    lattice_reflection: Floats

    def depth_m(self, x_m: ArrayLike, y_m: ArrayLike) -> Floats:
        """Depth of the bare floor [m], without what stands on it; 0 on land; any shape."""
        return self._at(self.lattice_depth_m, x_m, y_m)

    def reflection(self, x_m: ArrayLike, y_m: ArrayLike) -> Floats:
        """Reflection coefficient of the floor; any shape."""
        return self._at(self.lattice_reflection, x_m, y_m)

    def bottom_class(self, x_m: ArrayLike, y_m: ArrayLike) -> NDArray[np.int8]:
        """0 soft, 1 medium, 2 hard (words in physics/reflection.py); any shape."""
        return bottom_class(hardness_index(bottom_loss_db(self.reflection(x_m, y_m))))

    def mean_depth(self, frame: GridFrame, parts: int = 5) -> Floats:
        """Mean depth of the water within each pixel (rows, columns), from parts x parts places; NaN on land.

        Raises FrameMismatch for a frame on another CRS.
        """
        return _mean_of_parts([np.where(wet > 0, wet, np.nan) for wet in self._parts(frame, "depth_m", parts)])

    def mean_reflection(self, frame: GridFrame, parts: int = 3) -> Floats:
        """Mean reflection coefficient within each pixel (rows, columns); NaN on land."""
        wet = np.isfinite(self.mean_depth(frame))
        return np.where(wet, _mean_of_parts(self._parts(frame, "reflection", parts)), np.nan)

    def _parts(self, frame: GridFrame, name: str, parts: int) -> list[Floats]:
        if frame.crs != self.crs:
            raise FrameMismatch(f"frame on {frame.crs.name}, lake on {self.crs.name}; make the frame on the lake's CRS")
        x_m, y_m = np.meshgrid(*frame.centres())
        steps = ((np.arange(parts) + 0.5) / parts - 0.5) * frame.pixel_m
        return [getattr(self, name)(x_m + dx, y_m + dy) for dx in steps for dy in steps]

    def _at(self, values: Floats, x_m: ArrayLike, y_m: ArrayLike) -> Floats:
        x, y = np.broadcast_arrays(np.asarray(x_m, np.float64), np.asarray(y_m, np.float64))
        nodes = np.stack([(y - self.corner_m[1]).ravel(), (x - self.corner_m[0]).ravel()])
        return np.asarray(map_coordinates(values, nodes, order=1, mode="nearest"), np.float64).reshape(x.shape)


def _mean_of_parts(parts: list[Floats]) -> Floats:
    stack = np.stack(parts)
    known = np.isfinite(stack)
    with np.errstate(invalid="ignore"):
        return np.asarray(np.where(known, stack, 0.0).sum(axis=0) / known.sum(axis=0), dtype=np.float64)


@lru_cache(maxsize=2)
def demo_lake(seed: int = 1) -> DemoLake:
    """Harrow Lake; another ``seed`` strews roughness, patches and cover anew on the same shape."""
    shore_rng, floor_rng, bottom_rng, cover_rng = (np.random.default_rng([seed, part]) for part in range(4))
    outline = water_outline(shore_rng)
    floor = make_floor(outline, floor_rng)
    reflection = reflection_of(grain_size_phi(floor, bottom_rng))
    east, north = CORNER_M
    cover = plant_cover(floor, outline, cover_rng)
    return DemoLake(
        crs=CRS.from_epsg(CRS_CODE), corner_m=CORNER_M,
        shoreline=shapely.transform(outline, lambda xy: xy + np.array(CORNER_M)),
        cover=replace(cover, x_m=cover.x_m + east, y_m=cover.y_m + north),
        features=tuple(replace(f, x_m=f.x_m + east, y_m=f.y_m + north) for f in features()),
        lattice_depth_m=floor.depth_m, lattice_reflection=reflection,
    )
