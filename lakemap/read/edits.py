"""The owner's word: edits.csv, one statement a line; taking the line out undoes it."""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from lakemap.errors import InputError, UsageError
from lakemap.model.columns import EDIT_COLUMNS
from lakemap.model.lake_facts import EDIT_WORDS, Edit, Edits
from lakemap.read.facts_table import FactsTable, names_in_head
from lakemap.read.moments import moment_or_nan
from lakemap.read.reader import SURE, Reader, Role
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source

SIDES = ("west", "south", "east", "north")
SPOT_WORDS = ("drop_spot", "merge_spots")


class EditsReader(Reader):
    """``what`` and ``why``, with a range of time (from, until), a place (west, south, east, north), a log, or spots."""

    name: ClassVar[str] = "the owner's edits"
    role: ClassVar[Role] = "edits"
    suffixes: ClassVar[tuple[str, ...]] = (".csv", ".tsv", ".txt")
    summary: ClassVar[str] = "what (bad, restore, looked_nothing ...), from, until, west ... north, log, spots, why"

    def likelihood(self, source: Source) -> float:
        """Sure with both what and why."""
        return SURE if {"what", "why"} <= names_in_head(source, EDIT_COLUMNS) else 0.0

    def read(self, source: Source, settings: ReadSettings) -> Edits:
        """All lines. Raises InputError for the first that says nothing of our words, or does not say where or when."""
        table = FactsTable.of(source, settings, EDIT_COLUMNS, ["what", "why"])
        words = {own: table.words(own) for own in ("what", "why", "from", "until", "log", "spots")}
        sides = np.column_stack([table.number(side) for side in SIDES])
        lines = []
        for i, line in enumerate(table.line.tolist()):
            title = f"{source.name}, line {line}"
            edit = Edit(
                words["what"][i].lower().replace(" ", "_"), words["why"][i],
                _moment(words["from"][i], f"{title}, from"), _moment(words["until"][i], f"{title}, until", end=True),
                float(sides[i, 0]), float(sides[i, 1]), float(sides[i, 2]), float(sides[i, 3]),
                words["log"][i], tuple(words["spots"][i].split()), line, source.name,
            )
            lines.append(_checked(edit))
        return Edits(tuple(lines))


def _moment(text: str, what: str, *, end: bool = False) -> float:
    try:
        return moment_or_nan(text, what, end=end)
    except UsageError as fault:
        raise InputError(str(fault)) from None


def _checked(edit: Edit) -> Edit:
    if edit.what not in EDIT_WORDS:
        raise InputError(f"{edit.title}: what = {edit.what!r}: must be one of {', '.join(EDIT_WORDS)}")
    sides = np.array([getattr(edit, side) for side in SIDES])
    if np.isfinite(sides).any() and not np.isfinite(sides).all():
        raise InputError(f"{edit.title}: a place needs all of {', '.join(SIDES)}")
    if edit.south > edit.north:
        raise InputError(f"{edit.title}: south {edit.south:g} lies north of north {edit.north:g}; exchange them")
    if edit.from_s > edit.until_s:
        raise InputError(f"{edit.title}: it ends before it begins; exchange from and until")
    if edit.what in SPOT_WORDS:
        least = 2 if edit.what == "merge_spots" else 1
        if len(edit.spots) < least:
            raise InputError(f"{edit.title}: {edit.what} needs the name of {'two spots' if least == 2 else 'a spot'}")
    elif not (np.isfinite([edit.from_s, edit.until_s, edit.west]).any() or edit.log or edit.spots):
        raise InputError(f"{edit.title}: says neither when nor where; give from and until, a place, or a log")
    return edit
