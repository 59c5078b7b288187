"""Part of what was recorded: an area, a span of time. What lies outside is not read further, and counted once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from lakemap.errors import NothingUsable
from lakemap.model.shoreline import Shoreline
from lakemap.model.soundings import Soundings

Bools = NDArray[np.bool_]


def part_of(soundings: Soundings, area: Shoreline | None, since_s: float | None, until_s: float | None) -> Soundings:
    """Rows inside ``area`` (polygons in degrees) and between two moments [s since 1970]; all where nothing is asked.

    Rows without a place lie in no area; rows without a date in no span of time. ``rows_in`` of a log then counts the
    rows asked for. Raises NothingUsable where none is left.
    """
    if area is None and since_s is None and until_s is None:
        return soundings
    keep = np.ones(len(soundings), dtype=bool)
    said = []
    if area is not None:
        inside = shapely.contains_xy(area.water, soundings.lon_deg, soundings.lat_deg)
        said.append(f"{int((~inside).sum())} of {len(soundings)} rows lie outside {area.source}")
        keep &= inside
    if since_s is not None or until_s is not None:
        timely, undated = _in_span(soundings, since_s, until_s)
        said.append(f"{int((~timely).sum())} of {len(soundings)} rows lie outside the time asked for")
        if undated:
            said.append(f"no date in {', '.join(undated)}: its rows cannot be told to lie within the time asked for")
        keep &= timely
    if not keep.any():
        raise NothingUsable(f"{'; '.join(said)}: nothing is left; ask for more with --area, --since or --until")
    counts = np.bincount(soundings.log[keep], minlength=len(soundings.logs))
    logs = tuple(replace(log, rows_in=int(count)) for log, count in zip(soundings.logs, counts, strict=True))
    return _without_empty_logs(replace(soundings.take(keep), logs=logs)).with_messages(*said)


def _in_span(soundings: Soundings, since_s: float | None, until_s: float | None) -> tuple[Bools, list[str]]:
    dated = np.array([log.has_date and log.has_time for log in soundings.logs] or [True])
    low, high = -np.inf if since_s is None else since_s, np.inf if until_s is None else until_s
    timely = dated[soundings.log] & (soundings.time_s >= low) & (soundings.time_s <= high)
    return timely, [log.name for log, known in zip(soundings.logs, dated, strict=True) if not known]


def _without_empty_logs(soundings: Soundings) -> Soundings:
    filled = [code for code, log in enumerate(soundings.logs) if log.rows_in]
    number = np.full(max(len(soundings.logs), 1), -1)
    number[filled] = np.arange(len(filled))
    return replace(
        soundings, logs=tuple(soundings.logs[code] for code in filled), log=number[soundings.log].astype(np.int32)
    )


def shore_within(shore: Shoreline | None, area: Shoreline | None) -> Shoreline | None:
    """The shoreline's water inside ``area``; where the area cuts through water the outline is no shore: a wall."""
    if shore is None or area is None:
        return shore
    water = shapely.intersection(shore.water, area.water)
    if water.is_empty:
        raise NothingUsable(f"{area.source} and {shore.source} do not meet; give the area of this lake")
    cut = shapely.difference(shapely.boundary(area.water), shapely.boundary(shore.water))
    return replace(shore, water=water, walls=shapely.union(shore.walls, shapely.intersection(cut, shore.water)))
