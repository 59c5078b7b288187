"""Levels of the lake by time: CSV of a gauge, relative to its zero or as pool elevation."""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from lakemap.errors import InputError
from lakemap.model.columns import LEVEL_COLUMNS
from lakemap.model.lake_facts import LakeLevels
from lakemap.read.facts_table import FactsTable, names_in_head
from lakemap.read.reader import SURE, Reader, Role
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source
from lakemap.units import M_PER_UNIT, to_metres

HIGHEST_M = 9000.0
LARGEST_RELATIVE_M = 60.0
"""A relative level beyond this is an elevation under another name: no reservoir's level moves so far."""


class LevelsReader(Reader):
    """One reading of the gauge a row."""

    name: ClassVar[str] = "table of lake levels"
    role: ClassVar[Role] = "levels"
    suffixes: ClassVar[tuple[str, ...]] = (".csv", ".tsv", ".txt")
    summary: ClassVar[str] = "time and level, or elevation with the full pool's (# full_pool_m: 215.0)"

    def likelihood(self, source: Source) -> float:
        """Sure with a time and a level or elevation, and neither places nor depths."""
        names = names_in_head(source, LEVEL_COLUMNS)
        return SURE if "time" in names and names & {"level", "elevation"} else 0.0

    def read(self, source: Source, settings: ReadSettings) -> LakeLevels:
        """Levels in the order of time. Raises InputError for missing units, times without date, times that repeat."""
        table = FactsTable.of(source, settings, LEVEL_COLUMNS, ["time"])
        own = next((name for name in ("elevation", "level") if name in table.found), None)
        if own is None:
            raise InputError(f"{source.name}: no column for level or elevation; name it level_m, or elevation_m")
        time_s, level_m = table.time_s(), table.length_m(own)
        good = np.isfinite(time_s) & np.isfinite(level_m)
        if not good.any():
            raise InputError(f"{source.name}: no row with both a time and a level; write 2025-06-01T14:30:00Z")
        said = [] if good.all() else [f"{source.name}: no time or no level in {table.first_lines(~good)}; left out"]
        if np.abs(level_m[good]).max() > HIGHEST_M:
            raise InputError(f"{source.name}: a level of {np.abs(level_m[good]).max():g} m is no lake's; mend that row")
        order = np.argsort(time_s[good], kind="stable")
        time_s, level_m = time_s[good][order], level_m[good][order]
        full_pool_m, elevation = _full_pool_m(table), own == "elevation"
        if not elevation and full_pool_m is None and np.abs(np.median(level_m)) > LARGEST_RELATIVE_M:
            raise InputError(f"{source.name}: levels near {np.median(level_m):.2f} m are elevations; name the column "
                             "elevation and give the full pool's: clean.full_pool_m")
        return _once_a_time(LakeLevels(
            time_s, level_m, elevation or full_pool_m is not None, source.name, full_pool_m, table.said_above("datum"),
            tuple(said),
        ))


def _full_pool_m(table: FactsTable) -> float | None:
    for unit in M_PER_UNIT:
        text = table.said_above(f"full_pool_{unit}")
        if text is not None:
            try:
                return to_metres(float(text), unit)
            except ValueError:
                raise InputError(f"{table.source.name}: # full_pool_{unit}: {text}: no number; such as 215.0") from None
    return None


def _once_a_time(levels: LakeLevels) -> LakeLevels:
    """Raises InputError where one moment has two levels."""
    same = np.flatnonzero(np.diff(levels.time_s) == 0)
    differ = same[np.abs(np.diff(levels.level_m)[same]) > 0.005]
    if len(differ):
        when = np.datetime64(int(levels.time_s[differ[0]]), "s")
        raise InputError(f"{levels.source}: two levels at {when}Z ({levels.level_m[differ[0]]:.2f} and "
                         f"{levels.level_m[differ[0] + 1]:.2f} m); leave one out")
    keep = np.concatenate([[True], np.diff(levels.time_s) > 0])
    return LakeLevels(
        levels.time_s[keep], levels.level_m[keep], levels.elevation, levels.source, levels.full_pool_m, levels.datum,
        levels.messages,
    )
