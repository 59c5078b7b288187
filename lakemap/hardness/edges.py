"""Edges of hard floors as lines: where hard meets something else within a short way, as people look for them."""

from __future__ import annotations

import contourpy
import numpy as np
import shapely
from scipy.ndimage import map_coordinates
from scipy.special import ndtr

from lakemap.hardness.reading import Floats
from lakemap.model.bottom import BottomEdges
from lakemap.model.frame import GridFrame

ACROSS_M, ACROSS_PIXELS = 10.0, 2.0
"""How far to both sides of a line the floors are compared: the larger of the two."""
LEAST_CONTRAST = 0.15
"""Difference in hardness across a line that makes it an edge: 3 dB, more than one grain-size class (own choice)."""
LEAST_SURE = 0.8
"""Probability that the two sides differ at all, for a line to be kept (own choice)."""
SHORTEST_PIXELS = 3.0


def find_edges(hardness: Floats, sigma: Floats, hard: Floats, frame: GridFrame) -> BottomEdges:
    """Lines along which hard is as likely as not, cut to the parts that have a different floor on each side.

    All (rows, columns), NaN where nothing is known; ``hard`` is the probability of a hard floor.
    """
    x_m, y_m = frame.centres()
    if min(frame.shape) < 2 or not np.isfinite(hard).any():
        return BottomEdges()
    lines = contourpy.contour_generator(x_m, y_m, np.ma.masked_invalid(hard)).lines(0.5)
    found = []
    for line in lines:
        found += _parts(np.asarray(line, dtype=np.float64), hardness, sigma, frame)
    found.sort(key=lambda one: (-one[3], *one[0].coords[0]))
    if not found:
        return BottomEdges()
    shapes, contrast, width, length, sure = zip(*found, strict=True)
    return BottomEdges(tuple(shapes), np.array(contrast), np.array(width), np.array(length), np.array(sure))


def _parts(line: Floats, hardness: Floats, sigma: Floats, frame: GridFrame
           ) -> list[tuple[shapely.LineString, float, float, float, float]]:
    """The stretches of one line with enough contrast: shape, contrast, width, length, probability."""
    shape = shapely.segmentize(shapely.LineString(line), frame.pixel_m)
    at = shapely.get_coordinates(shape)
    contrast, sure = _across(at, hardness, sigma, frame)
    kept = (contrast >= LEAST_CONTRAST) & (sure >= LEAST_SURE)
    out = []
    for run in np.split(np.arange(len(at)), np.flatnonzero(np.diff(kept)) + 1):
        part = shapely.LineString(at[run]) if len(run) > 1 and kept[run[0]] else None
        if part is not None and part.length >= SHORTEST_PIXELS * frame.pixel_m:
            width = float(np.median(_width(at[run], contrast[run], hardness, frame)))
            out.append((part.simplify(frame.pixel_m / 4.0), float(np.median(contrast[run])), width, part.length,
                        float(np.median(sure[run]))))
    return out


def _across(at: Floats, hardness: Floats, sigma: Floats, frame: GridFrame) -> tuple[Floats, Floats]:
    """Difference in hardness between the two sides of each vertex (k,), and the probability that there is one."""
    reach = max(ACROSS_M, ACROSS_PIXELS * frame.pixel_m)
    along = np.gradient(at, axis=0)
    normal = np.column_stack([-along[:, 1], along[:, 0]]) / np.maximum(np.hypot(*along.T), 1e-9)[:, None]
    sides = [_sample(hardness, at + sign * reach * normal, frame) for sign in (1.0, -1.0)]
    doubt = [_sample(sigma, at + sign * reach * normal, frame) for sign in (1.0, -1.0)]
    contrast = np.abs(sides[0] - sides[1])
    return np.nan_to_num(contrast), np.nan_to_num(ndtr(contrast / np.maximum(np.hypot(*doubt), 1e-6)))


def _width(at: Floats, contrast: Floats, hardness: Floats, frame: GridFrame) -> Floats:
    """Way over which the contrast would build up at the steepness on the line itself [m]."""
    half = frame.pixel_m
    along = np.gradient(at, axis=0)
    normal = np.column_stack([-along[:, 1], along[:, 0]]) / np.maximum(np.hypot(*along.T), 1e-9)[:, None]
    step = np.abs(_sample(hardness, at + half * normal, frame) - _sample(hardness, at - half * normal, frame))
    return np.asarray(np.clip(2.0 * half * contrast / np.maximum(np.nan_to_num(step), 1e-3), frame.pixel_m, 200.0))


def _sample(values: Floats, at: Floats, frame: GridFrame) -> Floats:
    """Values between pixel centres at places (k, 2); NaN beside what is not known and off the frame."""
    column = (at[:, 0] - frame.transform.c) / frame.pixel_m - 0.5
    row = (frame.transform.f - at[:, 1]) / frame.pixel_m - 0.5
    return np.asarray(map_coordinates(values, np.stack([row, column]), order=1, mode="constant", cval=np.nan))
