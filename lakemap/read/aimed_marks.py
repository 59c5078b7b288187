"""How far and which way a mark was aimed, as tables and points tell it; what cannot be is said and left out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from lakemap.errors import InputError
from lakemap.read.messages import first_of
from lakemap.read.table_columns import Header
from lakemap.read.table_text import numbers
from lakemap.units import to_metres

Floats = NDArray[np.float64]
Aimed = tuple[Floats, Floats, Floats]

FARTHEST_M = 300.0
"""No screen shows cover farther off; more is a slip of the pen or another unit."""

LIMITS = {"range": (0.0, FARTHEST_M, "m"), "bearing": (0.0, 360.0, "degrees"), "aim": (-180.0, 360.0, "degrees")}

SIDES = {"ahead": 0.0, "bow": 0.0, "starboard": 90.0, "right": 90.0, "astern": 180.0, "stern": 180.0, "port": -90.0,
         "left": -90.0}
"""Words for an aim, as degrees from the bow."""


def read_aimed(
    found: Mapping[str, Header], cells: Sequence[Iterable[str]], line: NDArray[np.int64], name: str, unit: str | None
) -> tuple[Aimed, list[str]]:
    """Range [m], bearing from true north and aim from the bow [deg] (n,), NaN where not noted; and what is said.

    ``cells`` are a table's columns as text; ``unit`` counts where the header of range has none. A number that cannot
    be costs that row's word on it only; a bearing goes before an aim.
    """
    said: list[str] = []
    blank = np.full(len(line), np.nan)
    told = {own: _column(found[own], cells, name, said) if own in found else blank
            for own in ("range", "bearing", "aim")}
    away, bearing, aim = _metres(found.get("range"), told["range"], unit, name, said), told["bearing"], told["aim"]
    away, bearing, aim = (_within(values, what, line, name, said)
                          for what, values in (("range", away), ("bearing", bearing), ("aim", aim)))
    both = np.isfinite(bearing) & np.isfinite(aim)
    if both.any():
        said.append(f"{name}: bearing and aim in {first_of(line[both])}; the bearing is taken")
    lone = (np.isfinite(bearing) | np.isfinite(aim)) & ~np.isfinite(away)
    if lone.any():
        said.append(f"{name}: a direction without a range in {first_of(line[lone])}; the mark stays where the boat was")
    return (away, bearing, np.where(both, np.nan, aim)), said


def _column(header: Header, cells: Sequence[Iterable[str]], name: str, said: list[str]) -> Floats:
    texts = pd.Series([str(text).strip() for text in cells[header.index]], dtype=str)
    if header.name == "aim":
        texts = texts.map(lambda text: str(SIDES[text.lower()]) if text.lower() in SIDES else text)
    try:
        values = numbers(texts, name, header.text)
    except InputError as fault:
        said.append(f"{fault}; the column is not used")
        return np.full(len(texts), np.nan)
    strange = (texts != "").to_numpy() & ~np.isfinite(values)
    if strange.any():
        said.append(f"{name}: {header.text} = {texts[int(np.flatnonzero(strange)[0])][:40]!r} is no number "
                    f"({int(strange.sum())} such); taken as not noted")
    return values


def _metres(header: Header | None, values: Floats, unit: str | None, name: str, said: list[str]) -> Floats:
    if header is None or not np.isfinite(values).any():
        return values
    if not (header.unit or unit):
        said.append(f"{name}: column {header.text!r} does not say its unit and is not used; write range_m or range_ft "
                    "into the header")
        return np.full(len(values), np.nan)
    return np.asarray(to_metres(values, header.unit or str(unit)))


def _within(values: Floats, what: str, line: NDArray[np.int64], name: str, said: list[str]) -> Floats:
    least, most, unit = LIMITS[what]
    wrong = np.isfinite(values) & ~((values >= least) & (values <= most))
    if wrong.any():
        said.append(f"{name}: {what} = {values[wrong][0]:g} in {first_of(line[wrong])}: must be {least:g} to {most:g} "
                    f"{unit}; taken as not noted")
    return np.where(wrong, np.nan, values)
