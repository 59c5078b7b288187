"""What the owner chooses of a chart."""

from __future__ import annotations

from dataclasses import dataclass

from lakemap.limits import Settings, above, between, one_of


@dataclass(frozen=True)
class ChartSettings(Settings):
    """``scale`` is the number behind the colon, None for one that suits; ``units`` None for the map's own."""

    paper: str = one_of("a4", "letter", default="a4", why="formats that desk printers take")
    units: str | None = one_of("m", "ft", default=None, why="left out, the unit of the map")
    scale: float | None = above(0, default=None, why="left out, a round scale that suits the lake")
    contour_m: float | None = above(0, default=None, why="depth between contours; left out, what the scale allows")
    most_spots: int = between(0, 500, default=60, why="spots on the chart and in its table, best first")
    year: float | None = between(2025, 2030, default=None, why="the years that the magnetic model holds for")
