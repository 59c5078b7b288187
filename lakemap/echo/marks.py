"""Marks placed on the working CRS, as hits."""

from __future__ import annotations

import numpy as np
from pyproj import CRS

from lakemap.echo.settings import EchoSettings
from lakemap.geo.crs import project
from lakemap.model.hits import FROM_MARK, Hits
from lakemap.model.marks import Marks

MARK_CONFIDENCE = 0.9
"""Somebody saw it and noted it; one in ten is gone, mistaken or misplaced: own judgement, no source."""


def place_marks(marks: Marks, crs: CRS | None, settings: EchoSettings) -> Hits:
    """Every mark with a finite place as a hit of its own kind, in the order given; no marks or no CRS: no hits.

    The note joins the mark's name and its note. Depth and height are not known (NaN).
    """
    if len(marks) == 0 or crs is None:
        return Hits.empty()
    x_m, y_m = project(crs, marks.lon_deg, marks.lat_deg)
    n = len(marks)
    nan = np.full(n, np.nan)
    said = [": ".join(part for part in pair if part) for pair in zip(marks.name, marks.note, strict=True)]
    dated = marks.time_utc.astype("datetime64[ms]")
    seconds = np.where(np.isnat(dated), np.nan, dated.astype(np.int64) / 1000.0)
    hits = Hits(
        kind=np.array(marks.kind, dtype=np.str_), origin=np.full(n, FROM_MARK, np.int8), x_m=x_m, y_m=y_m,
        position_sigma_m=np.full(n, settings.mark_sigma_m), depth_m=nan, height_m=nan.copy(),
        confidence=np.full(n, MARK_CONFIDENCE), pings=np.zeros(n, np.int32), pass_id=np.full(n, -1, np.int32),
        time_s=seconds, time_utc=dated, note=np.array(said, dtype=np.str_),
    )
    return hits.take(np.isfinite(x_m) & np.isfinite(y_m))
