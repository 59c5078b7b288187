"""Signal K delta messages as JSON lines (open specification 1.7): values by vessel, path and source, in file order.

Paths, units (metres, radians, kelvin) and the shape of a delta are those of the specification, from memory.
"""

from __future__ import annotations

import json
import math
from array import array
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any, BinaryIO

POSITION = "navigation.position"
TRANSDUCER, SURFACE, KEEL = (
    f"environment.depth.{end}" for end in ("belowTransducer", "belowSurface", "belowKeel")
)
DEPTHS = (TRANSDUCER, SURFACE, KEEL)
DRAFT, TO_KEEL = "environment.depth.surfaceToTransducer", "environment.depth.transducerToKeel"
WATER = "environment.water.temperature"
HEADING_TRUE, HEADING_MAGNETIC, VARIATION = (
    f"navigation.{end}" for end in ("headingTrue", "headingMagnetic", "magneticVariation")
)
PATHS = frozenset((POSITION, *DEPTHS, DRAFT, TO_KEEL, WATER, HEADING_TRUE, HEADING_MAGNETIC, VARIATION))
OWN = "vessels.self"
LONGEST_LINE = 1 << 20
"""A delta has some hundred bytes, one with everything on board some thousand."""
Key = tuple[str, str, str]


@dataclass
class Series:
    """One path from one source: time [s since 1970, NaN before any is known], value (NaN for null), line from 1;
    ``other`` is the longitude where the value is a latitude."""

    time_s: array[float] = field(default_factory=lambda: array("d"))
    value: array[float] = field(default_factory=lambda: array("d"))
    other: array[float] = field(default_factory=lambda: array("d"))
    line: array[int] = field(default_factory=lambda: array("q"))


@dataclass
class Deltas:
    """All series by (vessel, path, source); ``counts`` of lines that are no delta and updates without a time."""

    series: dict[Key, Series] = field(default_factory=dict)
    counts: Counter[str] = field(default_factory=Counter)
    own: str = ""
    time_s: float = math.nan


def gather_deltas(file: BinaryIO) -> Deltas:
    """Everything of interest in a stream of lines; what is no JSON is counted and passed over."""
    found = Deltas()
    for number, line in _lines(file, found.counts):
        try:
            told = json.loads(line)
        except (ValueError, RecursionError):
            found.counts["no JSON"] += 1
            continue
        if not isinstance(told, dict):
            found.counts["no JSON"] += 1
        elif isinstance(told.get("updates"), list):
            _take(told, number, found)
        elif isinstance(told.get("self"), str):
            found.own = told["self"]
    return found


def _lines(file: BinaryIO, counts: Counter[str]) -> Iterator[tuple[int, bytes]]:
    """Lines with their number; an array with a message a line loses its brackets and commas."""
    number = 0
    while line := file.readline(LONGEST_LINE):
        number += 1
        if not line.endswith(b"\n") and len(line) >= LONGEST_LINE:
            counts["no JSON"] += 1
            while (more := file.readline(LONGEST_LINE)) and not more.endswith(b"\n"):
                pass
            continue
        bare = line.strip().removeprefix(b"\xef\xbb\xbf").rstrip(b",")
        if bare not in (b"", b"[", b"]"):
            yield number, bare


def _take(delta: dict[str, Any], number: int, found: Deltas) -> None:
    vessel = delta.get("context", OWN)
    for update in delta["updates"]:
        if not isinstance(update, dict) or not isinstance(update.get("values"), list):
            continue
        time_s = _time_s(update.get("timestamp"))
        if time_s is None:
            found.counts["without time"] += 1
        else:
            found.time_s = time_s
        for pair in update["values"]:
            path = pair.get("path") if isinstance(pair, dict) else None
            if isinstance(path, str) and path in PATHS:
                _note(found, (str(vessel), path, _source(update)), pair.get("value"), number)


def _note(found: Deltas, key: Key, value: Any, number: int) -> None:
    other = math.nan
    if key[1] == POSITION:
        place = value if isinstance(value, dict) else {}
        value, other = place.get("latitude"), _number(place.get("longitude"))
    series = found.series.setdefault(key, Series())
    series.time_s.append(found.time_s)
    series.value.append(_number(value))
    series.other.append(other)
    series.line.append(number)


def _number(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return math.nan
    try:
        number = float(value)
    except OverflowError:
        return math.nan
    return number if math.isfinite(number) else math.nan


def _source(update: dict[str, Any]) -> str:
    """``$source``, or label and talker (or address) of the source object."""
    if isinstance(update.get("$source"), str):
        return str(update["$source"])
    source = update.get("source")
    if not isinstance(source, dict):
        return ""
    return ".".join(str(source[part]) for part in ("label", "talker", "src") if source.get(part) is not None)


def _time_s(text: Any) -> float | None:
    """Seconds since 1970 of an RFC 3339 time, UTC where no zone is written; None for anything else."""
    if not isinstance(text, str):
        return None
    try:
        moment = datetime.fromisoformat(text)
        return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp()
    except (ValueError, OverflowError):
        return None
