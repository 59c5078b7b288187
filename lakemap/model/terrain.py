"""The shape of the floor: layers, features, contours, and how much water lies above each depth."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from lakemap.model.frame import Grid

Floats = NDArray[np.float64]

FEATURE_KINDS = ("hump", "hole", "drop-off", "ledge", "flat", "point", "saddle", "channel", "outside bend")


@dataclass(frozen=True)
class Features:
    """k features: kind (a word of FEATURE_KINDS), outline as polygons in the working CRS, an anchor point (k,),
    relief or height [m], area [m2], mean slope [deg], depth at the anchor [m], confidence 0..1; ends of the interval of
    the relief [m] where realisations were drawn, else empty.
    """

    kind: tuple[str, ...] = ()
    geometry: tuple[BaseGeometry, ...] = ()
    x_m: Floats = field(default_factory=lambda: np.empty(0))
    y_m: Floats = field(default_factory=lambda: np.empty(0))
    relief_m: Floats = field(default_factory=lambda: np.empty(0))
    area_m2: Floats = field(default_factory=lambda: np.empty(0))
    slope_deg: Floats = field(default_factory=lambda: np.empty(0))
    depth_m: Floats = field(default_factory=lambda: np.empty(0))
    confidence: Floats = field(default_factory=lambda: np.empty(0))
    relief_low_m: Floats = field(default_factory=lambda: np.empty(0))
    relief_high_m: Floats = field(default_factory=lambda: np.empty(0))

    def __len__(self) -> int:
        return len(self.kind)


@dataclass(frozen=True)
class Contours:
    """Lines of equal depth [m] in the working CRS, shallow first."""

    depth_m: Floats
    lines: tuple[BaseGeometry, ...]
    step_m: float

    def __len__(self) -> int:
        return len(self.lines)


@dataclass(frozen=True)
class Intervals:
    """Ends (k,) of the interval that holds ``share`` of the ``realisations`` surfaces, for each row of the table."""

    share: float
    realisations: int
    area_low_m2: Floats
    area_high_m2: Floats
    volume_low_m3: Floats
    volume_high_m3: Floats


@dataclass(frozen=True)
class DepthAreaVolume:
    """For each depth (k,): area of water at least that deep [m2], and the volume that lies below that depth [m3].

    ``area_drawn_m2``: what the surface covers; where it is less than the lake, the table speaks of that part only.
    ``intervals`` where realisations were drawn; the common error is not in them.
    """

    depth_m: Floats
    area_m2: Floats
    volume_m3: Floats
    area_drawn_m2: float
    area_lake_m2: float | None
    intervals: Intervals | None = None


@dataclass(frozen=True)
class Terrain:
    """All that describe_terrain makes from a depth surface."""

    slope: Grid
    position_fine: Grid
    position_broad: Grid
    features: Features
    contours: Contours
    table: DepthAreaVolume
    messages: tuple[str, ...] = ()
