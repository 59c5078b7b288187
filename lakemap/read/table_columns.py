"""Which column of a table is what: headers against the spellings of model/columns.py, with unit and reference."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from lakemap.errors import InputError
from lakemap.model.columns import TableColumn
from lakemap.model.log_facts import DepthReference
from lakemap.units import UNIT_WORDS

OTHER_UNITS = frozenset((
    "c", "degc", "celsius", "fahrenheit", "degf", "deg", "degree", "degrees", "db", "s", "sec", "seconds", "utc",
    "gmt", "iso", "wgs84",
))
FAHRENHEIT = frozenset(("f", "fahrenheit", "degf", "waterf"))
REFERENCE_WORDS: Mapping[str, DepthReference] = {
    "transducer": "transducer", "surface": "surface", "waterline": "surface", "keel": "keel",
}
_FILLERS = frozenset(("below", "under", "from", "beneath", "the"))
LOCAL = "local"
_LOCAL_WORDS = frozenset((
    LOCAL, "lt", "lmt", "est", "edt", "cst", "cdt", "mst", "mdt", "pst", "pdt", "akst", "akdt", "ast", "adt", "nst",
    "ndt", "cet", "cest", "eet", "eest", "wet", "west", "bst", "ist", "msk", "aest", "aedt", "acst", "awst", "nzst",
    "nzdt", "jst",
))
"""Words for a local clock. Abbreviations stand for several zones in the world, so which one has to be said."""
_ZONE = re.compile(
    r"(?:utc|gmt)\s*[+-]\s*\d{1,2}(?::?\d{2})?|[+-]\d{2}:\d{2}|\b(?:africa|america|antarctica|arctic|asia|atlantic|"
    r"australia|canada|europe|indian|pacific|us)/[a-z_]+(?:/[a-z_]+)?\b", re.IGNORECASE,
)
_WORD = re.compile(r"[^\W_]+")


@dataclass(frozen=True)
class Header:
    """A recognised header: ``name`` as in model/columns.py, place in the table, unit (``m``, ``ft``, ``fathom`` or
    ""), whether degF, what a depth counts from where it says so, and a time's zone (LOCAL: nobody says which)."""

    name: str
    index: int
    text: str
    unit: str = ""
    fahrenheit: bool = False
    reference: DepthReference | None = None
    zone: str = ""


def recognise(text: str, index: int, columns: Sequence[TableColumn], own_name: str | None = None) -> Header | None:
    """What a header means; ``own_name`` is the user's word for it, then only unit and reference are looked for."""
    zone = _ZONE.search(text)
    words = _WORD.findall(_ZONE.sub(" ", text).lower())
    local = [word for word in words if word in _LOCAL_WORDS]
    told = zone[0] if zone else LOCAL if local else "UTC" if {"utc", "gmt"} & set(words) else ""
    words = [word for word in words if word not in local] if len(local) < len(words) else words
    reference = next((REFERENCE_WORDS[word] for word in words if word in REFERENCE_WORDS), None)
    bare = [word for word in words if word not in REFERENCE_WORDS and word not in _FILLERS] if reference else words
    name, tail = _match(bare, columns)
    name = own_name or name
    if name is None:
        return None
    if own_name and not tail:
        tail = [word for word in bare[1:] if word in UNIT_WORDS or word in FAHRENHEIT]
    unit = next((str(UNIT_WORDS[word]) for word in tail if word in UNIT_WORDS), "")
    fahrenheit = any(word in FAHRENHEIT for word in (*tail, *bare[:1]))
    return Header(name, index, text, unit, fahrenheit, reference, told)


def _match(words: Sequence[str], columns: Sequence[TableColumn]) -> tuple[str | None, list[str]]:
    """Our name and the unit words behind it: ``depth (m)``, ``depth_m``, ``depthm``."""
    spellings = {_joined(spelling): column.name for column in columns for spelling in column.spellings}
    for cut in range(min(3, len(words))):
        head, tail = words[: len(words) - cut], list(words[len(words) - cut :])
        if "".join(head) in spellings and all(word in UNIT_WORDS or word in OTHER_UNITS for word in tail):
            return spellings["".join(head)], tail
    for unit in sorted(UNIT_WORDS, key=len, reverse=True):
        if len(words) == 1 and words[0].endswith(unit) and words[0].removesuffix(unit) in spellings:
            return spellings[words[0].removesuffix(unit)], [unit]
    return None, []


def _joined(spelling: str) -> str:
    return "".join(_WORD.findall(spelling.lower()))


def find_columns(
    headers: Sequence[str], columns: Sequence[TableColumn], given: Mapping[str, str], name: str
) -> dict[str, Header]:
    """Our names -> headers; what the user ``given`` goes first. Of two depths in different units the metres are taken,
    of a time in UTC and one on a local clock the first.

    Raises InputError where two columns could be the same thing.
    """
    folded = {text.strip().lower(): index for index, text in enumerate(reversed(headers))}
    folded = {text: len(headers) - 1 - index for text, index in folded.items()}
    found: dict[str, Header] = {}
    for own_name, text in given.items():
        index = headers.index(text) if text in headers else folded.get(text.lower(), -1)
        if index >= 0 and any(column.name == own_name for column in columns):
            header = recognise(headers[index], index, columns, own_name)
            found |= {own_name: header} if header else {}
    named = set(found)
    used = {header.index for header in found.values()}
    for index, text in enumerate(headers):
        header = recognise(text, index, columns) if index not in used else None
        if header is None or header.name in named:
            continue
        before = found.get(header.name)
        found[header.name] = header if before is None else _better(before, header, name)
    return found


def _better(first: Header, second: Header, name: str) -> Header:
    if {first.unit, second.unit} > {"m"}:
        return first if first.unit == "m" else second
    if {first.zone, second.zone} == {"UTC", LOCAL}:
        return first if first.zone == "UTC" else second
    raise InputError(
        f"{name}: columns {first.text!r} and {second.text!r} could both be {first.name}; "
        f"say which with --columns {first.name}={first.text}"
    )


def with_unit(header: Header, unit: str) -> Header:
    """The header with a unit where it has none of its own."""
    return header if header.unit else replace(header, unit=unit)
