"""What is drawn on one sheet, prepared in the order in which things may take their places."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from lakemap.model.finished_map import FinishedMap
from lakemap.publish.chart.depth_figures import Figure, choose_figures
from lakemap.publish.chart.depth_lines import (
    ContourLine,
    band_levels_m,
    contour_lines,
    guessed,
    hatching,
    local_grid,
    tints,
    water_shape,
)
from lakemap.publish.chart.graticule import Graticule, graticule
from lakemap.publish.chart.ink import cut_to, text_size_mm
from lakemap.publish.chart.names import LineLabel, beside, label_contours
from lakemap.publish.chart.occupied import Occupied, box_around
from lakemap.publish.chart.paper import Box, View
from lakemap.publish.letters import legible
from lakemap.publish.wording import closed_words
from lakemap.units import format_length

NAME_POINTS, AREA_POINTS = 5.2, 6.0
LONGEST_NAME_MM, LONGEST_WORDS_MM = 34.0, 60.0
SIGN_MM = 1.9
LEADERS_MM = (2.0, 4.5, 7.5, 11.0)
"""How far a label may be moved away from its sign, nearest first."""


@dataclass(frozen=True)
class Label:
    """A line of text in a free box of the sheet [mm], and the leader to its sign, None where it stands beside it."""

    text: str
    place: Box
    leader: LineString | None = None


@dataclass(frozen=True)
class SpotSign:
    """A spot on the sheet: its number in the table, where it lies [mm], its label or None where there was no room."""

    number: int
    x_mm: float
    y_mm: float
    label: Label | None


@dataclass(frozen=True)
class KeepOut:
    """A danger or closed area on the sheet [mm]: the thing, what to keep clear of, its words."""

    shape: BaseGeometry
    around: BaseGeometry
    label: Label | None


@dataclass(frozen=True)
class Layers:
    """Everything inside the frame of one sheet [mm]."""

    water: BaseGeometry
    shore: BaseGeometry | None
    tints: list[tuple[str, BaseGeometry]]
    guess: list[BaseGeometry]
    contours: list[ContourLine]
    contour_labels: list[LineLabel]
    figures: list[Figure]
    dangers: list[KeepOut]
    closed: list[KeepOut]
    spots: list[SpotSign]
    grid: Graticule
    step_m: float

    def gaps(self) -> list[Box]:
        """Where contours are broken: under their own figures, and under depths that may lie on lines."""
        return [*(label.place for label in self.contour_labels),
                *(figure.place.grown(0.3) for figure in self.figures if figure.why != "between")]

    def text_places(self) -> list[Box]:
        """The box of every text and sign inside the frame."""
        labels = [one.label for one in (*self.dangers, *self.closed)] + [one.label for one in self.spots]
        return [*(label.place for label in self.contour_labels), *(figure.place for figure in self.figures),
                *(label.place for label in labels if label is not None)]


def prepare(
    lake: FinishedMap, view: View, unit: str, step_m: float, most_spots: int, kept_free: Sequence[Box] = ()
) -> Layers:
    """The layers of one sheet, lengths in ``unit``: what must be seen takes its place first, depths between others
    last; nothing with words goes where ``kept_free`` lies."""
    grid = local_grid(lake, view)
    water = water_shape(grid, lake.shore)
    occupied = Occupied(view.at)
    for place in kept_free:
        occupied.take(place)
    dangers = [_danger(lake, k, view, occupied, unit) for k in range(len(lake.dangers))]
    closed = [_closed(lake, k, view, occupied) for k in range(len(lake.closed))]
    spots = spot_signs(lake, view, occupied, most_spots)
    lines = contour_lines(grid, view, step_m, water)
    labels = label_contours(lines, occupied, unit)
    shore = None if lake.shore is None else view.shape_mm(lake.shore)
    outlines = [one.around for one in (*dangers, *closed) if one is not None]
    rings = [ring for one in (shore, *outlines) for ring in _rings(one)]
    for line in (*(contour.line for contour in lines), *rings):
        occupied.take_line(np.asarray(line.coords))
    figures = choose_figures(lake, view, occupied, unit)
    return Layers(
        water=view.shape_mm(water), shore=shore, tints=tints(grid, view, band_levels_m(lake, step_m), water),
        guess=hatching(guessed(grid, view, water), view.at), contours=lines, contour_labels=labels, figures=figures,
        dangers=[one for one in dangers if one is not None], closed=[one for one in closed if one is not None],
        spots=spots, grid=graticule(view, lake.depth.frame.crs), step_m=step_m,
    )


def _rings(shape: BaseGeometry | None) -> list[LineString]:
    """Outlines of the polygons in a shape as lines."""
    parts = [] if shape is None else [part for part in shapely.get_parts(shape) if isinstance(part, Polygon)]
    return [LineString(ring) for part in parts for ring in (part.exterior, *part.interiors)]


def spot_signs(lake: FinishedMap, view: View, occupied: Occupied, most: int) -> list[SpotSign]:
    """The spots on a sheet, best first, each with number and name where there is room, else with its number."""
    x_mm, y_mm = view.to_mm(lake.spots.x_m, lake.spots.y_m)
    inside = view.at.grown(-SIGN_MM / 2)
    here = [k for k in range(min(most, len(lake.spots)))
            if inside.west <= x_mm[k] <= inside.east and inside.south <= y_mm[k] <= inside.north]
    for k in here:
        occupied.take(box_around(float(x_mm[k]), float(y_mm[k]), SIGN_MM, SIGN_MM))
    return [
        SpotSign(k + 1, float(x_mm[k]), float(y_mm[k]),
                 _label((f"{k + 1} {lake.spots.name[k]}", str(k + 1)), float(x_mm[k]), float(y_mm[k]), occupied))
        for k in here
    ]


def _words(texts: tuple[str, ...], anchor: Point, occupied: Occupied) -> Label | None:
    """What is said of a danger or a closed area, beside its middle."""
    return _label(texts, anchor.x, anchor.y, occupied, AREA_POINTS, LONGEST_WORDS_MM)


def _label(
    texts: tuple[str, ...], x_mm: float, y_mm: float, occupied: Occupied, points: float = NAME_POINTS,
    longest_mm: float = LONGEST_NAME_MM,
) -> Label | None:
    """The first of the texts that finds room beside a sign, else away from it with a leader."""
    for away in LEADERS_MM:
        for text in texts:
            said = cut_to(legible(text), longest_mm, points)
            width, height = text_size_mm(said, points)
            place = beside(x_mm, y_mm, away - 0.6, (width + 0.6, height + 0.6), occupied)
            if place is not None:
                occupied.take(place)
                far = away > LEADERS_MM[0]
                return Label(said, place, _leader(x_mm, y_mm, place) if far else None)
    return None


def _leader(x_mm: float, y_mm: float, place: Box) -> LineString:
    """From a sign to the nearest side of its label."""
    near = np.clip(x_mm, place.west, place.east), np.clip(y_mm, place.south, place.north)
    return LineString([(x_mm, y_mm), (float(near[0]), float(near[1]))])


def _danger(lake: FinishedMap, k: int, view: View, occupied: Occupied, unit: str) -> KeepOut | None:
    one = lake.dangers[k]
    around = view.shape_mm(one.shape.buffer(max(one.keep_m, 0.8 / view.mm_per_m)))
    if around.is_empty:
        return None
    here = view.shape_mm(one.shape)
    anchor = (around if here.is_empty else here).representative_point()
    occupied.take(box_around(anchor.x, anchor.y, SIGN_MM, SIGN_MM))
    what = one.what or "danger"
    label = _words((f"{what}: keep {format_length(one.keep_m, unit, 0)} away", what), anchor, occupied)
    return KeepOut(Point(anchor.x, anchor.y) if here.is_empty else here, around, label)


def _closed(lake: FinishedMap, k: int, view: View, occupied: Occupied) -> KeepOut | None:
    one = lake.closed[k]
    here = view.shape_mm(one.shape)
    if here.is_empty:
        return None
    anchor = here.representative_point()
    words = closed_words(one.first, one.last, one.why)
    return KeepOut(here, here, _words((words, "closed"), anchor, occupied))
