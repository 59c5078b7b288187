"""The code in a spot's name, and names of ours as other devices bring them back."""

from __future__ import annotations

import re
from hashlib import blake2b

import numpy as np

from lakemap.model.marks import KINDS
from lakemap.model.terrain import FEATURE_KINDS

LETTERS = "0123456789abcdefghjkmnpqrstvwxyz"
"""32 signs without i, l, o, u, which are misread."""

CODE_LENGTH, SHORTEST_CODE = 6, 4
"""Signs of a code, and how many of them must be left of a name that a device cut."""


def word_of(kind: str) -> str:
    """The word of a kind that stands in names: ``drop`` of drop-off, ``bend`` of outside bend."""
    return kind.split("-")[0].split(" ")[-1]


WORDS = tuple(dict.fromkeys(map(word_of, (*KINDS, *FEATURE_KINDS))))

_NAME = re.compile(rf"([a-z]*)[-_ ]?([{LETTERS}]{{{SHORTEST_CODE},{CODE_LENGTH}}})(?:[-_ ]?\d{{1,2}})?")
_INSIDE = re.compile(rf"\b[a-z]{{1,6}}-([{LETTERS}]{{{CODE_LENGTH}}})\b")


def code_of(time_utc: np.datetime64, lon_deg: float, lat_deg: float, salt: int = 0) -> str:
    """Six signs told by when and where (to 1e-5 deg) the oldest hit was made; the same in every run."""
    when = "" if np.isnat(time_utc) else str(time_utc.astype("datetime64[ms]").astype(np.int64))
    text = f"{when}|{lon_deg:.5f}|{lat_deg:.5f}" + (f"|{salt}" if salt else "")
    number = int.from_bytes(blake2b(text.encode(), digest_size=8).digest(), "big")
    return "".join(LETTERS[number >> (5 * place) & 31] for place in range(CODE_LENGTH))


def codes_in(name: str) -> tuple[str, ...]:
    """Codes that a name may hold, whole or cut by a device; none for one that cannot be ours.

    ``stump-4f7k2m``, ``STUMP 4F7K2M``, ``st-4f7k2m``, ``stump-4f7k``, ``4f7k2m``, ``stump-4f7k2m-2``: in front of the
    code stands the beginning of a kind, or nothing.
    """
    plain = name.strip().lower()
    found = []
    for cut in range(len(plain)):
        match = _NAME.fullmatch(plain, cut)
        front = plain[:cut].rstrip("-_ ")
        if match and not match[1] and (not front or any(word.startswith(front) for word in WORDS)):
            found.append(match[2])
    return tuple(dict.fromkeys(found))


def is_written(name: str) -> bool:
    """Whether a name is none that somebody typed in: a whole code after a dash, or one with a digit and a letter."""
    whole = [code for code in codes_in(name) if len(code) == CODE_LENGTH and not code.isdigit()]
    return any(f"-{code}" in name.lower() or any(sign.isdigit() for sign in code) for code in whole)


def name_in(note: str) -> str:
    """The name that the note of a mark's hit begins with."""
    return note.split(": ", 1)[0]


def code_inside(text: str) -> str | None:
    """The code of the first whole name of ours within a text, such as the description of a renamed waypoint."""
    match = _INSIDE.search(text.lower())
    return match[1] if match else None
