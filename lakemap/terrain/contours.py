"""Lines of equal depth."""

from __future__ import annotations

from typing import Any

import numpy as np
from contourpy import LineType, contour_generator
from numpy.typing import NDArray
from shapely.geometry import LineString

from lakemap.model.frame import Grid
from lakemap.model.terrain import Contours
from lakemap.units import from_metres, to_metres

Floats = NDArray[np.float64]

LINES_WANTED = 12
"""About so many depths are drawn where no step is given (our own choice)."""

STEPS_PER_TEN = (1.0, 2.0, 5.0, 10.0)


def chosen_step_m(depth_m: Floats, sigma_m: float = 0.0, unit: str = "m") -> float:
    """A step [m] round in ``unit`` (1, 2 or 5 times a power of ten): about twelve lines between shallow and deep end.

    Never finer than two standard errors ``sigma_m`` of a depth: such lines would draw noise.
    """
    seen = depth_m[np.isfinite(depth_m)]
    relief = float(np.ptp(np.percentile(seen, [1, 99]))) if len(seen) else 0.0
    if relief <= 0.0:
        return to_metres(1.0, unit)
    wanted = from_metres(max(relief / LINES_WANTED, 2.0 * sigma_m, 0.05), unit)
    tens = 10.0 ** np.floor(np.log10(wanted))
    step = min((tens * step for step in STEPS_PER_TEN), key=lambda step: (abs(np.log(step / wanted)), step))
    return to_metres(float(step), unit)


def draw_contours(depth: Grid, step_m: float, loop_m: float) -> Contours:
    """Contours at each multiple of ``step_m`` above 0; one LineString a line, in the frame's CRS.

    Lines end where the surface does; closed ones shorter than ``loop_m`` are left out. Shallow first, then by length
    (long first) and first corner, so that the order never depends on how they were traced.
    """
    values = depth.values.astype(np.float64)
    seen = np.isfinite(values)
    if min(values.shape) < 2 or not seen.any():
        return Contours(np.empty(0), (), step_m)
    x_m, y_m = depth.frame.centres()
    tracer = contour_generator(x_m, y_m, np.ma.masked_invalid(values), name="serial", line_type=LineType.Separate)
    low, high = np.floor(values[seen].min() / step_m) + 1, np.ceil(values[seen].max() / step_m)
    levels = step_m * np.arange(max(1, int(low)), int(high))
    drawn = [(float(level), line) for level in levels for line in _lines(tracer.lines(level), loop_m)]
    return Contours(np.array([level for level, _ in drawn]), tuple(line for _, line in drawn), step_m)


def _lines(traced: Any, loop_m: float) -> list[LineString]:
    lines = [LineString(corners) for corners in traced if len(corners) > 1]
    kept = [line for line in lines if line.length > 0 and not (line.is_ring and line.length < loop_m)]
    return sorted(kept, key=lambda line: (-round(line.length, 6), line.coords[0]))
