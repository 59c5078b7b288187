"""boat.toml: what the boat's sounders are and where they sit; one boat serves many lakes."""

from __future__ import annotations

import dataclasses
import re
import tomllib
from collections.abc import Mapping
from typing import Any, ClassVar

from lakemap.errors import InputError, LakemapError
from lakemap.model.boat import Boat, Clock, Sounder
from lakemap.model.log_facts import DraftSpan
from lakemap.read.moments import moment_s
from lakemap.read.reader import LIKELY, SURE, Reader, Role
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source, as_text
from lakemap.units import M_PER_FT

KEYS = ("name", "clock_offset_s", "sounder")
SPAN_KEYS = ("from", "until", "draft_m")
_FEET_A_SECOND = re.compile(r"\s*(\d+(?:\.\d+)?)\s*(m/s|ft/s)\s*")


class BoatReader(Reader):
    """TOML with ``[[sounder]]`` tables."""

    name: ClassVar[str] = "boat.toml"
    role: ClassVar[Role] = "boat"
    suffixes: ClassVar[tuple[str, ...]] = (".toml",)
    summary: ClassVar[str] = "sounders: draft, place, beam, frequency, assumed sound speed, latency; the clock"

    def likelihood(self, source: Source) -> float:
        """Sure for TOML with sounders; likely where such a table is there but the text is no TOML."""
        head = as_text(source.head)
        if re.search(r"^\s*\[\[sounder\]\]", head, re.MULTILINE) is None:
            return 0.0
        try:
            tomllib.loads(head)
        except tomllib.TOMLDecodeError:
            return LIKELY
        return SURE

    def read(self, source: Source, settings: ReadSettings) -> Boat:
        """The boat. Raises InputError, one line, for an unknown key, a value outside its range, names that repeat."""
        try:
            told = tomllib.loads(source.text())
        except tomllib.TOMLDecodeError as fault:
            raise InputError(f"{source.name}: no TOML ({fault}); mend that place") from None
        unknown = [key for key in told if key not in KEYS]
        if unknown:
            raise InputError(f"{source.name}: unknown key {unknown[0]!r}; a boat has {', '.join(KEYS)}")
        tables = told.get("sounder")
        if not isinstance(tables, list) or not tables or not all(isinstance(one, Mapping) for one in tables):
            raise InputError(f"{source.name}: no [[sounder]] in it; write one, see README for an example")
        try:
            sounders = tuple(_sounder(one, number) for number, one in enumerate(tables, 1))
            clock = Clock(told.get("clock_offset_s"))
        except LakemapError as fault:
            raise InputError(f"{source.name}: {fault}") from None
        _names_differ(source.name, sounders)
        return Boat(source.name, sounders, clock.clock_offset_s)


def _sounder(table: Mapping[str, Any], number: int) -> Sounder:
    known = [spec.name for spec in dataclasses.fields(Sounder) if spec.name != "speed_unknown"]
    for key in table:
        if key not in known:
            raise InputError(f"[[sounder]] {number} has an unknown key {key!r}; a sounder has {', '.join(known)}")
    told = dict(table)
    spans = told.get("drafts", [])
    if not isinstance(spans, list):
        raise InputError(f"[[sounder]] {number}, drafts = {spans!r}: must be a list of spans")
    told["drafts"] = tuple(_span(span, number) for span in spans)
    speed = told.get("nominal_sound_speed_mps")
    if isinstance(speed, str):
        told["speed_unknown"] = speed.strip().lower() == "unknown"
        told["nominal_sound_speed_mps"] = None if told["speed_unknown"] else _speed_mps(speed)
    name = told.setdefault("name", Sounder.name)
    if not isinstance(name, str) or not name.strip():
        raise InputError(f"[[sounder]] {number}: name = {name!r}: must be a word, such as \"bow\"")
    return Sounder(**told)


def _speed_mps(text: str) -> float:
    found = _FEET_A_SECOND.fullmatch(text)
    if found is None:
        raise InputError(f"nominal_sound_speed_mps = {text!r}: write 1500, \"4800 ft/s\" or \"unknown\"")
    return float(found[1]) * (M_PER_FT if found[2] == "ft/s" else 1.0)


def _span(table: Any, number: int) -> DraftSpan:
    title = f"[[sounder]] {number}, drafts"
    if not isinstance(table, Mapping) or set(table) != set(SPAN_KEYS):
        raise InputError(f"{title}: each span has {', '.join(SPAN_KEYS)}, such as "
                         "{ from = 2025-06-01, until = 2025-06-30, draft_m = 0.6 }")
    draft = Sounder(draft_m=table["draft_m"]).draft_m
    start = moment_s(table["from"], f"{title}, from")
    end = moment_s(table["until"], f"{title}, until", end=True)
    if draft is None or end <= start:
        raise InputError(f"{title}: a span ends before it begins; exchange from and until")
    return DraftSpan(start, end, draft)


def _names_differ(name: str, sounders: tuple[Sounder, ...]) -> None:
    names = [sounder.name for sounder in sounders]
    for one in names:
        if names.count(one) > 1:
            raise InputError(f"{name}: {names.count(one)} sounders are named {one!r}; give each its own name")
