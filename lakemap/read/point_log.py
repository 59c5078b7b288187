"""Points that carry a depth, as a log."""

from __future__ import annotations

import dataclasses
import re
from typing import ClassVar

from lakemap.errors import InputError
from lakemap.model.columns import LOG_COLUMNS
from lakemap.model.soundings import Soundings
from lakemap.read.b12 import is_b12
from lakemap.read.points import as_csv, own_names, point_fields, read_points
from lakemap.read.reader import PERHAPS, SURE, Reader, Role
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source
from lakemap.read.table import TableReader

_LINE = re.compile(r"\bline (\d+)")


class PointLogReader(Reader):
    """One row a point; properties are taken like the columns of a table, a third coordinate like a column z."""

    name: ClassVar[str] = "points with depths"
    role: ClassVar[Role] = "log"
    suffixes: ClassVar[tuple[str, ...]] = (".geojson", ".gpkg", ".shp", ".fgb")
    summary: ClassVar[str] = "points in GeoJSON, GeoPackage, Shapefile, FlatGeobuf; properties as columns of a table"

    def likelihood(self, source: Source) -> float:
        """Sure for points with a property that is a depth; perhaps for other points, so that it can be named."""
        fields = point_fields(source)
        if fields is None or is_b12(source):
            return 0.0
        return SURE if "depth" in own_names(fields, LOG_COLUMNS) else PERHAPS

    def read(self, source: Source, settings: ReadSettings) -> Soundings:
        """Rows in the order of points. Raises InputError as a table does: no depth, or a depth without a known unit."""
        points = read_points(source, ("depth", "z"), "log")
        table = Source.holding(source, as_csv(points, LOG_COLUMNS))
        try:
            rows = TableReader().read(table, settings)
        except InputError as fault:
            raise InputError(_by_point(str(fault))) from None
        (facts,) = rows.logs
        rows = dataclasses.replace(
            rows, logs=(dataclasses.replace(facts, reader=self.name),), messages=tuple(map(_by_point, rows.messages))
        )
        return rows.with_columns(row=points.feature[rows.row - 2])


def _by_point(text: str) -> str:
    """Lines of the table between are points of the file."""
    return _LINE.sub(lambda found: f"point {int(found[1]) - 1}", text)
