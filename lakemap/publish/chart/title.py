"""Below the map: what it is, its scale, what its signs mean, and what to beware of."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from lakemap.geo.crs import convergence_deg, unproject
from lakemap.model.finished_map import FinishedMap
from lakemap.model.outputs import CAUTION
from lakemap.publish.chart.column import Column
from lakemap.publish.chart.depth_figures import Figure
from lakemap.publish.chart.depth_lines import hatching
from lakemap.publish.chart.ink import DANGER_INK, INK, MM_PER_POINT, PALE_INK, Page
from lakemap.publish.chart.paper import Box, Paper
from lakemap.publish.chart.sheet_page import CLOSED_HATCH_MM, CONTOUR_INK, draw_figure, draw_spot
from lakemap.publish.html_map.sureness import TWO_SIDED_95, shares
from lakemap.publish.letters import MISSING, letters_missing
from lakemap.publish.magnetic import EPOCH, LAST, declination
from lakemap.units import M_PER_UNIT, from_metres
from lakemap.version import VERSION

UNIT_NAMES = {"m": "metres", "ft": "feet"}


@dataclass(frozen=True)
class Words:
    """What changes from page to page: what this one is, and where it goes on."""

    scale: str
    page: str
    goes_on: str = ""


def draw_title(page: Page, lake: FinishedMap, paper: Paper, unit: str, words: Words, year: float | None) -> None:
    """The strip below the map, in three columns."""
    frame = paper.frame
    top = paper.map.south - 5.0 - 2.6
    width = frame.width
    left = Column(page, frame.west + 1.0, top, 0.355 * width)
    middle = Column(page, frame.west + 0.385 * width, top, 0.27 * width)
    right = Column(page, frame.west + 0.675 * width, top, 0.325 * width - 1.0)
    _about(left, lake, unit, words)
    _signs(middle, lake, unit)
    _cautions(right, lake, unit)
    _north(page, frame.west + 0.655 * width - 6.0, frame.south + 3.0, lake, year)


def _about(column: Column, lake: FinishedMap, unit: str, words: Words) -> None:
    column.line(lake.name, 12.0, weight="bold")
    column.gap(0.8)
    figures = "metres and decimetres" if unit == "m" else "feet"
    column.paragraph(f"Depths in {figures}, rounded to the shallow side, below: {lake.datum}", 7.0)
    column.line(f"Soundings {_days(lake)}", 7.0)
    column.line(words.scale, 7.0, weight="bold")
    column.line(words.page, 6.2)
    if words.goes_on:
        column.paragraph(words.goes_on, 6.2)


def _days(lake: FinishedMap) -> str:
    if not lake.first_day:
        return "without a date"
    return f"of {lake.first_day}" if lake.first_day == lake.last_day else f"of {lake.first_day} to {lake.last_day}"


def draw_scale_bar(page: Page, x_mm: float, y_mm: float, mm_per_ground_m: float, unit: str) -> None:
    """A bar of four parts, of a round length in ``unit``, at most 50 mm long."""
    mm_per_unit = mm_per_ground_m * M_PER_UNIT[unit]
    tens = 10.0 ** np.floor(np.log10(50.0 / mm_per_unit))
    length = max(lead * tens for lead in (1, 2, 4, 5) if lead * tens * mm_per_unit <= 50.0)
    for k in range(4):
        west = x_mm + length * mm_per_unit * k / 4
        part = Box(west, y_mm, x_mm + length * mm_per_unit * (k + 1) / 4, y_mm + 1.1)
        if k % 2 == 0:
            page.areas([part.polygon()], INK)
        page.lines([part.polygon()], 0.15)
    for share in (0.0, 0.5, 1.0):
        said = f"{length * share:g}" + (f" {unit}" if share == 1.0 else "")
        page.text(x_mm + length * share * mm_per_unit, y_mm + 1.8, said, 5.6, ha="center")


def _signs(column: Column, lake: FinishedMap, unit: str) -> None:
    page, x, indent = column.page, column.x_mm, 11.0
    sample = ("3", "2") if unit == "m" else ("10", "")
    said = "3.2 m, sure or fair" if unit == "m" else "10 ft, sure or fair"
    base = column.line(said, 6.2, indent)
    draw_figure(page, Figure(x + 4.5, base + 0.6, *sample, 0.0, "between", False))
    base = column.line("a guess, hatched too", 6.2, indent)
    hatch = Box(x, base - 0.5, x + 9.5, base + 2.0)
    page.lines(hatching(hatch.polygon(), hatch), 0.12, PALE_INK)
    draw_figure(page, Figure(x + 4.5, base + 0.6, *sample, 0.0, "between", True))
    base = column.line(f"depth line, in {UNIT_NAMES[unit]}", 6.2, indent)
    page.lines([np.array([[x, base + 0.8], [x + 9.5, base + 0.8]])], 0.2, CONTOUR_INK)
    base = column.line("shoreline" if lake.shore is not None else "edge of the map; no shoreline given", 6.2, indent)
    edge = np.array([[x, base + 0.8], [x + 9.5, base + 0.8]])
    if lake.shore is not None:
        page.lines([edge], 0.35)
    else:
        page.lines([edge], 0.2, PALE_INK, (0, (4, 2)))
    if len(lake.spots):
        base = column.line("spot: number and name, see the table", 6.2, indent)
        draw_spot(page, x + 4.5, base + 0.8)
    if lake.dangers:
        base = column.line("danger, and the distance to keep", 6.2, indent)
        page.lines([shapely.Point(x + 4.5, base + 0.8).buffer(1.2)], 0.3, DANGER_INK, (0, (1, 1)))
        page.lines([np.array([[x + 3.8, base + 0.8], [x + 5.2, base + 0.8]]),
                    np.array([[x + 4.5, base + 0.1], [x + 4.5, base + 1.5]])], 0.4, DANGER_INK)
    if lake.closed:
        base = column.line("closed area", 6.2, indent)
        area = Box(x, base - 0.4, x + 9.5, base + 1.9)
        page.lines(hatching(area.polygon(), area, CLOSED_HATCH_MM / 2, rising=False), 0.12, DANGER_INK)
        page.lines([area.polygon()], 0.3, DANGER_INK, (0, (6, 1.5, 1, 1.5)))
    if lake.shore is not None:
        column.line("water left white was not sounded", 6.2, indent)


def _cautions(column: Column, lake: FinishedMap, unit: str) -> None:
    column.paragraph(CAUTION, 6.6, weight="bold", color=DANGER_INK)
    column.gap(0.8)
    sure, fair, guess = shares(lake.depth.values, lake.sigma.values)
    column.paragraph(f"How sure: {sure:.0%} of the water mapped is sure, {fair:.0%} fair, {guess:.0%} a guess.")
    offset = TWO_SIDED_95 * from_metres(lake.offset_m, unit)
    column.paragraph(f"All depths share an error that no crossing of passes shows: give or take {offset:.2g} {unit} "
                     f"and {TWO_SIDED_95 * 100 * lake.scale:.2g} % of the depth, on top.")
    column.paragraph("Between the lines driven, things that stand up from the floor may have been missed.")
    if letters_missing(lake.words):
        column.paragraph(f"Letters that no font had when this was printed stand as {MISSING}.")
    column.line("Positions on WGS 84.")
    column.line(f"Made with lakemap {VERSION}", 5.2, color=PALE_INK)


def variation(lake: FinishedMap, year: float | None) -> tuple[float, float, float]:
    """Magnetic variation in the middle of the map [deg, east positive], its change [deg/year], and the year it is for:
    the one given, else that of the last sounding, within those of the model."""
    west, south, east, north = lake.depth.frame.bounds
    lon, lat = unproject(lake.depth.frame.crs, (west + east) / 2, (south + north) / 2)
    told = declination(float(lon), float(lat))
    if year is None:
        year = float(lake.last_day[:4]) + (float(lake.last_day[5:7]) - 0.5) / 12.0 if lake.last_day else EPOCH
    year = float(np.clip(year, EPOCH, LAST))
    return told["east_deg"] + told["per_year"] * (year - EPOCH), told["per_year"], year


def variation_text(lake: FinishedMap, year: float | None) -> str:
    """``3.4°E in 2025.5, 0.10°W a year``."""
    east, change, when = variation(lake, year)
    return (f"{abs(east):.1f}°{'E' if east >= 0 else 'W'} in {when:.1f}, "
            f"{abs(change):.2f}°{'E' if change >= 0 else 'W'} a year")


def _north(page: Page, x_mm: float, y_mm: float, lake: FinishedMap, year: float | None) -> None:
    """True north as an arrow, magnetic north as a thin half of one, and what lies between them."""
    west, south, east, north = lake.depth.frame.bounds
    crs = lake.depth.frame.crs
    lon, lat = unproject(crs, (west + east) / 2, (south + north) / 2)
    turned = -float(convergence_deg(crs, lon, lat))
    for bearing, length, width, colour in ((turned, 12.0, 0.35, INK),
                                           (turned + variation(lake, year)[0], 10.0, 0.2, PALE_INK)):
        along = np.array([np.sin(np.radians(bearing)), np.cos(np.radians(bearing))])
        aside = np.array([along[1], -along[0]])
        tip = np.array([x_mm, y_mm]) + length * along
        page.lines([np.array([[x_mm, y_mm], tip])], width, colour)
        page.areas([shapely.Polygon([tip, tip - 3.0 * along - 1.0 * aside, tip - 2.2 * along])], colour)
        if colour == INK:
            page.areas([shapely.Polygon([tip, tip - 3.0 * along + 1.0 * aside, tip - 2.2 * along])], colour)
    page.text(x_mm - 2.6, y_mm + 9.0 + 2.0 * MM_PER_POINT, "N", 8.0, weight="bold", ha="right")
    page.text(x_mm + 6.0, y_mm - 2.0, f"magnetic: {variation_text(lake, year)}", 5.0, ha="right", color=PALE_INK)
