"""Points that say what was seen, as marks."""

from __future__ import annotations

from dataclasses import replace
from typing import ClassVar

import pandas as pd

from lakemap.model.columns import LOG_COLUMNS, MARK_COLUMNS
from lakemap.model.marks import Marks
from lakemap.read.aimed_marks import read_aimed
from lakemap.read.keep_out import FORCED, KEEP_FIELDS
from lakemap.read.marks_table import made_marks
from lakemap.read.points import own_names, point_fields, read_points
from lakemap.read.reader import LIKELY, PERHAPS, SURE, Reader, Role
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source
from lakemap.read.table_columns import recognise
from lakemap.read.times import iso_times

TEXTS = ("kind", "name", "note", "time")


class PointMarksReader(Reader):
    """One mark a point; its properties are named as the columns of a table of marks."""

    name: ClassVar[str] = "points as marks"
    role: ClassVar[Role] = "marks"
    suffixes: ClassVar[tuple[str, ...]] = (".geojson", ".gpkg", ".shp", ".fgb")
    summary: ClassVar[str] = "points with kind, name or note in GeoJSON, GeoPackage, Shapefile, FlatGeobuf"

    def likelihood(self, source: Source) -> float:
        """Sure for points with a kind, likely with a name or note and no depth; perhaps for points without a depth.
        With a distance to keep they are dangers, unless the user says otherwise."""
        fields = point_fields(source)
        if fields is None:
            return 0.0
        if any(name.lower() in KEEP_FIELDS for name in fields):
            return FORCED
        names, deep = own_names(fields, MARK_COLUMNS), "depth" in own_names(fields, LOG_COLUMNS)
        if "kind" in names:
            return SURE
        if deep:
            return 0.0
        return LIKELY if names & {"name", "note"} else PERHAPS

    def read(self, source: Source, settings: ReadSettings) -> Marks:
        """Marks in the order of points. Raises InputError for a file without points."""
        points = read_points(source, ("kind", "name", "note"), "marks")
        found = {
            header.name: header for index, field in reversed(list(enumerate(points.texts)))
            if (header := recognise(field, index, MARK_COLUMNS)) is not None
        }
        blank = [""] * len(points.lat)
        kind, name, note, time = (points.texts[found[own].text] if own in found else blank for own in TEXTS)
        cells = list(points.texts.values())
        aimed, said = read_aimed(found, cells, points.feature, source.name, settings.depth_unit)
        marks = made_marks(
            source, points.feature, (points.lat, points.lon), [[word] for word in kind], (name, note),
            iso_times(pd.Series(time, dtype=str)).time_utc, aimed,
        )
        return replace(marks, messages=(*marks.messages, *said))
