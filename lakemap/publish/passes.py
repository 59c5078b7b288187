"""Passes as simplified lines, for the map page and lake.gpkg alike."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString

from lakemap.model.soundings import NO_PASS, PassBias, Soundings
from lakemap.publish.wording import printable

Rows = NDArray[np.int64]


@dataclass(frozen=True)
class PassLine:
    """One pass: its number, its log's name, its course on the working CRS, how many rows it used, and its day."""

    pass_id: int
    log: str
    line: LineString
    rows: int
    day: str | None
    bias_m: float
    bias_sigma_m: float


def pass_lines(soundings: Soundings, tolerance_m: float, bias: PassBias | None = None) -> list[PassLine]:
    """Every pass with two distinct places or more, in the order of pass numbers; only usable rows count.

    Lines stay within ``tolerance_m`` of the track (Douglas & Peucker 1973); bias is NaN where none was solved.
    """
    known = {} if bias is None else dict(
        zip(bias.pass_id.tolist(), zip(bias.bias_m.tolist(), bias.sigma_m.tolist(), strict=True), strict=True)
    )
    made = []
    for number, rows in _rows_of_passes(soundings):
        xy = np.column_stack([soundings.x_m[rows], soundings.y_m[rows]])
        if len(xy) < 2 or not np.any(xy != xy[0]):
            continue
        line = shapely.simplify(LineString(xy), tolerance_m, preserve_topology=False)
        name = printable(soundings.logs[int(soundings.log[rows[0]])].name)
        solved = known.get(number, (np.nan, np.nan))
        made.append(PassLine(number, name, line, len(rows), _day(soundings, rows), *solved))
    return made


def _rows_of_passes(soundings: Soundings) -> Iterator[tuple[int, Rows]]:
    rows = np.flatnonzero((soundings.pass_id != NO_PASS) & soundings.usable() & np.isfinite(soundings.x_m))
    rows = rows[np.argsort(soundings.pass_id[rows], kind="stable")]
    numbers, starts = np.unique(soundings.pass_id[rows], return_index=True)
    yield from zip(numbers.tolist(), np.split(rows, starts[1:]) if len(rows) else [], strict=True)


def _day(soundings: Soundings, rows: Rows) -> str | None:
    dated = soundings.time_utc[rows]
    dated = dated[~np.isnat(dated)]
    return str(dated[0].astype("datetime64[D]")) if len(dated) else None
