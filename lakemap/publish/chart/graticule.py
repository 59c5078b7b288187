"""Degrees and minutes round a sheet, and the lines of the grid across it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS
from shapely.geometry import LineString

from lakemap.geo.crs import project, unproject
from lakemap.publish.chart.paper import View

Floats = NDArray[np.float64]

STEPS_MIN = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 60.0)
APART_MM = 30.0
"""Lines of the grid lie at least so far apart, so that their figures do too."""
SAMPLES = 33


@dataclass(frozen=True)
class Tick:
    """One place on an edge (``south``, ``north``, ``west``, ``east``) of the map [mm], with its figures or none."""

    edge: str
    x_mm: float
    y_mm: float
    text: str


@dataclass(frozen=True)
class Graticule:
    """Lines across the map [mm], and ticks on its edges: with figures at the lines, bare between them."""

    lines: tuple[LineString, ...]
    ticks: tuple[Tick, ...]


def degrees_minutes(degrees: float, signs: str, decimals: int) -> str:
    """``53°12.340′N``: degrees and decimal minutes; ``signs`` are the letters for positive and negative."""
    minutes = round(abs(degrees) * 60.0, decimals)
    whole = int(minutes // 60)
    width = 2 + (decimals + 1 if decimals else 0)
    return f"{whole}°{minutes - 60 * whole:0{width}.{decimals}f}′{signs[0] if degrees >= 0 else signs[1]}"


def position_text(lat_deg: float, lon_deg: float) -> str:
    """A place to 0.001 minute, some 2 m: latitude, then longitude."""
    lon = (lon_deg + 180.0) % 360.0 - 180.0
    return f"{degrees_minutes(lat_deg, 'NS', 3)} {degrees_minutes(lon, 'EW', 3)}"


def graticule(view: View, crs: CRS) -> Graticule:
    """The grid of one sheet; longitudes run on across the antimeridian."""
    lon, lat = _edges(view, crs)
    lines: list[LineString] = []
    ticks: list[Tick] = []
    for values, other, is_lon in ((lon, lat, True), (lat, lon, False)):
        low, high = float(values.min()), float(values.max())
        side_mm = view.at.width if is_lon else view.at.height
        step_min = _step((high - low) * 60.0, side_mm)
        count = 10 if round(step_min / 10 ** np.floor(np.log10(step_min))) == 1 else 4 if step_min == 2.0 else 5
        first = int(np.floor(low * 60.0 / step_min * count))
        for number in range(first, int(np.ceil(high * 60.0 / step_min * count)) + 1):
            at = number * step_min / count / 60.0
            line = _line(view, crs, at, (float(other.min()), float(other.max())), is_lon)
            labelled = number % count == 0
            text = _text(at, step_min, is_lon) if labelled else ""
            if labelled:
                lines.append(line)
            ticks += _ticks(view, line, text, is_lon)
    kept = [line.intersection(view.at.polygon()) for line in lines]
    return Graticule(tuple(line for line in kept if line.geom_type == "LineString" and not line.is_empty), tuple(ticks))


def _edges(view: View, crs: CRS) -> tuple[Floats, Floats]:
    """Longitude and latitude of places all round the map."""
    at, share = view.at, np.linspace(0.0, 1.0, SAMPLES)
    x = np.concatenate([at.west + share * at.width] * 2 + [np.full(SAMPLES, at.west), np.full(SAMPLES, at.east)])
    y = np.concatenate([np.full(SAMPLES, at.south), np.full(SAMPLES, at.north)] + [at.south + share * at.height] * 2)
    lon, lat = unproject(crs, *view.to_ground(x, y))
    middle, _ = unproject(crs, view.x_m, view.y_m)
    return middle + (lon - middle + 180.0) % 360.0 - 180.0, lat


def _step(span_min: float, side_mm: float) -> float:
    wanted = span_min * APART_MM / side_mm
    return next((step for step in STEPS_MIN if step >= wanted), STEPS_MIN[-1])


def _line(view: View, crs: CRS, at: float, ends: tuple[float, float], is_lon: bool) -> LineString:
    """One meridian or parallel on the sheet [mm], a little longer than the map."""
    spare = 0.05 * (ends[1] - ends[0])
    along = np.linspace(ends[0] - spare, ends[1] + spare, SAMPLES)
    fixed = np.full(SAMPLES, at)
    lon, lat = (fixed, along) if is_lon else (along, fixed)
    x_m, y_m = project(crs, (lon + 180.0) % 360.0 - 180.0, lat)
    return LineString(np.column_stack(view.to_mm(x_m, y_m)))


def _text(at: float, step_min: float, is_lon: bool) -> str:
    decimals = 0 if step_min >= 1 else 1 if step_min >= 0.1 else 2
    return degrees_minutes((at + 180.0) % 360.0 - 180.0 if is_lon else at, "EW" if is_lon else "NS", decimals)


def _ticks(view: View, line: LineString, text: str, is_lon: bool) -> list[Tick]:
    """Where a line meets the two edges it runs to."""
    x, y = np.asarray(line.coords).T
    at, found = view.at, []
    if is_lon:
        for edge, side in (("south", at.south), ("north", at.north)):
            meets = float(np.interp(side, y, x))
            if at.west <= meets <= at.east:
                found.append(Tick(edge, meets, side, text))
        return found
    for edge, side in (("west", at.west), ("east", at.east)):
        meets = float(np.interp(side, x, y))
        if at.south <= meets <= at.north:
            found.append(Tick(edge, side, meets, text))
    return found
