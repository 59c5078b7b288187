"""Pages with the table of spots."""

from __future__ import annotations

import re

import numpy as np

from lakemap.model.finished_map import FinishedMap
from lakemap.model.outputs import CAUTION
from lakemap.publish.chart.column import LEADING, Column
from lakemap.publish.chart.graticule import position_text
from lakemap.publish.chart.ink import DANGER_INK, MM_PER_POINT, PALE_INK, Page, wrapped
from lakemap.publish.chart.paper import Paper
from lakemap.publish.html_map.sureness import TWO_SIDED_95
from lakemap.units import M_PER_UNIT, from_metres

POINTS = 6.2
COLUMNS = (("no.", 0.04), ("name, kind", 0.145), ("depth", 0.085), ("bottom", 0.08), ("is it there", 0.12),
           ("position (WGS 84)", 0.135), ("why", 0.395))
"""Heads, and shares of the width."""
ROW_GAP_MM = 1.3
_LENGTH = re.compile(r"(?<![\w.])(-?\d+(?:\.\d+)?) (m|ft)\b")
_WORKINGS = re.compile(r"\s*Scored \d.*$")


def spots_pages(lake: FinishedMap, paper: Paper, unit: str, most: int) -> list[Page]:
    """As many pages as the best ``most`` spots take; none where there are no spots."""
    pages: list[Page] = []
    column = None
    for k in range(min(most, len(lake.spots))):
        cells = _cells(lake, k, unit, paper.frame.width)
        height = max(len(cell) for cell in cells) * POINTS * MM_PER_POINT * LEADING + ROW_GAP_MM
        if column is None or column.y_mm - height < paper.frame.south + 8.0:
            page = Page(paper.width_mm, paper.height_mm)
            pages.append(page)
            column = _headed(page, lake, paper, len(pages))
        _draw_row(column, cells, paper)
    return pages


def _headed(page: Page, lake: FinishedMap, paper: Paper, number: int) -> Column:
    frame = paper.frame
    column = Column(page, frame.west, frame.north, frame.width)
    column.line(f"{lake.name}: spots" + (f", page {number}" if number > 1 else ""), 11.0, weight="bold")
    column.gap(1.0)
    x = frame.west
    base = column.y_mm - POINTS * MM_PER_POINT
    for head, share in COLUMNS:
        page.text(x, base, head, POINTS, weight="bold")
        x += share * frame.width
    column.y_mm = base - 1.0
    page.lines([np.array([[frame.west, column.y_mm], [frame.east, column.y_mm]])], 0.25)
    column.gap(0.8)
    foot = Column(page, frame.west, frame.south + 5.6, frame.width)
    foot.paragraph(CAUTION, 5.6, color=DANGER_INK)
    return column


def _draw_row(column: Column, cells: list[list[str]], paper: Paper) -> None:
    top, lowest, x = column.y_mm, column.y_mm, column.x_mm
    for number, (cell, (_, share)) in enumerate(zip(cells, COLUMNS, strict=True)):
        inner = Column(column.page, x, top, share * paper.frame.width - 1.5)
        for line_number, line in enumerate(cell):
            inner.line(line, POINTS, weight="bold" if number < 2 and line_number == 0 else "normal")
        lowest = min(lowest, inner.y_mm)
        x += share * paper.frame.width
    column.y_mm = lowest - ROW_GAP_MM / 2
    column.page.lines([np.array([[column.x_mm, column.y_mm], [paper.frame.east, column.y_mm]])], 0.08, PALE_INK)
    column.gap(ROW_GAP_MM / 2)


def _cells(lake: FinishedMap, k: int, unit: str, width_mm: float) -> list[list[str]]:
    spots = lake.spots
    texts = [
        [str(k + 1)], [spots.name[k], spots.kind[k]], depth_words(lake, k, unit), [bottom_word(lake, k)],
        chance_words(lake, k), position_text(float(spots.lat_deg[k]), float(spots.lon_deg[k])).split(" "),
        [why(lake, k, unit)],
    ]
    return [[line for text in cell for line in wrapped(text, share * width_mm - 1.5, POINTS)]
            for cell, (_, share) in zip(texts, COLUMNS, strict=True)]


def depth_words(lake: FinishedMap, k: int, unit: str) -> list[str]:
    """Depth at a spot, and how far off it may be (95 %)."""
    depth, sigma = float(lake.spots.depth_m[k]), float(lake.spots.depth_sigma_m[k])
    if not np.isfinite(depth):
        return ["not known"]
    off = f"± {from_metres(TWO_SIDED_95 * sigma, unit):.1f} {unit}" if np.isfinite(sigma) else ""
    return [f"{from_metres(depth, unit):.1f} {unit}", *([off] if off else [])]


def bottom_word(lake: FinishedMap, k: int) -> str:
    """Soft, medium or hard with the hardness, or that it is not known."""
    hardness = float(lake.spots.hardness[k])
    if not np.isfinite(hardness):
        return "not known"
    word = "soft" if hardness < lake.soft_below else "hard" if hardness >= lake.hard_from else "medium"
    return f"{word} {hardness:.2f}"


def chance_words(lake: FinishedMap, k: int) -> list[str]:
    """Probability that the thing is there, its interval, and who saw it."""
    spots = lake.spots
    if not np.isfinite(spots.probability[k]):
        return ["not known"]
    told = [_chance(float(spots.probability[k]))]
    if np.isfinite(spots.prob_low[k]) and np.isfinite(spots.prob_high[k]):
        ends = _chance(float(spots.prob_low[k])), _chance(float(spots.prob_high[k]))
        told += [] if ends[0] == ends[1] else [f"{ends[0]} to {ends[1]}"]
    if spots.could_see[k]:
        told.append(f"seen {spots.seen[k]} of {spots.could_see[k]} times")
    return told


def _chance(share: float) -> str:
    """A probability in per cent; none is certain."""
    return f"over {0.99:.0%}" if share > 0.99 else f"under {0.01:.0%}" if share < 0.01 else f"{share:.0%}"


def why(lake: FinishedMap, k: int, unit: str) -> str:
    """The reasons without the workings of the score, lengths in ``unit``."""
    said = _WORKINGS.sub("", " ".join(lake.spots.reasons[k])) if lake.spots.reasons else ""
    return in_unit(said, unit) or "–"


def in_unit(text: str, unit: str) -> str:
    """A sentence with its lengths, in whatever unit they were written, in ``unit``."""
    def turned(found: re.Match[str]) -> str:
        if found[2] == unit:
            return found[0]
        return f"{from_metres(float(found[1]) * M_PER_UNIT[found[2]], unit):.1f} {unit}"

    return _LENGTH.sub(turned, text)
