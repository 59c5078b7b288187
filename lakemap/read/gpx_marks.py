"""GPX 1.1 waypoints as marks."""

from __future__ import annotations

from typing import ClassVar

import numpy as np
import pandas as pd

from lakemap.model.marks import Marks
from lakemap.read.gpx import gpx_contents, gpx_points
from lakemap.read.marks_table import made_marks
from lakemap.read.reader import SURE, Reader, Role
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source
from lakemap.read.table_text import numbers
from lakemap.read.times import iso_times


class GpxMarksReader(Reader):
    """One mark a waypoint; its kind comes from type, symbol or the leading word of its name."""

    name: ClassVar[str] = "GPX waypoints"
    role: ClassVar[Role] = "marks"
    suffixes: ClassVar[tuple[str, ...]] = (".gpx",)
    summary: ClassVar[str] = "waypoints; what they are from type, sym or name"

    def likelihood(self, source: Source) -> float:
        """Sure for a file with waypoints."""
        return SURE if gpx_contents(source).waypoints else 0.0

    def read(self, source: Source, settings: ReadSettings) -> Marks:
        """Waypoints in file order. Raises InputError for XML that is broken or hostile."""
        points = list(gpx_points(source, "wpt"))
        texts = [point.texts for point in points]
        words = [[text.get("type", ""), text.get("sym", "")] for text in texts]
        notes = ["; ".join(dict.fromkeys(text[key] for key in ("cmt", "desc") if text.get(key))) for text in texts]
        return made_marks(
            source, np.arange(1, len(points) + 1),
            (numbers(pd.Series([p.lat for p in points], dtype=str), source.name, "lat"),
             numbers(pd.Series([p.lon for p in points], dtype=str), source.name, "lon")),
            words, ([text.get("name", "") for text in texts], notes),
            iso_times(pd.Series([text.get("time", "") for text in texts], dtype=str)).time_utc,
        )
