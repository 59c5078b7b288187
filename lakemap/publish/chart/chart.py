"""The whole chart as one PDF: an index where there are several sheets, the sheets, and the table of spots."""

from __future__ import annotations

import numpy as np

from lakemap.model.finished_map import FinishedMap
from lakemap.publish.chart.depth_lines import band_levels_m, chosen_step_m, local_grid, tints, water_shape
from lakemap.publish.chart.georeference import Viewport, with_viewports
from lakemap.publish.chart.graticule import graticule
from lakemap.publish.chart.ink import DANGER_INK, LAND, Page, pdf_of, ready_to_draw
from lakemap.publish.chart.layers import prepare
from lakemap.publish.chart.paper import PAPER_WORDS, Paper, View
from lakemap.publish.chart.settings import ChartSettings
from lakemap.publish.chart.sheet_page import PAPER_WHITE, draw_border, draw_map
from lakemap.publish.chart.sheets import Mosaic, Sheet, lay_out
from lakemap.publish.chart.spots_table import spots_pages
from lakemap.publish.chart.title import Words, draw_scale_bar, draw_title
from lakemap.publish.letters import legible
from lakemap.units import to_metres


def chart_pdf(lake: FinishedMap, settings: ChartSettings) -> bytes:
    """The chart of a finished map; the same map and settings, the same bytes.

    Raises UsageError where the scale asked for makes too many sheets.
    """
    unit = settings.units or lake.unit
    mosaic = lay_out(lake.depth, settings.paper, None if settings.scale is None else round(settings.scale))
    step_m = settings.contour_m or _step_m(lake, mosaic, unit)
    with ready_to_draw():
        several = len(mosaic.sheets) > 1
        pages = [_index_page(lake, mosaic, unit, settings)] if several else []
        viewports: list[Viewport | None] = [None] * len(pages)
        for sheet in mosaic.sheets:
            pages.append(_sheet_page(lake, mosaic, sheet, step_m, settings))
            viewports.append(Viewport.of(sheet.view, lake.depth.frame.crs, f"{lake.name} {sheet.number}"))
        upright = Paper.named(settings.paper)
        pages += spots_pages(lake, upright, unit, int(settings.most_spots))
        made = pdf_of(pages, legible(f"{lake.name}: depth chart"))
    return with_viewports(made, viewports + [None] * (len(pages) - len(viewports)))


def _step_m(lake: FinishedMap, mosaic: Mosaic, unit: str) -> float:
    """The owner's own step where it is round in the unit of the chart, else the one that the scale allows: one step for
    all sheets, the widest that any of them needs."""
    if lake.contour_m is not None and unit == lake.unit:
        return lake.contour_m
    return max(chosen_step_m(local_grid(lake, sheet.view), sheet.view.mm_per_m, unit) for sheet in mosaic.sheets)


def _sheet_page(lake: FinishedMap, mosaic: Mosaic, sheet: Sheet, step_m: float, settings: ChartSettings) -> Page:
    unit, paper = settings.units or lake.unit, mosaic.paper
    page = Page(paper.width_mm, paper.height_mm)
    layers = prepare(lake, sheet.view, unit, step_m, int(settings.most_spots))
    draw_map(page, layers, sheet.view.at, unit)
    draw_border(page, layers.grid, sheet.view.at)
    beyond = mosaic.neighbours(sheet)
    said = "Goes on: " + ", ".join(f"{word} on sheet {number}" for word, number in beyond.items()) if beyond else ""
    words = Words(f"Scale 1:{mosaic.scale} (printed at 100 % on {PAPER_WORDS[paper.name]})",
                  f"Sheet {sheet.number} of {len(mosaic.sheets)}; a depth line each {_step_text(step_m, unit)}", said)
    draw_title(page, lake, paper, unit, words, settings.year)
    draw_scale_bar(page, paper.frame.west + 4.0, paper.frame.south + 3.0, 1000.0 / mosaic.scale, unit)
    return page


def _step_text(step_m: float, unit: str) -> str:
    return f"{round(step_m / to_metres(1.0, unit), 2):g} {unit}"


def _index_page(lake: FinishedMap, mosaic: Mosaic, unit: str, settings: ChartSettings) -> Page:
    """Which sheet shows what: the lake, and the sheets as boxes with their numbers."""
    grounds = [sheet.view.ground for sheet in mosaic.sheets]
    west, south = min(one.west for one in grounds), min(one.south for one in grounds)
    east, north = max(one.east for one in grounds), max(one.north for one in grounds)
    paper = min((Paper.named(settings.paper, across=across) for across in (False, True)),
                key=lambda one: abs(np.log(one.map.width / one.map.height * (north - south) / (east - west))))
    mm_per_m = 0.96 * min(paper.map.width / (east - west), paper.map.height / (north - south))
    view = View((west + east) / 2, (south + north) / 2, mm_per_m, paper.map)
    page = Page(paper.width_mm, paper.height_mm)
    grid = local_grid(lake, view)
    water = water_shape(grid, lake.shore)
    if lake.shore is not None:
        page.areas([paper.map.polygon()], LAND)
        page.areas([view.shape_mm(lake.shore)], PAPER_WHITE)
    for colour, area in tints(grid, view, band_levels_m(lake, chosen_step_m(grid, mm_per_m, unit)), water):
        page.areas([area], colour)
    page.lines([view.shape_mm(water if lake.shore is None else lake.shore)], 0.25)
    for sheet, ground in zip(mosaic.sheets, grounds, strict=True):
        box = view.shape_mm(ground.polygon())
        page.lines([box], 0.3, DANGER_INK)
        page.text(box.centroid.x, box.centroid.y, str(sheet.number), 16.0, ha="center", va="center", weight="bold",
                  color=DANGER_INK)
    draw_border(page, graticule(view, lake.depth.frame.crs), paper.map)
    words = Words(f"Sheets at 1:{mosaic.scale}", f"Index of {len(mosaic.sheets)} sheets")
    draw_title(page, lake, paper, unit, words, settings.year)
    return page
