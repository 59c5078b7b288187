"""Where labels go on a sheet: figures on contours, names beside signs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lakemap.publish.chart.depth_lines import ContourLine
from lakemap.publish.chart.ink import text_size_mm
from lakemap.publish.chart.occupied import Occupied, box_around
from lakemap.publish.chart.paper import Box
from lakemap.units import from_metres

Floats = NDArray[np.float64]

LABEL_POINTS = 5.6
SHORTEST_LABELLED_MM = 14.0
LABELS_APART_MM = 70.0
STRAIGHT_ENOUGH = 0.985
"""Chord over arc below a label, at least: figures stand on the straight parts of a line."""


@dataclass(frozen=True)
class LineLabel:
    """Figures on a contour: their middle [mm], how they are turned [deg], and the box that they fill."""

    x_mm: float
    y_mm: float
    turned_deg: float
    text: str
    place: Box


def label_contours(lines: Sequence[ContourLine], occupied: Occupied, unit: str) -> list[LineLabel]:
    """Figures along the contours, one for each LABELS_APART_MM of a line that is long enough."""
    made = []
    for contour in lines:
        length = contour.line.length
        if length < SHORTEST_LABELLED_MM:
            continue
        text = f"{round(from_metres(contour.depth_m, unit), 2):g}"
        for k in range(max(1, int(length // LABELS_APART_MM))):
            centre = (k + 0.5) * length / max(1, int(length // LABELS_APART_MM))
            label = _on_line(contour, text, centre, occupied)
            if label:
                occupied.take(label.place)
                made.append(label)
    return made


def _on_line(contour: ContourLine, text: str, centre: float, occupied: Occupied) -> LineLabel | None:
    """The figures near a place along the line where it is straight and free, None where there is none."""
    width, height = text_size_mm(text, LABEL_POINTS)
    length = contour.line.length
    for shift in (0.0, 4.0, -4.0, 8.0, -8.0, 13.0, -13.0, 18.0, -18.0, 24.0, -24.0):
        at = centre + shift
        ends = at - width / 2 - 0.6, at + width / 2 + 0.6
        if ends[0] < 0 or ends[1] > length:
            continue
        a, middle, b = (np.array(contour.line.interpolate(one).coords[0]) for one in (ends[0], at, ends[1]))
        chord = b - a
        if np.hypot(*chord) < STRAIGHT_ENOUGH * (ends[1] - ends[0]):
            continue
        turned = float(np.degrees(np.arctan2(chord[1], chord[0])))
        turned = (turned + 90.0) % 180.0 - 90.0
        tilt = np.radians(turned)
        wide = abs(width * np.cos(tilt)) + abs(height * np.sin(tilt)) + 0.8
        tall = abs(width * np.sin(tilt)) + abs(height * np.cos(tilt)) + 0.8
        place = box_around(float(middle[0]), float(middle[1]), wide, tall)
        if occupied.is_free(place):
            return LineLabel(float(middle[0]), float(middle[1]), turned, text, place)
    return None


def beside(x_mm: float, y_mm: float, away_mm: float, size: tuple[float, float], occupied: Occupied) -> Box | None:
    """A free box of that size beside a sign: right, left, above, below, then slanted; None where all are taken."""
    width, height = size
    right, up = away_mm + width / 2, away_mm + height / 2
    slanted = 0.75
    shifts = ((right, 0.0), (-right, 0.0), (0.0, up), (0.0, -up), (right * slanted + 0.3 * width / 2, up * slanted),
              (-right * slanted - 0.3 * width / 2, up * slanted), (right * slanted + 0.3 * width / 2, -up * slanted),
              (-right * slanted - 0.3 * width / 2, -up * slanted))
    for across, along in shifts:
        place = box_around(x_mm + across, y_mm + along, width, height)
        if occupied.is_free(place):
            return place
    return None
