"""Spots as a plotter can hold them: so many, with names so long, in plain letters."""

from __future__ import annotations

import dataclasses
import unicodedata
from dataclasses import dataclass

import numpy as np

from lakemap.model.spots import Spots

NAMELESS = "spot"

_SIGNS = str.maketrans({"±": "+-", "–": "-", "—": "-", "°": " deg", "×": "x", "’": "'", "“": '"', "”": '"', "ß": "ss"})
"""Signs that say something and have no letter of their own in ASCII."""


@dataclass(frozen=True)
class Plotter:
    """What a plotter takes; None for no limit. ``ascii_only`` is for names and notes."""

    name_length: int | None = None
    ascii_only: bool = False
    most: int | None = None


def for_plotter(spots: Spots, plotter: Plotter) -> Spots:
    """The first ``most`` spots, names fitted so that none is there twice, notes in ASCII where asked."""
    kept = spots.take(np.arange(len(spots))[: plotter.most])
    names: dict[str, None] = {}
    for name in kept.name:
        names[_fitted(name, plotter, names)] = None
    said = kept.reasons
    if plotter.ascii_only:
        said = tuple(tuple(plain(text) for text in of_spot) for of_spot in said)
    return dataclasses.replace(kept, name=tuple(names), reasons=said)


def plain(text: str) -> str:
    """A text in ASCII: letters without their accents, and without what has no such letter."""
    return unicodedata.normalize("NFKD", text.translate(_SIGNS)).encode("ascii", "ignore").decode("ascii").strip()


def _fitted(name: str, plotter: Plotter, taken: dict[str, None]) -> str:
    """The end of a name tells spots apart, so the word in front is shortened first; a number where two still meet."""
    text = (plain(name) or NAMELESS) if plotter.ascii_only else name
    longest = plotter.name_length or max(len(text), 1) + 8
    made, number = _shortened(text, longest), 1
    while made in taken:
        number += 1
        made = text[: max(longest - len(str(number)), 0)] + str(number)
    return made


def _shortened(text: str, longest: int) -> str:
    if len(text) <= longest:
        return text
    word, dash, code = text.rpartition("-")
    room = longest - len(dash + code)
    return word[:room] + dash + code if room >= 1 and word else text[-longest:]
