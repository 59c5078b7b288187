"""The report's figures as SVG text: surfaces as small pictures with lines on top."""

from __future__ import annotations

from collections.abc import Sequence

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.colors import Colormap, LinearSegmentedColormap
from matplotlib.figure import Figure
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from lakemap.model.frame import Grid, GridFrame
from lakemap.publish.html_map.colours import ramp
from lakemap.publish.report_drawing import STYLE, svg_of
from lakemap.units import from_metres

Floats = NDArray[np.float64]

LONGEST_SIDE_PX = 700
"""A picture in the report has no more pixels along a side; the rasters keep them all."""

_INK, _LAND, _WATER_UNKNOWN = "#1d2529", "#f3f1ec", "#dfe3e5"


def surface_figure(
    grid: Grid, colours: str, label: str, lines: Sequence[BaseGeometry] = (), unit: str = "m",
    limits: tuple[float, float] | None = None,
) -> str:
    """A map of one grid as SVG, values as they are shown (a grid of metres in ``unit``); ``""`` where it is empty.

    ``colours`` is a ramp's name in html_map/colours.py; ``limits`` fixes the ends of its scale.
    """
    values = grid.values.astype(np.float64)
    if not np.isfinite(values).any():
        return ""
    shown = from_metres(values, unit) if grid.unit == "m" else values
    low, high = limits or _ends(shown)
    with matplotlib.rc_context(STYLE):
        drawing, axes = _sheet(grid.frame)
        _paint_ground(axes, grid.frame)
        picture = axes.imshow(
            _thinned(shown), cmap=colour_map(colours), vmin=low, vmax=high, extent=_extent(grid.frame),
            interpolation="nearest", zorder=2,
        )
        _draw_lines(axes, lines, grid.frame)
        _scale_bar(axes, grid.frame, unit)
        drawing.colorbar(picture, ax=axes, label=label, shrink=0.8, pad=0.02)
        return svg_of(drawing)


def colour_map(name: str) -> Colormap:
    """A ramp of the map page as matplotlib's colour map; where there is no value nothing is painted."""
    return LinearSegmentedColormap.from_list(name, ramp(name)).with_extremes(bad=(0, 0, 0, 0))


def _ends(shown: Floats) -> tuple[float, float]:
    low, high = float(np.nanmin(shown)), float(np.nanmax(shown))
    return (low, high) if high > low else (low - 0.5, high + 0.5)


def _sheet(frame: GridFrame) -> tuple[Figure, Axes]:
    rows, columns = frame.shape
    height = float(np.clip(5.4 * rows / columns, 2.0, 7.5))
    drawing = Figure(figsize=(6.6, height + 0.4), layout="constrained")
    axes = drawing.add_subplot()
    axes.set_axis_off()
    return drawing, axes


def _paint_ground(axes: Axes, frame: GridFrame) -> None:
    """Land, and water of which nothing is known, in two greys below the colours; no land without a shoreline."""
    step = _step(frame.shape)
    ground = LinearSegmentedColormap.from_list("ground", [_LAND, _WATER_UNKNOWN])
    water = (frame.water[::step, ::step] | (not frame.shore_known)).astype(float)
    axes.imshow(water, cmap=ground, vmin=0, vmax=1, extent=_extent(frame), interpolation="nearest", zorder=1)


def _step(shape: tuple[int, int]) -> int:
    return -(-max(shape) // LONGEST_SIDE_PX)


def _thinned(values: Floats) -> Floats:
    step = _step((values.shape[0], values.shape[1]))
    return values[::step, ::step]


def _extent(frame: GridFrame) -> tuple[float, float, float, float]:
    west, south, east, north = frame.bounds
    return west, east, south, north


def _draw_lines(axes: Axes, lines: Sequence[BaseGeometry], frame: GridFrame) -> None:
    slack = max(frame.pixel_m, max(frame.shape) * frame.pixel_m / LONGEST_SIDE_PX) / 3
    simple = [line.simplify(slack) for line in lines]
    parts = [part for line in simple for part in getattr(line, "geoms", [line])]
    corners = [np.round(np.asarray(part.coords), 2) for part in parts]
    axes.add_collection(LineCollection(corners, colors=_INK, linewidths=0.5, alpha=0.7, zorder=3))


def _scale_bar(axes: Axes, frame: GridFrame, unit: str) -> None:
    """A bar of a round length under the map's west corner; the frame is north up."""
    west, south, east, north = frame.bounds
    wanted = from_metres((east - west) / 4, unit)
    tens = 10.0 ** np.floor(np.log10(wanted))
    shown = max(step * tens for step in (1, 2, 5) if step * tens <= wanted)
    length_m = (east - west) / 4 * shown / wanted
    y = south - 0.03 * (north - south)
    axes.plot([west, west + length_m], [y, y], color=_INK, linewidth=2, solid_capstyle="butt", clip_on=False)
    axes.text(west + length_m, y, f"  {shown:g} {unit}, north is up", va="center", ha="left", color=_INK)
    axes.set_xlim(west, east)
    axes.set_ylim(south - 0.07 * (north - south), north)
