"""What every reader promises of what it returns, in one list: checked for plug-ins on each run, for all in tests."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from lakemap.model.flags import Flag
from lakemap.model.marks import KINDS, Marks
from lakemap.model.notes import Notes
from lakemap.model.shoreline import Shoreline
from lakemap.model.soundings import Soundings
from lakemap.read.reader import Role
from lakemap.read.source import Source

RESULTS: Mapping[Role, tuple[type, ...]] = {"log": (Soundings,), "marks": (Marks, Notes), "shore": (Shoreline,)}
"""What a reader of a role returns; the other roles return a dataclass of their own in model/."""


def broken_promises(found: object, role: Role, source: Source) -> list[str]:
    """Each promise that a result breaks, as a sentence; empty for a good one."""
    wanted = RESULTS.get(role)
    if wanted is not None and not isinstance(found, wanted):
        return [f"gave {type(found).__name__}, not {wanted[0].__name__}"]
    if isinstance(found, Soundings):
        return _of_log(found, source)
    if isinstance(found, Marks):
        return _of_marks(found)
    if isinstance(found, Shoreline):
        return ["gave a shoreline without any water or wall"] if found.water.is_empty and found.walls.is_empty else []
    return ["gave nothing"] if found is None else []


def _of_log(rows: Soundings, source: Source) -> list[str]:
    if len(rows.logs) != 1 or (len(rows) and (rows.log.min() != 0 or rows.log.max() != 0)):
        return [f"gave {len(rows.logs)} logs; one file is one log, with code 0 in each row"]
    facts = rows.logs[0]
    lost, deep = np.isnan(rows.lon_deg), rows.logged_depth_m
    said = {
        f"named its log {facts.name!r}, not {source.name!r}": facts.name != source.name,
        "gave the log another SHA-256 than the file's": facts.sha256 != source.sha256,
        "gave no row; it should raise InputError": len(rows) == 0,
        f"counted {facts.rows_in} rows coming in and gave {len(rows)}": facts.rows_in not in (0, len(rows)),
        "left a time_s that is no number": not np.isfinite(rows.time_s).all(),
        "gave a longitude without a latitude": not np.array_equal(lost, np.isnan(rows.lat_deg)),
        "gave a place outside 180 and 90 degrees": bool((np.abs(rows.lon_deg) > 180).any()
                                                       or (np.abs(rows.lat_deg) > 90).any()),
        "gave an infinite depth": bool(np.isinf(deep).any()),
        "left a row without position unflagged": bool((lost & ~rows.has(Flag.no_position)).any()),
        "left a row without depth unflagged": bool((np.isnan(deep) & ~rows.has(Flag.no_depth)).any()),
        "filled depth_m, which is for the cleaning": bool(np.isfinite(rows.depth_m).any()),
        "gave messages of several lines": any("\n" in text for text in rows.messages),
    }
    return [text for text, broken in said.items() if broken]


def _of_marks(marks: Marks) -> list[str]:
    count = len(marks.lon_deg)
    columns = (marks.lat_deg, marks.kind, marks.name, marks.note, marks.time_utc, marks.source,
               marks.range_m, marks.bearing_deg, marks.aim_deg)
    if any(len(column) != count for column in columns):
        return ["gave columns of unequal length"]
    placed = np.isfinite(marks.lon_deg) & np.isfinite(marks.lat_deg)
    near = (np.abs(marks.lon_deg) <= 180) & (np.abs(marks.lat_deg) <= 90)
    said = {
        "gave a mark without a place, or outside 180 and 90 degrees": not bool((placed & near).all()),
        "gave a kind that is none of " + ", ".join(KINDS): not set(marks.kind) <= set(KINDS),
    }
    return [text for text, broken in said.items() if broken]
