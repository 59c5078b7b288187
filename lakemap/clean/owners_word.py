"""The owner's word on rows: a stretch marked bad, flagged rows restored; each line listed, undone by taking it out."""

from __future__ import annotations

from dataclasses import replace
from fnmatch import fnmatchcase

import numpy as np
from numpy.typing import NDArray

from lakemap.model.flags import FAULT_BITS, Flag
from lakemap.model.lake_facts import Edit, Edits
from lakemap.model.soundings import Soundings

Bools = NDArray[np.bool_]

NEVER_RESTORED = Flag.no_position | Flag.no_depth
"""Faults that no word can undo: there is nothing to use."""


def mark_bad(soundings: Soundings, edits: Edits) -> Soundings:
    """Flag ``by_owner`` where the owner marked rows bad, and say how many each line took."""
    for edit in edits.lines:
        if edit.what == "bad":
            rows = rows_meant(soundings, edit)
            soundings = soundings.with_flag(Flag.by_owner, rows).with_messages(_told(edit, rows, "marked bad"))
    return soundings


def restore(soundings: Soundings, edits: Edits) -> Soundings:
    """Clear the faults of rows that the owner wants kept, and note ``kept_by_owner``; called after every stage that
    flags, so nothing is said here."""
    for edit in edits.lines:
        if edit.what == "restore":
            rows = _flagged(soundings, edit)
            keep = np.uint32((FAULT_BITS & ~int(NEVER_RESTORED)) ^ 0xFFFFFFFF)
            cleared = replace(soundings, flags=np.where(rows, soundings.flags & keep, soundings.flags))
            soundings = cleared.with_flag(Flag.kept_by_owner, rows)
    return soundings


def restored_said(soundings: Soundings, edits: Edits) -> Soundings:
    """Say how many rows each line of ``restore`` kept."""
    kept = soundings.has(Flag.kept_by_owner)
    return soundings.with_messages(*(
        _told(edit, kept & rows_meant(soundings, edit), "restored") for edit in edits.lines if edit.what == "restore"
    ))


def rows_meant(soundings: Soundings, edit: Edit) -> Bools:
    """Which rows (n,) a line speaks of: those in its span of time, its place and its log, all that it gives."""
    rows = np.ones(len(soundings), dtype=bool)
    if edit.log:
        fits = [fnmatchcase(log.name.lower(), edit.log.lower()) for log in soundings.logs]
        rows &= np.array(fits or [False])[soundings.log]
    if np.isfinite(edit.from_s) or np.isfinite(edit.until_s):
        dated = np.array([log.has_date and log.has_time for log in soundings.logs] or [True])[soundings.log]
        rows &= dated & np.isfinite(soundings.time_s)
        rows &= ~(soundings.time_s < edit.from_s) & ~(soundings.time_s > edit.until_s)
    if np.isfinite(edit.west):
        lon = (soundings.lon_deg - edit.west) % 360.0
        rows &= lon <= (edit.east - edit.west) % 360.0
        rows &= (soundings.lat_deg >= edit.south) & (soundings.lat_deg <= edit.north)
    return rows


def _flagged(soundings: Soundings, edit: Edit) -> Bools:
    """Rows of a line that carry a fault which can be undone; the owner's later ``bad`` is a word of equal weight."""
    undone = np.uint32(FAULT_BITS & ~int(NEVER_RESTORED) & ~int(Flag.by_owner))
    whole = (soundings.flags & np.uint32(int(NEVER_RESTORED))) == 0
    return np.asarray(rows_meant(soundings, edit) & whole & ((soundings.flags & undone) != 0))


def _told(edit: Edit, rows: Bools, what: str) -> str:
    why = f" ({edit.why})" if edit.why else ""
    return f"owner's word, {edit.title}: {int(rows.sum())} rows {what}{why}; take the line out to undo it"
