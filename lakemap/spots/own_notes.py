"""What its owner wrote on a spot, told with the spot in the next map."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from lakemap.model.hits import Hits
from lakemap.model.marks import KINDS
from lakemap.model.spot_names import codes_in, is_written, name_in
from lakemap.model.spots import Spots
from lakemap.model.terrain import FEATURE_KINDS

_ALL_KINDS = (*KINDS, *FEATURE_KINDS)
_GIVEN_OUT = re.compile(
    rf"(?:{'|'.join(_ALL_KINDS)})(?: at (?:[\d.]*|[\d.]+ [a-z]*|unknown[a-z ]*)(?:, ?(?P<passes>.*))?)?", re.DOTALL)
"""How the comment of our waypoints begins (publish/waypoints.py), also where a device cut it."""
_PASSES = ("seen by ", "no pass over it")


@dataclass(frozen=True)
class OwnNote:
    """Words on the spot whose name bears ``code``, and when they were written (NaT: not known)."""

    code: str
    words: str
    when: np.datetime64

    @property
    def sentence(self) -> str:
        """``Noted 2026-05-01: leans to the north.``, closed like a sentence whether or not its writer did."""
        end = "" if self.words[-1] in ".!?" else "."
        day = "" if np.isnat(self.when) else f" {self.when.astype('datetime64[D]')}"
        return f"Noted{day}: {self.words}{end}"


def own_note(hits: Hits, row: int, code: str) -> OwnNote | None:
    """What a mark that bears a spot's code says beyond it; None where that is no more than we gave out ourselves."""
    text = str(hits.note[row])
    name = name_in(text)
    parts = text[len(name):].removeprefix(": ").split("; ")
    # a description of ours is no more than the name
    words = "; ".join(part for part in parts if not is_written(part)).strip()
    if not words or _is_ours(words):
        return None
    return OwnNote(code, words, hits.time_utc[row])


def _is_ours(words: str) -> bool:
    if any(kind.startswith(words) for kind in _ALL_KINDS):
        return True
    found = _GIVEN_OUT.fullmatch(words)
    if found is None:
        return False
    rest = found["passes"] or ""
    return any(rest.startswith(begin) or begin.startswith(rest) for begin in _PASSES)


def with_own_notes(spots: Spots, notes: Sequence[OwnNote]) -> Spots:
    """Spots whose reasons end with what their owner wrote on them, oldest words first."""
    told: dict[str, list[str]] = {}
    for note in sorted(notes, key=lambda one: (np.isnat(one.when), one.when, one.words)):
        told.setdefault(note.code, []).append(note.sentence)
    reasons = tuple(
        (*said, *(text for code in codes_in(name) for text in told.get(code, ())))
        for name, said in zip(spots.name, spots.reasons, strict=True))
    return replace(spots, reasons=reasons)
