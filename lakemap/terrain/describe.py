"""From a depth surface to its terrain: the one door of this room."""

from __future__ import annotations

import numpy as np

from lakemap.model.frame import Grid
from lakemap.model.surface import Surface
from lakemap.model.terrain import Terrain
from lakemap.terrain.contours import chosen_step_m, draw_contours
from lakemap.terrain.feature_intervals import with_intervals
from lakemap.terrain.features import find_features
from lakemap.terrain.position import position_index, ring_footprint
from lakemap.terrain.settings import TerrainSettings
from lakemap.terrain.slope import horn_slope_deg
from lakemap.terrain.volume import depth_area_volume

TABLE_STEPS_PER_CONTOUR = 2


def describe_terrain(depth: Surface, settings: TerrainSettings) -> Terrain:
    """Slope, position index at two scales, features, contours and the depth-area-volume table of a depth surface.

    A surface with no pixel gives empty layers and a message, no error.
    """
    values = depth.estimate.values.astype(np.float64)
    step_m = settings.contour_m or chosen_step_m(values, _typical_sigma_m(depth), settings.contour_unit)
    contours = draw_contours(depth.estimate, step_m, settings.loop_m)
    return Terrain(
        slope=_grid(depth, horn_slope_deg(values, depth.frame.pixel_m), "slope_deg", "deg"),
        position_fine=_position(depth, "position_fine_m", settings.fine_inner_m, settings.fine_outer_m),
        position_broad=_position(depth, "position_broad_m", settings.broad_inner_m, settings.broad_outer_m),
        features=with_intervals(find_features(depth, settings), depth),
        contours=contours,
        table=depth_area_volume(depth.estimate, step_m / TABLE_STEPS_PER_CONTOUR, depth.realisations),
        messages=_messages(depth, settings),
    )


def _typical_sigma_m(depth: Surface) -> float:
    known = depth.sigma.values[np.isfinite(depth.sigma.values)]
    return float(np.median(known)) if len(known) else 0.0


def _position(depth: Surface, name: str, inner_m: float, outer_m: float) -> Grid:
    ring = ring_footprint(inner_m, outer_m, depth.frame.pixel_m)
    return _grid(depth, position_index(depth.estimate.values.astype(np.float64), ring), name, "m")


def _grid(depth: Surface, values: np.ndarray, name: str, unit: str) -> Grid:
    return Grid(depth.frame, values.astype(np.float32), name, unit)


def _messages(depth: Surface, settings: TerrainSettings) -> tuple[str, ...]:
    said = []
    if not np.isfinite(depth.estimate.values).any():
        said.append("no pixel carries a depth: no contours, no features")
    if not depth.frame.shore_known:
        said.append("no shoreline given: points of the shore are not looked for; give one with --shore")
    if settings.fine_outer_m < 2.0 * depth.frame.pixel_m:
        said.append(
            f"terrain.fine_outer_m = {settings.fine_outer_m:g} is under two pixels ({depth.frame.pixel_m:g} m each): "
            "the near position index compares with the next pixels only"
        )
    return tuple(said)
