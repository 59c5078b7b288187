"""Spot cards: a page for each spot with a small chart, what is known of it, and how to find it from the shore."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from lakemap.geo.crs import point_scale
from lakemap.model.finished_map import FinishedMap
from lakemap.model.outputs import CAUTION
from lakemap.publish.chart.column import Column
from lakemap.publish.chart.depth_lines import broken, chosen_step_m, local_grid, water_shape
from lakemap.publish.chart.georeference import Viewport, with_viewports
from lakemap.publish.chart.graticule import position_text
from lakemap.publish.chart.ink import DANGER_INK, INK, LAND, PALE_INK, TINTS, Page, pdf_of, ready_to_draw
from lakemap.publish.chart.layers import prepare
from lakemap.publish.chart.paper import BORDER_MM, SIZES_MM, Box, View
from lakemap.publish.chart.settings import ChartSettings
from lakemap.publish.chart.sheet_page import PAPER_WHITE, draw_border, draw_map, draw_spot
from lakemap.publish.chart.shore_points import ShorePoint, Sight, shore_points, sights
from lakemap.publish.chart.spots_table import bottom_word, chance_words, depth_words, why
from lakemap.publish.chart.title import draw_scale_bar, variation, variation_text
from lakemap.publish.html_map.sureness import TWO_SIDED_95
from lakemap.publish.letters import legible
from lakemap.units import format_length, from_metres

SCALE = 1000
"""Where none is given: the error of a usual fix is 3 to 5 mm, and a stump can be told from its neighbour."""
MARGIN_MM = 8.0
MAP_SHARE = 0.54
INSET_MM = 34.0


def cards_pdf(lake: FinishedMap, settings: ChartSettings) -> bytes:
    """A page of half the paper's size for each spot, best first; the same map and settings, the same bytes."""
    points = shore_points(lake)
    count = min(int(settings.most_spots), len(lake.spots))
    with ready_to_draw():
        made = [_card(lake, k, points, settings) for k in range(count)] or [_no_card(lake, settings)]
        title = legible(f"{lake.name}: spot cards")
        return with_viewports(pdf_of([page for page, _ in made], title), [viewport for _, viewport in made])


def _blank(settings: ChartSettings) -> tuple[Page, Box]:
    """Half a sheet, upright, and what is printed on."""
    width, height = SIZES_MM[settings.paper]
    size = height / 2, width
    return Page(*size), Box(MARGIN_MM, MARGIN_MM, size[0] - MARGIN_MM, size[1] - MARGIN_MM)


def _no_card(lake: FinishedMap, settings: ChartSettings) -> tuple[Page, Viewport | None]:
    page, frame = _blank(settings)
    column = Column(page, frame.west, frame.north, frame.width)
    column.line(lake.name, 11.0, weight="bold")
    column.paragraph("The map has no spots, so there are no cards.", 7.5)
    return page, None


def _card(
    lake: FinishedMap, k: int, points: Sequence[ShorePoint], settings: ChartSettings
) -> tuple[Page, Viewport | None]:
    unit = settings.units or lake.unit
    page, frame = _blank(settings)
    top = frame.north - 10.5
    inner = Box(frame.west + BORDER_MM, top - MAP_SHARE * frame.height, frame.east - BORDER_MM, top - BORDER_MM)
    scale = round(settings.scale or SCALE)
    grid_scale = float(point_scale(lake.depth.frame.crs, lake.spots.lon_deg[k], lake.spots.lat_deg[k]))
    view = View(float(lake.spots.x_m[k]), float(lake.spots.y_m[k]), 1000.0 / scale / grid_scale, inner)
    step_m = settings.contour_m or chosen_step_m(local_grid(lake, view), view.mm_per_m, unit)
    bar = Box(inner.west + 1.0, inner.south + 1.0, inner.west + 58.0, inner.south + 6.5)
    layers = prepare(lake, view, unit, step_m, int(settings.most_spots), (bar,))
    draw_map(page, layers, inner, unit)
    chosen = sights(lake, k, points)
    _draw_rays(page, lake, k, chosen, view, [*layers.text_places(), bar])
    draw_border(page, layers.grid, inner)
    head = Column(page, frame.west, frame.north, frame.width)
    head.line(f"{k + 1} {lake.spots.name[k]}", 13.0, weight="bold")
    head.line(f"{lake.spots.kind[k]}, {lake.name}; 1:{scale}, a depth line each {format_length(step_m, unit)}", 6.2)
    below = Box(frame.west, frame.south, frame.east, inner.south - BORDER_MM - 2.0)
    _draw_facts(page, lake, k, chosen, below, settings)
    draw_scale_bar(page, inner.west + 3.0, inner.south + 2.0, 1000.0 / scale, unit)
    return page, Viewport.of(view, lake.depth.frame.crs, lake.spots.name[k])


def _draw_rays(
    page: Page, lake: FinishedMap, k: int, chosen: Sequence[Sight], view: View, texts: Sequence[Box]
) -> None:
    """The spot's own ring (95 % of its position error) and a line towards each shore point; broken under texts."""
    x, y = (float(one) for one in view.to_mm(lake.spots.x_m[k], lake.spots.y_m[k]))
    sigma = float(lake.spots.position_sigma_m[k])
    # two dimensions: 95 % of a round normal error lie within 2.45 sigma (square root of chi-square's 5.99)
    ring = shapely.Point(x, y).buffer(max(2.45 * sigma * view.mm_per_m if np.isfinite(sigma) else 0.0, 2.2), 32)
    page.lines(broken([ring.exterior.intersection(view.at.polygon())], texts), 0.3, DANGER_INK)
    for sight in chosen:
        end = view.to_mm(np.array(sight.point.x_m), np.array(sight.point.y_m))
        line = shapely.LineString([(x, y), (float(end[0]), float(end[1]))]).intersection(view.at.polygon())
        page.lines(broken([line.difference(ring)], texts), 0.15, DANGER_INK, (0, (8, 3)))


def _draw_facts(
    page: Page, lake: FinishedMap, k: int, chosen: Sequence[Sight], box: Box, settings: ChartSettings
) -> None:
    """Below the map: what is known on the left, the lake with the shore points on the right, then words."""
    unit = settings.units or lake.unit
    left = Column(page, box.west, box.north, box.width - INSET_MM - 3.0)
    left.line(position_text(float(lake.spots.lat_deg[k]), float(lake.spots.lon_deg[k])), 9.0, weight="bold")
    sigma = TWO_SIDED_95 * float(lake.spots.position_sigma_m[k])
    left.line(f"WGS 84, give or take {format_length(sigma, unit)}", 6.2, color=PALE_INK)
    left.gap(1.0)
    for word, told in (("Depth", ", ".join(depth_words(lake, k, unit))), ("Bottom", bottom_word(lake, k)),
                       ("Is it there", ", ".join(chance_words(lake, k)))):
        base = left.line(told, 7.0, 18.0)
        page.text(left.x_mm, base, word, 7.0, weight="bold")
    left.gap(1.2)
    _draw_sights(left, lake, chosen, unit, settings)
    inset = Box(box.east - INSET_MM, box.north - INSET_MM, box.east, box.north)
    _draw_inset(page, lake, k, chosen, inset)
    below = Column(page, box.west, min(left.y_mm, inset.south) - 1.5, box.width)
    below.paragraph(why(lake, k, unit), 6.6)
    foot = Column(page, box.west, box.south + 7.6, box.width)
    foot.line(f"Depths below: {lake.datum}. Magnetic variation {variation_text(lake, settings.year)}.", 5.4,
              color=PALE_INK)
    foot.paragraph(CAUTION, 5.4, color=DANGER_INK)


def _draw_sights(
    column: Column, lake: FinishedMap, chosen: Sequence[Sight], unit: str, settings: ChartSettings
) -> None:
    """A row for each shore point: bearings there and back, true and magnetic, and the distance."""
    if not chosen:
        column.paragraph("No shoreline and no marks on the shore were given (such as a ramp or a dock), so nothing on "
                         "land leads here.", 6.2)
        return
    east = variation(lake, settings.year)[0]
    cells = [(("from the spot to", ""), "true", "mag.", "distance", "back, true", "mag.")]
    rows = [((chr(ord("a") + number), sight.point.name), _degrees(sight.to_deg), _degrees(sight.to_deg - east),
             f"{from_metres(sight.distance_m, unit):.0f} {unit}", _degrees(sight.from_deg),
             _degrees(sight.from_deg - east)) for number, sight in enumerate(chosen)]
    shares = (0.40, 0.10, 0.10, 0.145, 0.155, 0.10)
    for number, row in enumerate([*cells, *rows]):
        weight = "bold" if number == 0 else "normal"
        name = " ".join(part for part in row[0] if part)
        column_top = column.y_mm
        Column(column.page, column.x_mm, column_top, shares[0] * column.width_mm - 1.0).line(name, 5.8, weight=weight)
        base = column.line("", 5.8)
        at = column.x_mm + shares[0] * column.width_mm
        for cell, share in zip(row[1:], shares[1:], strict=True):
            at += share * column.width_mm
            column.page.text(at, base, cell, 5.8, ha="right", weight=weight)


def _degrees(bearing: float) -> str:
    return f"{round(bearing) % 360:03d}°"


def _draw_inset(page: Page, lake: FinishedMap, k: int, chosen: Sequence[Sight], box: Box) -> None:
    """The whole lake small, with the spot and the shore points by their letters."""
    west, south, east, north = lake.depth.frame.bounds if lake.shore is None else lake.shore.bounds
    mm_per_m = 0.8 * min(box.width / (east - west), box.height / (north - south))
    view = View((west + east) / 2, (south + north) / 2, mm_per_m, box)
    shape = view.shape_mm(water_shape(local_grid(lake, view), None) if lake.shore is None else lake.shore)
    page.areas([box.polygon()], LAND if lake.shore is not None else PAPER_WHITE)
    page.areas([shape], TINTS[2])
    page.lines([shape], 0.2)
    page.lines([box.polygon()], 0.2)
    x, y = (float(one) for one in view.to_mm(lake.spots.x_m[k], lake.spots.y_m[k]))
    for number, sight in enumerate(chosen):
        a, b = (float(one) for one in view.to_mm(np.array(sight.point.x_m), np.array(sight.point.y_m)))
        page.lines([np.array([[x, y], [a, b]])], 0.12, DANGER_INK)
        away = np.array([a - x, b - y]) / max(np.hypot(a - x, b - y), 1e-6) * 1.6
        page.text(a + away[0], b + away[1], chr(ord("a") + number), 6.0, ha="center", va="center", weight="bold",
                  color=INK)
    draw_spot(page, x, y)
