"""A sounder tells the range to the nearest floor in its beam; on a slope that is less than the depth below the boat.

Banks so read too shallow. How much is known once the floor is: the floor that was made is heard through the beam, and
what this beam makes of it is put back on the readings; then the floor is made anew.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, map_coordinates

from lakemap.geo.crossovers import disagreement_m
from lakemap.grid.interpolator import Interpolator
from lakemap.model.frame import GridFrame
from lakemap.model.observations import Observations
from lakemap.model.soundings import Soundings
from lakemap.model.surface import Surface

Floats = NDArray[np.float64]
Floor = Callable[[Floats], Floats]

ROUNDS = 2
"""A floor made of shallow readings is too gentle by a few percent; the second round takes that up (tried)."""

RINGS, AZIMUTHS, STEPS = 4, 16, 3
"""Rays of the beam: rings out to its edge, rays in each, steps that follow a ray to the floor."""

MOST_NODES = 60_000
"""The floor is looked up on at most so many nodes: it is smooth, and a beam is wide."""

OPEN_SHARE = 0.3
"""Share of the shift that stays open: the beam's true width, roll, and the floor's roughness (own choice)."""

NAME = "slope within the beam"


def heard_m(floor: Floor, xy: Floats, beam_deg: Floats) -> Floats:
    """Range (n,) [m] to the nearest floor within a beam of full width ``beam_deg`` (n,) that looks straight down.

    ``floor`` gives the depth at places (m, 2), not NaN near ``xy``. Rays are followed to the floor; for a plane the
    result is that of physics/beam.py's first_return_depth_m.
    """
    below = floor(xy)
    nearest = below.copy()
    half = np.radians(beam_deg) / 2.0
    for ring in range(1, RINGS + 1):
        angle = half * ring / RINGS
        for azimuth in 2.0 * np.pi * np.arange(AZIMUTHS) / AZIMUTHS:
            reached = below
            for _ in range(STEPS):
                away = np.tan(angle) * np.maximum(reached, 0.0)
                reached = floor(xy + np.column_stack([away * np.cos(azimuth), away * np.sin(azimuth)]))
            nearest = np.minimum(nearest, reached / np.cos(angle))
    return nearest


def put_right(
    fitted: Interpolator, blocks: Observations, frame: GridFrame
) -> tuple[Interpolator, Observations]:
    """The readings with what slopes took from them put back, and the interpolator on these; both as they came where no
    beam is known. The parameters stay. The error of the shift joins sigma."""
    if blocks.beam_deg is None or not np.isfinite(blocks.beam_deg).any():
        return fitted, blocks
    known = np.flatnonzero(np.isfinite(blocks.beam_deg))
    right = blocks
    for _ in range(ROUNDS):
        floor = _floor_of(fitted, frame)
        shift = np.zeros(len(blocks))
        shift[known] = _shift(floor, blocks.xy[known], blocks.beam_deg[known])
        right = dataclasses.replace(
            blocks, value=blocks.value + shift, sigma=np.hypot(blocks.sigma, OPEN_SHARE * shift))
        fitted = fitted.with_data(right)
    return fitted, right


def with_slopes_put_right(soundings: Soundings, depth: Surface) -> Soundings:
    """Depths with what slopes took from them put back, where the beam of their log is known, and this among the
    corrections, judged by what crossing passes say."""
    beam = soundings.per_log("beam_deg")
    rows = np.flatnonzero(np.isfinite(beam) & np.isfinite(soundings.depth_m) & np.isfinite(soundings.x_m))
    if not len(rows) or not np.isfinite(depth.estimate.values).any():
        return soundings
    floor = _looked_up(depth.estimate.values.astype(np.float64), depth.frame, 1)
    xy = np.column_stack([soundings.x_m[rows], soundings.y_m[rows]])
    inside = depth.frame.pixel_of(xy[:, 0], xy[:, 1])[2]
    shift = np.zeros(len(soundings))
    shift[rows[inside]] = _shift(floor, xy[inside], beam[rows[inside]])
    if not (shift > 0).any():
        return soundings
    moved = soundings.with_columns(depth_m=soundings.depth_m + shift)
    return moved.with_correction(NAME, disagreement_m(soundings), disagreement_m(moved))


def _shift(floor: Floor, xy: Floats, beam_deg: Floats) -> Floats:
    return np.asarray(np.maximum(floor(xy) - heard_m(floor, xy, beam_deg), 0.0))


def _floor_of(fitted: Interpolator, frame: GridFrame) -> Floor:
    """The floor on every k-th pixel, bilinear between."""
    every = max(1, int(np.ceil(np.sqrt(frame.water.sum() / MOST_NODES))))
    x_m, y_m = frame.centres()
    wanted = frame.water[::every, ::every]
    if not wanted.any():
        every, wanted = 1, frame.water
    row, column = np.nonzero(wanted)
    values = np.full(wanted.shape, np.nan)
    values[row, column] = fitted.predict(np.column_stack([x_m[::every][column], y_m[::every][row]]))[0]
    return _looked_up(values, frame, every)


def _looked_up(values: Floats, frame: GridFrame, every: int) -> Floor:
    """Bilinear between nodes (every k-th pixel of the frame); where nothing is known, the nearest known one."""
    unknown = ~np.isfinite(values)
    if unknown.any() and not unknown.all():
        nearest = distance_transform_edt(unknown, return_distances=False, return_indices=True)
        values = values[tuple(nearest)]
    x_m, y_m = frame.centres()
    step = frame.pixel_m * every

    def floor(xy: Floats) -> Floats:
        nodes = np.array([(y_m[0] - xy[:, 1]) / step, (xy[:, 0] - x_m[0]) / step])
        return np.asarray(map_coordinates(values, nodes, order=1, mode="nearest"))

    return floor
