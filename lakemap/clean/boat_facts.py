"""What is known of each log's sounder, settled once: the owner's settings, then boat.toml, then what the log said."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from lakemap.clean.settings import CleanSettings
from lakemap.errors import InputError
from lakemap.model.boat import NO_SOUNDER, Boat, Sounder
from lakemap.model.log_facts import LogFacts
from lakemap.model.soundings import Soundings

BY_SETTING = ("draft_m", "nominal_sound_speed_mps")
"""Facts that a setting of the same name in [clean] may give to all logs."""
BY_BOAT = (
    "draft_m", "nominal_sound_speed_mps", "frequency_khz", "pulse_ms", "beam_deg", "gain_law", "forward_m",
    "starboard_m", "latency_s",
)
SETTING, DPT_OFFSET = "setting", "second field of DPT"

Known = dict[str, tuple[Any, str]]
"""A fact's name -> value and where it came from."""


def settle_facts(soundings: Soundings, boats: Sequence[Boat], settings: CleanSettings) -> Soundings:
    """Every log's facts with their ``origins``: setting, the boat's file, or the log itself, in that order.

    A log without a ``sounder`` of its own has the only one there is, but readings taken one by one (a line, a pole, a
    casting) are of no boat. Raises InputError where a log's sounder cannot be
    known: two boats or two sounders claim it, or none has the name that lake.toml gives.
    """
    said: list[str] = []
    logs = tuple(_settled(facts, boats, settings, said) for facts in soundings.logs)
    return replace(soundings, logs=logs).with_messages(*said)


def _settled(facts: LogFacts, boats: Sequence[Boat], settings: CleanSettings, said: list[str]) -> LogFacts:
    found = _sounder_of(facts, boats)
    general = {} if facts.single or not facts.acoustic else _of_setting(settings)
    layers = [general, _of_boat(*found) if found else {}, _of_log(facts)]
    known: Known = {}
    for layer in reversed(layers):
        for name, told in layer.items():
            before = known.get(name)
            if before is not None and before[0] != told[0] and None not in (before[0], told[0]):
                said.append(f"{facts.name}: {name} = {told[0]:g} ({told[1]}) counts, not {before[0]:g} ({before[1]})"
                            if name != "gain_law" else f"{facts.name}: gain law {told[0]} ({told[1]}) counts")
            known[name] = told
    values = {name: value for name, (value, _) in known.items()}
    origins = dict(facts.origins) | {name: origin for name, (_, origin) in known.items()}
    told_by_log = facts.origins.get("draft_m") not in (SETTING, *(boat.source for boat in boats))
    included = facts.draft_m if facts.depth_reference == "surface" and told_by_log else None
    named = found[1].name if found and len([s for boat in boats for s in boat.sounders]) > 1 else facts.sounder
    drafts = found[1].drafts if found and settings.draft_m is None else facts.drafts
    return replace(
        facts, **values, origins=origins, sounder=named, drafts=drafts,
        included_draft_m=facts.included_draft_m if facts.included_draft_m is not None else included,
    )


def _of_setting(settings: CleanSettings) -> Known:
    return {name: (getattr(settings, name), SETTING) for name in BY_SETTING if getattr(settings, name) is not None}


def _of_boat(boat: Boat, sounder: Sounder) -> Known:
    known: Known = {
        name: (getattr(sounder, name), boat.source) for name in BY_BOAT if getattr(sounder, name) is not None
    }
    if sounder.speed_unknown:
        known["nominal_sound_speed_mps"] = (None, f"{boat.source} says that it is not known")
    if boat.clock_offset_s is not None:
        known["clock_offset_s"] = (boat.clock_offset_s, boat.source)
    return known


def _of_log(facts: LogFacts) -> Known:
    """What the log says of its sounder; DPT's offset to the waterline is its draft where it tells none."""
    own: Known = {
        name: (getattr(facts, name), facts.origins.get(name, "log"))
        for name in (*BY_BOAT, "clock_offset_s") if getattr(facts, name) is not None
    }
    offset = facts.datum_offset_m
    if offset is not None and offset > 0 and "draft_m" not in own:
        own["draft_m"] = (offset, facts.origins.get("datum_offset_m", DPT_OFFSET))
    return own


def set_clocks(soundings: Soundings, boats: Sequence[Boat], settings: CleanSettings) -> Soundings:
    """Times of logs put back by what their boat's clock was ahead; called once, before anything looks at times."""
    if not settings.applies("clock"):
        return soundings
    ahead = np.zeros(max(len(soundings.logs), 1))
    for code, facts in enumerate(soundings.logs):
        found = _sounder_of(facts, boats)
        if found is not None and found[0].clock_offset_s and facts.has_date:
            ahead[code] = found[0].clock_offset_s
    if not ahead.any():
        return soundings
    by_row = ahead[soundings.log]
    millis = np.round(by_row * 1000.0).astype(np.int64).astype("timedelta64[ms]")
    said = [f"{facts.name}: its clock is set back by {ahead[code]:g} s" for code, facts in enumerate(soundings.logs)
            if ahead[code]]
    put_right = soundings.with_columns(time_s=soundings.time_s - by_row, time_utc=soundings.time_utc - millis)
    # times alone move: no crossing of passes can show what it did
    return put_right.with_correction("clock", float("nan"), float("nan")).with_messages(*said)


def _sounder_of(facts: LogFacts, boats: Sequence[Boat]) -> tuple[Boat, Sounder] | None:
    if facts.sounder == NO_SOUNDER or not boats or (facts.sounder is None and (facts.single or not facts.acoustic)):
        return None
    every = [(boat, sounder) for boat in boats for sounder in boat.sounders]
    if facts.sounder is None:
        if len(every) == 1:
            return every[0]
        choose = "say which in lake.toml: [[log]] with match and sounder"
        if len(boats) > 1:
            raise InputError(f"{facts.name}: {' and '.join(boat.source for boat in boats)} both claim it; {choose}")
        names = ", ".join(sounder.name for _, sounder in every)
        raise InputError(f"{facts.name}: {boats[0].source} has {len(every)} sounders ({names}); {choose}")
    named = [(boat, sounder) for boat, sounder in every if sounder.name == facts.sounder]
    if not named:
        names = ", ".join(sounder.name for _, sounder in every)
        raise InputError(f"{facts.name}: lake.toml says sounder {facts.sounder!r}, but "
                         f"{' and '.join(boat.source for boat in boats)} has {names}; mend the name")
    if len(named) > 1:
        raise InputError(f"{facts.name}: {' and '.join(boat.source for boat, _ in named)} both have a sounder "
                         f"{facts.sounder!r} and claim it; give one of them another name")
    return named[0]
