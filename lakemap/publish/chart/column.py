"""Lines of text below each other in a column of a page."""

from __future__ import annotations

from typing import Any

from lakemap.publish.chart.ink import MM_PER_POINT, Page, cut_to, wrapped
from lakemap.publish.letters import legible

LEADING = 1.28
"""From base line to base line, in sizes of the text (common practice)."""


class Column:
    """A column whose text starts at its top left corner [mm]; ``y_mm`` is where the next line's top lies."""

    def __init__(self, page: Page, x_mm: float, top_mm: float, width_mm: float) -> None:
        self.page, self.x_mm, self.y_mm, self.width_mm = page, x_mm, top_mm, width_mm

    def line(self, text: str, points: float = 6.2, indent_mm: float = 0.0, **look: Any) -> float:
        """One line, cut where it is too long; returns the height of its base line [mm]."""
        height = points * MM_PER_POINT
        weight = str(look.get("weight", "normal"))
        base = self.y_mm - height * 0.95
        self.page.text(self.x_mm + indent_mm, base, cut_to(legible(text), self.width_mm - indent_mm, points, weight),
                       points, **look)
        self.y_mm -= height * LEADING
        return base

    def paragraph(self, text: str, points: float = 6.2, indent_mm: float = 0.0, **look: Any) -> None:
        """As many lines as the text takes."""
        for line in wrapped(text, self.width_mm - indent_mm, points, str(look.get("weight", "normal"))):
            self.line(line, points, indent_mm, **look)

    def gap(self, height_mm: float) -> None:
        """Free space."""
        self.y_mm -= height_mm
