"""Logs that err alike, a group for each sounder, and how well zero and scale of a group are known before any check."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lakemap.clean.corrections import mostly, row_drafts
from lakemap.clean.error_budget import common_parts, total_common
from lakemap.clean.settings import CleanSettings
from lakemap.clean.true_depth import water_by_row
from lakemap.model.lake_facts import LakeFacts
from lakemap.model.log_facts import LogFacts
from lakemap.model.soundings import Soundings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NAMED = 3
"""Logs named in one message; the others are counted."""


@dataclass(frozen=True)
class Groups:
    """``of_log`` (logs,): number of each log's group, -1 for depths by hand, which are measured like the checks
    themselves; a name for each of g groups, its drafts, and what errors of constant [m] and scale were known (g, 2)."""

    of_log: Ints
    names: tuple[str, ...]
    drafts_m: tuple[tuple[float, ...], ...]
    prior: Floats

    def of_row(self, soundings: Soundings) -> Ints:
        """Group of each row (n,), -1 for none."""
        return np.asarray(self.of_log[soundings.log] if len(self.of_log) else np.full(len(soundings), -1), np.int64)


def groups_of(soundings: Soundings, facts: LakeFacts, settings: CleanSettings) -> Groups:
    """Logs with rows in use, by what makes their depths err alike: sounder, reader, reference, draft, nominal speed."""
    used = soundings.usable() & np.isfinite(soundings.depth_m)
    there = np.bincount(soundings.log[used], minlength=len(soundings.logs)) > 0
    keys: dict[Any, int] = {}
    of_log = np.full(len(soundings.logs), -1, dtype=np.int64)
    for code, log in enumerate(soundings.logs):
        if log.acoustic and there[code]:
            of_log[code] = keys.setdefault(_alike(log), len(keys))
    members = [[log for code, log in enumerate(soundings.logs) if of_log[code] == group] for group in range(len(keys))]
    drafts = tuple(tuple(log.draft_m for log in logs if log.draft_m) for logs in members)
    groups = Groups(of_log, tuple(_name(logs) for logs in members), drafts, np.empty((0, 2)))
    return Groups(of_log, groups.names, drafts, _prior(soundings, groups, facts, settings))


def _alike(log: LogFacts) -> tuple[Any, ...]:
    return (log.sounder, log.reader, log.depth_reference, log.draft_m, log.drafts, log.included_draft_m,
            log.datum_offset_m, log.nominal_sound_speed_mps)


def _name(logs: list[LogFacts]) -> str:
    sounders = {log.sounder for log in logs}
    if len(sounders) == 1 and None not in sounders:
        return f"sounder {logs[0].sounder}"
    more = len(logs) - NAMED
    return ", ".join(log.name for log in logs[:NAMED]) + (f" and {more} more" if more > 0 else "")


def _prior(soundings: Soundings, groups: Groups, facts: LakeFacts, settings: CleanSettings) -> Floats:
    """Errors of constant and scale of each group (g, 2), from what is known of most of its rows."""
    used = soundings.usable() & np.isfinite(soundings.depth_m)
    zero_known = row_drafts(soundings, settings).known
    speed_known = np.isfinite(soundings.per_log("nominal_sound_speed_mps")) & settings.applies("sound speed")
    if facts.profile is None or settings.water_c is not None:
        speed_known &= np.isfinite(water_by_row(soundings, settings))
    gauged = bool(np.isfinite(soundings.level_m[used]).any())
    group = groups.of_row(soundings)
    return np.array([
        total_common(common_parts(mostly(zero_known, used & (group == number)),
                                  mostly(speed_known, used & (group == number)), gauged))
        for number in range(len(groups.names))
    ]).reshape(-1, 2)
