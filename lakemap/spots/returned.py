"""Waypoints of ours that come back among the marks, from a plotter or the page: no news of what they mean."""

from __future__ import annotations

from collections import defaultdict

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS

from lakemap.geo.crs import unproject
from lakemap.model.hits import FROM_MARK, Hits
from lakemap.model.marks import NOTHING
from lakemap.model.soundings import Soundings
from lakemap.model.spot_names import CODE_LENGTH, code_inside, code_of, codes_in, name_in
from lakemap.model.terrain import Features
from lakemap.spots.from_features import codes_of_features
from lakemap.spots.own_notes import OwnNote, own_note

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CUT_WITHIN_M = 60.0
"""A code that a device cut tells a spot only among those this near (a plotter may shift and round a place)."""


def without_returned(
    hits: Hits, features: Features, soundings: Soundings, crs: CRS
) -> tuple[Hits, tuple[OwnNote, ...], tuple[str, ...]]:
    """Hits without marks that bear the name of a spot which the other hits or the floor's features make by themselves.

    The code in a name comes from the spot's oldest hit; so a mark is ours when its code is that of a hit or a feature,
    whatever became of the word before it. A mark that bears such a name but meets none stays a mark: what it came from
    is no longer among the files. What its owner wrote on it comes with it, for the spot to tell.
    """
    bearers = [row for row in np.flatnonzero((hits.origin == FROM_MARK) & (hits.kind != NOTHING)).tolist()
               if _codes(str(hits.note[row]))]
    if not bearers:
        return hits, (), ()
    others = np.setdiff1d(np.arange(len(hits)), bearers)
    known = defaultdict[str, list[tuple[float, float]]](list)
    for code, x, y in (*_of_hits(hits.take(others), crs), *codes_of_features(features, soundings)):
        known[code].append((x, y))
    meant = {row: _whose(hits, row, known) for row in bearers}
    whose = {row: code for row, code in meant.items() if code is not None}
    if not whose:
        return hits, (), ()
    notes = [own_note(hits, row, code) for row, code in whose.items()]
    bear = "mark bears" if len(whose) == 1 else "marks bear"
    said = (f"{len(whose)} {bear} the name of a spot of this lake, as a plotter or the page gives them back: it does "
            "not count again for what it means")
    return hits.take(np.setdiff1d(np.arange(len(hits)), list(whose))), tuple(filter(None, notes)), (said,)


def _codes(note: str) -> tuple[str, ...]:
    inside = code_inside(note)
    return (*codes_in(name_in(note)), *((inside,) if inside else ()))


def _of_hits(hits: Hits, crs: CRS) -> list[tuple[str, float, float]]:
    lon, lat = unproject(crs, hits.x_m, hits.y_m)
    lon = np.where(np.isfinite(hits.noted_lon_deg), hits.noted_lon_deg, lon)
    lat = np.where(np.isfinite(hits.noted_lat_deg), hits.noted_lat_deg, lat)
    return [(code_of(when, a, b), x, y) for when, a, b, x, y in zip(
        hits.time_utc, lon.tolist(), lat.tolist(), hits.x_m.tolist(), hits.y_m.tolist(), strict=True)]


def _whose(hits: Hits, row: int, known: dict[str, list[tuple[float, float]]]) -> str | None:
    """The whole code that a mark's name means; None where it means none of those known."""
    at = (float(hits.x_m[row]), float(hits.y_m[row]))
    for code in _codes(str(hits.note[row])):
        if len(code) == CODE_LENGTH:
            if code in known:
                return code
            continue
        near = (whole for whole, places in known.items() if whole.startswith(code) or whole.endswith(code)
                if any(np.hypot(x - at[0], y - at[1]) <= CUT_WITHIN_M for x, y in places))
        if (first := next(near, None)) is not None:
            return first
    return None
