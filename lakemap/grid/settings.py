"""Settings of the surfaces: ``[grid]`` in lake.toml."""

from __future__ import annotations

from dataclasses import dataclass

from lakemap.limits import Settings, above, between, one_of


@dataclass(frozen=True)
class GridSettings(Settings):
    """``pixel_m`` and ``crs`` None: chosen from the soundings (grid/frame.py, geo/crs.py).

    ``nugget`` is ``noise`` by default: most of what differs between two readings at one place is the boat's position
    and the sounder, not the floor, and a pixel averages over what floor detail there is.
    """

    pixel_m: float | None = above(0, default=None, why="side of a pixel; chosen from the soundings' spacing")
    crs: str | None = None
    nugget: str = one_of("noise", "detail", default="noise", why="noise is filtered out, detail is reproduced")
    shore_depth: str = one_of("free", "zero", default="free", why="zero: the outline is that day's waterline")
    method: str = one_of(
        "auto", "field", "kriging", "linear", "nearest", default="auto", why="how values are interpolated"
    )
    neighbours: int = between(4, 200, default=32, why="fewer leave gaps, more cost time without gain")
    realisations: int = between(0, 1000, default=0, why="surfaces drawn for intervals of area and volume")
    max_cells: int = above(0, default=4_000_000, why="a frame beyond this needs some gigabyte of memory")
