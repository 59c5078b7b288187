"""Temperature, and oxygen, of the water by depth: CSV, one or several casts."""

from __future__ import annotations

from dataclasses import replace
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from lakemap.errors import InputError
from lakemap.model.columns import PROFILE_COLUMNS
from lakemap.model.lake_facts import Cast, WaterProfile
from lakemap.read.facts_table import FactsTable, names_in_head
from lakemap.read.reader import SURE, Reader, Role
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source

Floats = NDArray[np.float64]
SAME_CAST_S = 7200.0
"""A new cast begins where the depth starts again at the top, or the time leaps by more than this."""
COLDEST_C, WARMEST_C = -2.0, 40.0
MOST_OXYGEN_MGL = 30.0
"""Twice what water at 0 degC holds under air; blooms reach some 20."""


class ProfileReader(Reader):
    """One depth a row, from the top down; several casts one below the other, each with its time."""

    name: ClassVar[str] = "table of water temperatures by depth"
    role: ClassVar[Role] = "profile"
    suffixes: ClassVar[tuple[str, ...]] = (".csv", ".tsv", ".txt")
    summary: ClassVar[str] = "depth with its unit, temperature, oxygen, date; from the top down, cast below cast"

    def likelihood(self, source: Source) -> float:
        """Sure with depth and temperature and without places."""
        names = names_in_head(source, PROFILE_COLUMNS)
        placed = {"lat", "lon"} & {text.lower()[:3] for text in _headers(source)}
        return SURE if {"depth", "water_temperature"} <= names and not placed else 0.0

    def read(self, source: Source, settings: ReadSettings) -> WaterProfile:
        """Casts in the order of time. Raises InputError for depths out of order and temperatures of no lake."""
        table = FactsTable.of(source, settings, PROFILE_COLUMNS, ["depth", "water_temperature"])
        depth_m, temperature_c = table.length_m("depth"), table.temperature_c("water_temperature")
        time_s, oxygen = table.time_s(), table.number("oxygen")
        _require_oxygen(source.name, table, oxygen)
        good = np.isfinite(depth_m) & np.isfinite(temperature_c)
        if not good.any():
            raise InputError(f"{source.name}: no row with both a depth and a temperature; leave the file out")
        odd = good & ((temperature_c < COLDEST_C) | (temperature_c > WARMEST_C))
        if odd.any():
            raise InputError(f"{source.name}: {temperature_c[odd][0]:g} degC in {table.first_lines(odd)} is no lake's; "
                             "name the column temperature_f where it is degF")
        lines = table.first_lines(~good) if not good.all() else ""
        said = [f"{source.name}: no depth or no temperature in {lines}; left out"] if lines else []
        rows = np.flatnonzero(good)
        new = _new_cast(depth_m[rows], time_s[rows])
        casts = [
            _with_oxygen(_cast(source.name, table.line[part], depth_m[part], temperature_c[part], time_s[part]),
                         oxygen[part])
            for part in np.split(rows, np.flatnonzero(new))
        ]
        return WaterProfile(tuple(sorted(casts, key=_when)), source.name, tuple(said))


def _headers(source: Source) -> list[str]:
    return source.head.decode("utf-8", "replace").replace(";", ",").replace("\t", ",").split("\n", 1)[0].split(",")


def _new_cast(depth_m: Floats, time_s: Floats) -> NDArray[np.bool_]:
    """Whether a row begins a new cast: another time that says so; without times all rows are one cast."""
    leap = np.abs(np.diff(time_s)) > SAME_CAST_S
    return np.concatenate([[False], leap])


def _cast(name: str, line: NDArray[np.int64], depth_m: Floats, temperature_c: Floats, time_s: Floats) -> Cast:
    back = np.flatnonzero(np.diff(depth_m) <= 0)
    if len(back) or depth_m[0] < 0:
        at = int(back[0]) if len(back) else -1
        before = f"{depth_m[at]:g} m" if at >= 0 else "the surface"
        raise InputError(f"{name}: depths out of order, {depth_m[at + 1]:g} m after {before} (line {line[at + 1]}); "
                         "write each cast from the top down, and a date beside each row where there are several")
    known = time_s[np.isfinite(time_s)]
    return Cast(float(known.mean()) if len(known) else float("nan"), depth_m, temperature_c)


def _with_oxygen(cast: Cast, oxygen: Floats) -> Cast:
    return replace(cast, oxygen_mgl=oxygen) if np.isfinite(oxygen).any() else cast


def _require_oxygen(name: str, table: FactsTable, oxygen: Floats) -> None:
    odd = np.isfinite(oxygen) & ((oxygen < 0) | (oxygen > MOST_OXYGEN_MGL))
    if odd.any():
        raise InputError(f"{name}: oxygen {oxygen[odd][0]:g} in {table.first_lines(odd)} is no mg/L of a lake (0 to "
                         f"{MOST_OXYGEN_MGL:g}); a share of saturation cannot be taken, write mg/L")


def _when(cast: Cast) -> float:
    return cast.time_s if np.isfinite(cast.time_s) else -np.inf
