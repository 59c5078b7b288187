"""One sheet of the chart drawn on its page."""

from __future__ import annotations

import numpy as np
import shapely

from lakemap.publish.chart.depth_figures import POINTS, SMALL_POINTS, Figure
from lakemap.publish.chart.depth_lines import broken, hatching, index_every
from lakemap.publish.chart.graticule import Graticule
from lakemap.publish.chart.ink import DANGER_INK, INK, LAND, PALE_INK, Page, text_size_mm
from lakemap.publish.chart.layers import AREA_POINTS, NAME_POINTS, SIGN_MM, KeepOut, Label, Layers
from lakemap.publish.chart.names import LABEL_POINTS
from lakemap.publish.chart.paper import BORDER_MM, Box

CLOSED_HATCH_MM = 4.2
TICK_MM, MINOR_TICK_MM = 1.6, 0.8
GRID_POINTS = 5.2
PAPER_WHITE = "#ffffff"
CONTOUR_INK = "#3d6a85"


def draw_map(page: Page, layers: Layers, at: Box, unit: str) -> None:
    """Everything inside the frame, from the ground up."""
    if layers.shore is not None:
        page.areas([at.polygon()], LAND)
        page.areas([layers.shore], PAPER_WHITE)
    for colour, area in layers.tints:
        page.areas([area], colour)
    page.lines(layers.guess, 0.12, PALE_INK)
    page.lines(layers.grid.lines, 0.08, PALE_INK)
    _draw_contours(page, layers, unit)
    if layers.shore is None:
        page.lines([layers.water], 0.2, PALE_INK, (0, (4, 2)))
    else:
        page.lines([layers.shore], 0.35)
    _draw_keep_outs(page, layers, at)
    for figure in layers.figures:
        draw_figure(page, figure)
    _draw_spots(page, layers)


def _draw_contours(page: Page, layers: Layers, unit: str) -> None:
    every, gaps = index_every(layers.step_m, unit), layers.gaps()
    for bold in (False, True):
        chosen = [one.line for one in layers.contours if (round(one.depth_m / layers.step_m) % every == 0) is bold]
        page.lines(broken(chosen, gaps), 0.26 if bold else 0.13, CONTOUR_INK)
    for label in layers.contour_labels:
        page.text(label.x_mm, label.y_mm, label.text, LABEL_POINTS, rotation=label.turned_deg, ha="center",
                  va="center", color=CONTOUR_INK)


def draw_figure(page: Page, figure: Figure) -> None:
    """A depth: the decimetre smaller and lower; slanted and pale where the map is guessing."""
    place = figure.place
    base = place.north - text_size_mm("0", POINTS)[1]
    look = {"color": PALE_INK, "style": "italic"} if figure.guess else {}
    page.text(place.west, base, figure.whole, POINTS, **look)
    if figure.tenth:
        page.text(place.west + text_size_mm("0" * len(figure.whole), POINTS)[0], base - 0.5, figure.tenth,
                  SMALL_POINTS, **look)


def _draw_keep_outs(page: Page, layers: Layers, at: Box) -> None:
    for one in layers.closed:
        page.lines(hatching(one.shape, at, CLOSED_HATCH_MM, rising=False), 0.12, DANGER_INK)
        page.lines([one.shape], 0.35, DANGER_INK, (0, (6, 1.5, 1, 1.5)))
        _draw_label(page, one.label, DANGER_INK, AREA_POINTS)
    for one in layers.dangers:
        page.lines([one.around], 0.3, DANGER_INK, (0, (1, 1)))
        draw_danger(page, one)
        _draw_label(page, one.label, DANGER_INK, AREA_POINTS)


def draw_danger(page: Page, one: KeepOut) -> None:
    """The thing itself: its outline, and a cross in the middle of it."""
    page.lines([one.shape], 0.3, DANGER_INK)
    middle, half = one.shape.representative_point(), SIGN_MM / 2
    x, y = middle.x, middle.y
    page.lines([np.array([[x - half, y], [x + half, y]]), np.array([[x, y - half], [x, y + half]])], 0.4, DANGER_INK)


def _draw_label(page: Page, label: Label | None, colour: str, points: float) -> None:
    if label is None:
        return
    if label.leader is not None:
        page.lines([label.leader], 0.12, colour)
    page.areas([label.place.polygon()], PAPER_WHITE)
    middle = (label.place.west + label.place.east) / 2, (label.place.south + label.place.north) / 2
    page.text(*middle, label.text, points, ha="center", va="center", color=colour)


def _draw_spots(page: Page, layers: Layers) -> None:
    for spot in layers.spots:
        _draw_label(page, spot.label, INK, NAME_POINTS)
    for spot in layers.spots:
        draw_spot(page, spot.x_mm, spot.y_mm)


def draw_spot(page: Page, x_mm: float, y_mm: float) -> None:
    """The sign of a spot: a diamond with a light middle."""
    for half, colour in ((SIGN_MM / 2, PAPER_WHITE), (SIGN_MM / 2 - 0.12, INK), (0.3, PAPER_WHITE)):
        corners = [(x_mm - half, y_mm), (x_mm, y_mm + half), (x_mm + half, y_mm), (x_mm, y_mm - half)]
        page.areas([shapely.Polygon(corners)], colour)


def draw_border(page: Page, grid: Graticule, at: Box) -> None:
    """The map's edge, the frame round it, ticks, and their figures between both."""
    outer = at.grown(BORDER_MM)
    page.lines([at.polygon()], 0.3)
    page.lines([outer.polygon()], 0.5)
    ends: dict[str, float] = {}
    for tick in grid.ticks:
        size = TICK_MM if tick.text else MINOR_TICK_MM
        out_x = {"west": -size, "east": size}.get(tick.edge, 0.0)
        out_y = {"south": -size, "north": size}.get(tick.edge, 0.0)
        page.lines([np.array([[tick.x_mm, tick.y_mm], [tick.x_mm + out_x, tick.y_mm + out_y]])], 0.2)
        if tick.text:
            upright = tick.edge in ("west", "east")
            half = text_size_mm(tick.text, GRID_POINTS)[0] / 2 + 0.5
            place, low, high = (tick.y_mm, at.south, at.north) if upright else (tick.x_mm, at.west, at.east)
            if place - half < max(low, ends.get(tick.edge, low)) or place + half > high:
                continue
            ends[tick.edge] = place + half
            page.text(tick.x_mm + out_x * 2.0, tick.y_mm + out_y * 2.0, tick.text, GRID_POINTS,
                      ha="center", va="center", rotation=90.0 if upright else 0.0)
