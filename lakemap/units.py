"""The only conversions between SI and what people write: exact by definition (international foot of 1959)."""

from __future__ import annotations

import re
from typing import Literal, TypeVar

import numpy as np

from lakemap.errors import UsageError

M_PER_FT = 0.3048
M_PER_FATHOM = 1.8288
MPS_PER_KNOT = 1852.0 / 3600.0
M2_PER_ACRE = 4046.8564224
M3_PER_ACRE_FOOT = 1233.48183754752

LengthUnit = Literal["m", "ft", "fathom"]
Number = TypeVar("Number", float, np.ndarray)

M_PER_UNIT: dict[str, float] = {"m": 1.0, "ft": M_PER_FT, "fathom": M_PER_FATHOM}

UNIT_WORDS: dict[str, LengthUnit] = {
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), "m"),  # type: ignore[dict-item]
    **dict.fromkeys(("ft", "foot", "feet", "f"), "ft"),
    **dict.fromkeys(("fathom", "fathoms", "fm", "ftm"), "fathom"),
}
"""Spellings of a length unit met in table headers and on the command line."""

MPS_PER_WORD = {
    "mph": 0.44704, "kmh": 1.0 / 3.6, "km/h": 1.0 / 3.6, "kph": 1.0 / 3.6, "kn": MPS_PER_KNOT, "kt": MPS_PER_KNOT,
    "kts": MPS_PER_KNOT, "knots": MPS_PER_KNOT, "m/s": 1.0, "mps": 1.0,
}
_SPEED = re.compile(r"^\s*(\d+(?:\.\d+)?)\s*([a-z/]+)\s*$", re.IGNORECASE)
_LENGTH = re.compile(r"^\s*([-+]?\d+(?:\.\d+)?)\s*([a-z]*)\s*$", re.IGNORECASE)


def to_metres(value: Number, unit: str) -> Number:
    """A length in ``unit`` (m, ft or fathom) as metres."""
    return value * M_PER_UNIT[unit]


def from_metres(value_m: Number, unit: str) -> Number:
    """Metres as a length in ``unit`` (m, ft or fathom)."""
    return value_m / M_PER_UNIT[unit]


def celsius_from_fahrenheit(degf: Number) -> Number:
    """Degrees Fahrenheit as degrees Celsius."""
    return (degf - 32.0) / 1.8


def parse_length_m(text: str, bare_unit: str) -> float:
    """``8ft``, ``2.5m`` or a bare number in ``bare_unit``, as metres.

    Raises UsageError when the text is no length.
    """
    match = _LENGTH.match(text)
    unit = UNIT_WORDS.get(match[2].lower() or bare_unit) if match else None
    if match is None or unit is None:
        raise UsageError(f"{text!r} is no length; write a number with m, ft or fathom behind it, such as 8ft or 2.5m")
    return to_metres(float(match[1]), unit)


def parse_speed_mps(text: str) -> float:
    """``5mph``, ``8km/h``, ``4kn`` or ``2m/s``, as metres a second. Raises UsageError when the text is no speed."""
    match = _SPEED.match(text)
    per_unit = MPS_PER_WORD.get(match[2].lower()) if match else None
    if match is None or per_unit is None or float(match[1]) <= 0:
        raise UsageError(f"{text!r} is no speed; write a number above 0 with mph, km/h, kn or m/s behind it: 5mph")
    return float(match[1]) * per_unit


def format_length(value_m: float, unit: str, decimals: int = 1) -> str:
    """A length for people: ``12.3 ft``; a value that is not there reads ``unknown``."""
    if not np.isfinite(value_m):
        return "unknown"
    return f"{from_metres(float(value_m), unit):.{decimals}f} {unit}"


def plural(count: int, thing: str) -> str:
    """``1 row``, ``3 rows``."""
    return f"{count} {thing}" if count == 1 else f"{count} {thing}s"


_LENGTH_IN_TEXT = re.compile(r"\{(-?\d+(?:\.\d+)?) m(?::(\d))?\}")


def length_slot(value_m: float, decimals: int = 1) -> str:
    """A length as it stands in a sentence until the reader's unit is known: ``{1.230 m}``, to be written with one
    decimal, or ``{1.230 m:2}`` with two."""
    return f"{{{value_m:.3f} m}}" if decimals == 1 else f"{{{value_m:.3f} m:{decimals}}}"


def fill_lengths(sentence: str, unit: str) -> str:
    """A sentence with its ``{1.23 m}`` slots written in the reader's unit."""
    return _LENGTH_IN_TEXT.sub(lambda match: format_length(float(match[1]), unit, int(match[2] or 1)), sentence)
