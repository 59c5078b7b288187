"""Reads all files of a role; a log that cannot be read costs that log only."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace

import numpy as np
import shapely

from lakemap.errors import InputError, NothingUsable
from lakemap.model.boat import LogRule
from lakemap.model.marks import MOVING_KINDS, Marks
from lakemap.model.notes import Notes
from lakemap.model.samples import BottomSamples
from lakemap.model.shoreline import Shoreline
from lakemap.model.soundings import Soundings
from lakemap.progress import Progress, quiet
from lakemap.read.log_rules import rules_for, settings_of, unused_rules, with_sounder
from lakemap.read.plugins import read_one
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source


def read_logs(
    sources: Sequence[Source], settings: ReadSettings, progress: Progress = quiet, rules: Sequence[LogRule] = ()
) -> Soundings:
    """Rows of all logs, in the order of names (then SHA-256) and of rows in the file; ``rules`` say which depths of a
    log to take and which sounder made them: a file may so become several logs.

    Raises the fault of a single log that cannot be read; NothingUsable where there are several and none can.
    """
    if not sources:
        raise NothingUsable("no log among the files; give at least one file with positions and depths")
    parts: list[Soundings] = []
    faults: list[InputError] = []
    for source in sorted(sources, key=_canonical):
        progress(f"reading {source.name}")
        chosen = rules_for(source.name, rules) or (None,)
        for rule in chosen:
            try:
                part = read_one(source, "log", settings_of(rule, settings))
            except InputError as fault:
                faults.append(fault)
            else:
                if isinstance(part, Soundings):
                    parts.append(with_sounder(part, rule, apart=len(chosen) > 1))
    if not parts and len(faults) == 1:
        raise faults[0]
    if not parts:
        raise NothingUsable(f"none of {len(sources)} logs can be read; the first: {faults[0]}")
    said = [*(f"left out: {fault}" for fault in faults), *unused_rules([source.name for source in sources], rules)]
    return Soundings.concatenate(parts).with_messages(*said)


def read_marks(sources: Sequence[Source], settings: ReadSettings) -> Marks:
    """Marks of all files, in the order of names, each once; a file that cannot be read costs a message."""
    parts: list[Marks] = []
    for source in sorted(sources, key=_canonical):
        try:
            part = read_one(source, "marks", settings)
        except InputError as fault:
            part = replace(Marks.empty(), messages=(f"left out: {fault}",))
        if isinstance(part, Marks):
            parts.append(part)
    return _once(Marks.concatenate(parts))


def _once(marks: Marks) -> Marks:
    """Marks that several files hold, with their latest words: phones, plotters and the map's page save all they have
    each time. The same are those of one place (to 1e-7 degrees), kind and name; of what moves, of one time too."""
    found: dict[tuple[object, ...], dict[str, list[int]]] = {}
    when = marks.time_utc.astype("datetime64[ms]").astype(np.int64)
    for row, (kind, name, source) in enumerate(zip(marks.kind, marks.name, marks.source, strict=True)):
        place = (round(float(marks.lon_deg[row]), 7), round(float(marks.lat_deg[row]), 7))
        moved = int(when[row]) if kind in (*MOVING_KINDS, "catch") else 0
        found.setdefault((*place, kind, name, moved), {}).setdefault(source, []).append(row)
    kept = sorted(row for by_source in found.values()
                  for row in max(by_source.values(), key=lambda rows: when[rows].max()))
    if len(kept) == len(marks):
        return marks
    said = f"{len(marks) - len(kept)} marks stand in more than one file; each counts once, with its latest words"
    return replace(marks.take(np.array(kept, np.int64)), messages=(*marks.messages, said))


def read_notes(sources: Sequence[Source], settings: ReadSettings) -> Notes:
    """Notes without a position among the files of marks, in the order of names; read_marks says what cannot be read."""
    parts: list[Notes] = []
    for source in sorted(sources, key=_canonical):
        with suppress(InputError):
            part = read_one(source, "marks", settings)
            parts += [part] if isinstance(part, Notes) else []
    return Notes.concatenate(parts)


def read_shore(sources: Sequence[Source], settings: ReadSettings) -> Shoreline | None:
    """The water of all shoreline files together; None without one. Raises InputError for one that cannot be read."""
    parts = [read_one(source, "shore", settings) for source in sorted(sources, key=_canonical)]
    shores = [part for part in parts if isinstance(part, Shoreline)]
    if not shores:
        return None
    names = ", ".join(shore.source for shore in shores)
    water = shapely.union_all([shore.water for shore in shores])
    if water.is_empty:
        raise InputError(f"{names}: marks walls but has no polygon of water; give the shoreline too")
    return Shoreline(
        water, names, tuple(text for shore in shores for text in shore.messages),
        shapely.union_all([shore.walls for shore in shores]),
    )


def read_samples(sources: Sequence[Source], settings: ReadSettings) -> BottomSamples:
    """Bottom samples of all files, in the order of names; a file that cannot be read costs a message."""
    parts: list[BottomSamples] = []
    for source in sorted(sources, key=_canonical):
        try:
            part = read_one(source, "samples", settings)
        except InputError as fault:
            part = replace(BottomSamples.none(), messages=(f"left out: {fault}",))
        if isinstance(part, BottomSamples):
            parts.append(part)
    return BottomSamples.concatenate(parts)


def _canonical(source: Source) -> tuple[str, str]:
    return source.name, source.sha256
