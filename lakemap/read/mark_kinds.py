"""Words that people use for what they marked, as kinds of model/marks.py."""

from __future__ import annotations

import re

from lakemap.model.marks import KINDS, NOTHING

OTHER_WORDS = {
    "boulder": "rock", "stone": "rock", "brushpile": "brush", "brush pile": "brush", "weedbed": "weed",
    "weed bed": "weed", "grass": "weed", "tree": "log", "timber": "log", "laydown": "log", "dropoff": "drop-off",
    "drop off": "drop-off", "baitfish": "bait", "bait fish": "bait", "caught": "catch", "shipwreck": "wreck",
    "nothing there": NOTHING, "nothing here": NOTHING, "looked nothing": NOTHING, "not there": NOTHING, "gone": NOTHING,
}
"""Plain other words for a kind; plurals are understood."""

ANYWHERE = "place"
_LEADING_WORDS = re.compile(r"[^\W\d_]+(?:[ -][^\W\d_]+)?")


def kind_of(word: str) -> str | None:
    """The kind that a word means, None where it means none."""
    plain = " ".join(word.lower().replace("_", " ").split())
    for form in (plain, plain.removesuffix("s"), plain.removesuffix("es")):
        if form in KINDS:
            return form
        if form in OTHER_WORDS:
            return OTHER_WORDS[form]
    return None


def kind_and_note(words: list[str], name: str, note: str) -> tuple[str, str]:
    """Kind out of the first of ``words`` that means one, else of the name's leading words; else ``place``.

    A word that means none is kept in the note.
    """
    for word in words:
        if kind := kind_of(word):
            return kind, note
    strange = "; ".join(word for word in dict.fromkeys(words) if word)
    note = "; ".join(part for part in (strange, note) if part)
    leading = match[0] if (match := _LEADING_WORDS.match(name.strip())) else ""
    first = kind_of(re.split(r"[ -]", leading)[0])
    # Nothing Bay is a place: its first word alone does not say that one looked
    return kind_of(leading) or (first if first != NOTHING else None) or ANYWHERE, note
