"""What words of a note mean: how the second bottom showed, and which thing was there."""

from __future__ import annotations

import re

from lakemap.model.marks import NOTHING
from lakemap.model.soundings import NOT_NOTED, SECOND_SEEN
from lakemap.read.mark_kinds import ANYWHERE, kind_of

NONE, FAINT, STRONG, THIRD = range(len(SECOND_SEEN))
_STRENGTHS = ((FAINT, r"faint|weak|thin|dim"), (STRONG, r"strong|clear|bright|thick|solid"))
_SECOND = r"(?:second|2nd|double)"
_NEGATION = r"(?:no|none|without|not|missing|gone|never)"
_WORD = re.compile(r"[^\W_]+")


def seen_of(text: str) -> int:
    """Index into SECOND_SEEN of what a note says of the second bottom, NOT_NOTED where it says nothing sure.

    ``second bottom strong``, ``no second``, ``2nd faint``, ``third bottom``, or one of the four words alone.
    """
    words = _WORD.findall(text.lower())
    plain = " ".join(words)
    if plain in SECOND_SEEN:
        return SECOND_SEEN.index(plain)
    if re.search(r"\b(?:third|3rd) (?:bottom|echo)\b", plain) or plain in ("third", "3rd"):
        return NOT_NOTED if re.search(rf"\b{_NEGATION}\b", plain) else THIRD
    if not re.search(rf"\b{_SECOND}\b", plain):
        return NOT_NOTED
    if re.search(rf"\b{_NEGATION}\b", plain):
        return NONE
    found = [code for code, pattern in _STRENGTHS if re.search(rf"\b(?:{pattern})\b", plain)]
    return found[0] if len(found) == 1 else NOT_NOTED


def thing_of(text: str) -> str:
    """The kind of thing that a note speaks of, "" where it speaks of none or denies it (``no weed``).

    ``nothing there`` by itself is the kind ``nothing``.
    """
    words = _WORD.findall(text.lower())
    for i, word in enumerate(words):
        kind = kind_of(" ".join(words[i : i + 2])) or kind_of(word)
        if kind and kind not in (ANYWHERE, NOTHING) and not set(words[max(0, i - 1) : i]) & {"no", "without", "not"}:
            return kind
    return NOTHING if kind_of(" ".join(words)) == NOTHING else ""
