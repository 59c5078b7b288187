"""Which scale, and how many sheets at it."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lakemap.errors import UsageError
from lakemap.geo.crs import point_scale, unproject
from lakemap.model.frame import Grid
from lakemap.publish.chart.paper import Box, Paper, View

ROUND_SCALES = tuple(
    int(lead * tens) for tens in (100, 1000, 10_000, 100_000) for lead in (1, 1.25, 1.5, 2, 2.5, 3, 4, 5, 6, 7.5)
)
"""Denominators that are taken where none is given: numbers that a ruler divides well."""

COARSEST_FOR_ONE = 10_000
"""A lake that fits on one sheet only at a smaller scale gets several: at 1:10 000 the error of a usual fix, 3 to 5 m,
is half a millimetre, and what is smaller than it need not show (own choice)."""
FINEST = 250
MOST_SHEETS, MOST_ASKED = 12, 150
"""Sheets that are made where no scale is given, and at a scale that is (own choices: a booklet, an atlas)."""
OVERLAP_MM = 12.0
"""What neighbouring sheets share, so that no place lies on an edge of all."""
AROUND_MM = 4.0
"""Between what is drawn and the edge of the map."""

_SCALE = re.compile(r"^\s*(?:1\s*[:/]\s*)?(\d[\d_ ]*)\s*$")


@dataclass(frozen=True)
class Sheet:
    """One sheet: its number from 1, its place in the mosaic (row from north, column from west), and its view."""

    number: int
    row: int
    column: int
    view: View


@dataclass(frozen=True)
class Mosaic:
    """All sheets of a chart at ``1:scale`` on one ``paper``."""

    paper: Paper
    scale: int
    sheets: tuple[Sheet, ...]

    def neighbours(self, sheet: Sheet) -> dict[str, int]:
        """Numbers of the sheets that go on from this one, by direction."""
        steps = {"north": (-1, 0), "east": (0, 1), "south": (1, 0), "west": (0, -1)}
        there = {(one.row, one.column): one.number for one in self.sheets}
        found = {word: there.get((sheet.row + down, sheet.column + right)) for word, (down, right) in steps.items()}
        return {word: number for word, number in found.items() if number is not None}


def parse_scale(text: str) -> int:
    """``1:2500`` or ``2500`` as 2500. Raises UsageError for another text or a scale that no sheet can have."""
    match = _SCALE.match(text)
    scale = int(re.sub(r"[_ ]", "", match[1])) if match else 0
    if not 50 <= scale <= 5_000_000:
        raise UsageError(f"--scale {text}: write it as 1:2500, from 1:50 to 1:5000000")
    return scale


def lay_out(depth: Grid, paper: str, scale: int | None = None) -> Mosaic:
    """The sheets that show all pixels with a depth: at ``1:scale``, else at a round scale that suits.

    Raises UsageError where a given scale asks for more than MOST_ASKED sheets.
    """
    extent, drawn = _drawn(depth)
    grid_scale = _grid_scale(depth, extent)
    if scale is not None:
        made = _best(extent, drawn, paper, scale, grid_scale)
        if len(made.sheets) > MOST_ASKED:
            raise UsageError(f"--scale 1:{scale} makes {len(made.sheets)} sheets, more than {MOST_ASKED}; "
                             "take a larger number behind the colon")
        return made
    choices = [choice for choice in ROUND_SCALES if choice >= FINEST]
    for choice in choices:
        most = 1 if choice < COARSEST_FOR_ONE else MOST_SHEETS
        made = _best(extent, drawn, paper, choice, grid_scale)
        if len(made.sheets) <= most:
            return made
    return made


def _drawn(depth: Grid) -> tuple[Box, NDArray[np.float64]]:
    """Box of all pixels with a depth [m] and their middles (k, 2), thinned; the whole frame where there is none."""
    frame, pixel_m = depth.frame, depth.frame.pixel_m
    rows, columns = np.nonzero(np.isfinite(depth.values))
    if not len(rows):
        return Box(*frame.bounds), np.array([[(frame.bounds[0] + frame.bounds[2]) / 2,
                                              (frame.bounds[1] + frame.bounds[3]) / 2]])
    x_m, y_m = frame.centres()
    x, y = x_m[columns], y_m[rows]
    box = Box(float(x.min()), float(y.min()), float(x.max()), float(y.max())).grown(pixel_m / 2)
    return box, np.column_stack([x, y])


def _grid_scale(depth: Grid, extent: Box) -> float:
    """Length on the CRS over length on the ground in the middle of what is drawn."""
    lon, lat = unproject(depth.frame.crs, (extent.west + extent.east) / 2, (extent.south + extent.north) / 2)
    return float(point_scale(depth.frame.crs, lon, lat))


def _best(extent: Box, drawn: NDArray[np.float64], paper: str, scale: int, grid_scale: float) -> Mosaic:
    """Upright or across, whichever takes fewer sheets; the one that leaves less paper empty where both take as many."""
    made = [_tiled(extent, drawn, Paper.named(paper, across=across), scale, grid_scale) for across in (False, True)]
    spare = [abs(np.log(one.paper.map.width / one.paper.map.height * extent.height / extent.width)) for one in made]
    return min(zip(made, spare, strict=True), key=lambda pair: (len(pair[0].sheets), pair[1]))[0]


def _tiled(extent: Box, drawn: NDArray[np.float64], paper: Paper, scale: int, grid_scale: float) -> Mosaic:
    """Sheets in rows and columns over the extent; those without a drawn pixel are left out."""
    mm_per_m = 1000.0 / scale / grid_scale
    whole, inner = extent.grown(AROUND_MM / mm_per_m), paper.map
    step = [(side - OVERLAP_MM) / mm_per_m for side in (inner.width, inner.height)]
    counts = [max(1, int(np.ceil((length - OVERLAP_MM / mm_per_m) / one - 1e-9)))
              for length, one in zip((whole.width, whole.height), step, strict=True)]
    first_x = (whole.west + whole.east) / 2 - step[0] * (counts[0] - 1) / 2
    first_y = (whole.south + whole.north) / 2 + step[1] * (counts[1] - 1) / 2
    if counts[0] * counts[1] > 40 * MOST_ASKED:
        raise UsageError(f"--scale 1:{scale} makes {counts[0] * counts[1]} sheets; take a larger number behind the "
                         "colon")
    sheets: list[Sheet] = []
    for row in range(counts[1]):
        for column in range(counts[0]):
            view = View(first_x + step[0] * column, first_y - step[1] * row, mm_per_m, inner)
            if _holds(view.ground, drawn):
                sheets.append(Sheet(len(sheets) + 1, row, column, view))
    return Mosaic(paper, scale, tuple(sheets))


def _holds(ground: Box, drawn: NDArray[np.float64]) -> bool:
    x, y = drawn.T
    return bool(np.any((x >= ground.west) & (x <= ground.east) & (y >= ground.south) & (y <= ground.north)))
