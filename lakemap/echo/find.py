"""All that was seen on or over the floor: rises, and marks put where they belong with the help of those."""

from __future__ import annotations

import numpy as np

from lakemap.echo.marks import place_marks
from lakemap.echo.rises import find_rises
from lakemap.echo.settings import EchoSettings
from lakemap.model.hits import Hits
from lakemap.model.marks import Marks
from lakemap.model.soundings import Soundings
from lakemap.model.spot_names import is_written, name_in


def find_hits(marks: Marks, soundings: Soundings, settings: EchoSettings) -> tuple[Hits, tuple[str, ...]]:
    """Marks first, then rises, and what is said of the marks; depths must be cleaned.

    Rises that need no mark's support tell how late marks were tapped; marks so placed support single pings. Marks that
    bear names as our spots do were written, not tapped: they stay where they are and support nothing (spots/returned.py
    tells whose they are).
    """
    alone = find_rises(soundings, settings)
    if not len(marks):
        return alone, ()
    placed, said = place_marks(marks, soundings, settings, alone)
    tapped = placed.take(np.array([not is_written(name_in(str(note))) for note in placed.note], dtype=bool))
    return placed.joined(find_rises(soundings, settings, tapped) if len(tapped) else alone), said
