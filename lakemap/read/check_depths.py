"""Check depths: CSV of depths measured by weighted line or pole."""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from lakemap.errors import InputError
from lakemap.model.columns import CHECK_COLUMNS
from lakemap.model.lake_facts import CheckDepths
from lakemap.read.facts_table import FactsTable, names_in_head
from lakemap.read.places import checked_places
from lakemap.read.reader import LIKELY, PERHAPS, Reader, Role
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source

USUAL_SIGMA_M = 0.1
"""Standard error of a depth by hand where the file does not say it: a boat that rides, a line that
leans; common practice."""


class CheckDepthsReader(Reader):
    """One depth by hand a row. A column ``check_depth_m`` tells such a file from a log."""

    name: ClassVar[str] = "table of check depths"
    role: ClassVar[Role] = "check_depths"
    suffixes: ClassVar[tuple[str, ...]] = (".csv", ".tsv", ".txt")
    summary: ClassVar[str] = "lat, lon, check_depth_m (or _ft) by weighted line or pole, time, sigma_m"

    def likelihood(self, source: Source) -> float:
        """Likely with a column of check depths; a plain depth makes it a log, unless an option says otherwise."""
        names = names_in_head(source, CHECK_COLUMNS)
        if not {"lat", "lon", "check_depth"} <= names:
            return 0.0
        return LIKELY if b"check" in source.head.split(b"\n", 1)[0].lower() else PERHAPS / 2

    def read(self, source: Source, settings: ReadSettings) -> CheckDepths:
        """Rows in file order; those without place or depth are left out and said. Raises InputError without any."""
        table = FactsTable.of(source, settings, CHECK_COLUMNS, ["lat", "lon", "check_depth"])
        depth_m = table.length_m("check_depth", settings.depth_unit)
        unit = table.found["check_depth"].unit or settings.depth_unit
        sigma_m = table.length_m("sigma", unit)
        lat, lon, said = checked_places(table.number("lat"), table.number("lon"), table.line, source.name)
        good = np.isfinite(lon) & np.isfinite(depth_m) & (depth_m > 0)
        if not good.any():
            raise InputError(f"{source.name}: no row with a place and a depth above 0; leave the file out")
        if not good.all():
            said.append(f"{source.name}: no place or no depth in {table.first_lines(~good)}; left out")
        sigma_m = np.where(np.isfinite(sigma_m) & (sigma_m > 0), sigma_m, USUAL_SIGMA_M)
        n = int(good.sum())
        return CheckDepths(
            lon[good], lat[good], depth_m[good], sigma_m[good], table.time_s()[good], table.line[good],
            (source.name,) * n, tuple(said),
        )
