"""The owner's word on spots: dropped, merged, or looked at with nothing there; undone by taking the line out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lakemap.model.lake_facts import Edit, Edits
from lakemap.model.spots import Spots
from lakemap.spots.looked import MISSED

Bools = NDArray[np.bool_]


def heed_owner(spots: Spots, edits: Edits) -> tuple[Spots, tuple[str, ...]]:
    """Spots after the owner's word, and a line for each statement; other edits are not for spots."""
    said: list[str] = []
    for edit in edits.lines:
        if edit.what == "drop_spot":
            spots = _dropped(spots, edit, said)
        elif edit.what == "merge_spots":
            spots = _merged(spots, edit, said)
        elif edit.what == "looked_nothing":
            spots = _doubted(spots, edit, said)
    return spots, tuple(said)


def _why(edit: Edit) -> str:
    return f" ({edit.why})" if edit.why else ""


def _named(spots: Spots, edit: Edit, said: list[str]) -> list[int]:
    # a plotter shows names in capitals
    place = {name.lower(): i for i, name in enumerate(spots.name)}
    missing = [name for name in edit.spots if name.lower() not in place]
    if missing:
        said.append(f"owner's word, {edit.title}: no spot is named {', '.join(missing)}; nothing is done about it")
    return list(dict.fromkeys(place[name.lower()] for name in edit.spots if name.lower() in place))


def _dropped(spots: Spots, edit: Edit, said: list[str]) -> Spots:
    gone = _named(spots, edit, said)
    if not gone:
        return spots
    said.append(f"owner's word, {edit.title}: {', '.join(spots.name[i] for i in gone)} dropped{_why(edit)}; take the "
                "line out to undo it")
    return spots.take(np.array([i for i in range(len(spots)) if i not in gone], dtype=np.int64))


def _merged(spots: Spots, edit: Edit, said: list[str]) -> Spots:
    """The first named spot takes the hits of the others; its place is their mean, the surer ones weighing more."""
    some = _named(spots, edit, said)
    if len(some) < 2:
        return spots
    said.append(f"owner's word, {edit.title}: {', '.join(spots.name[i] for i in some)} are one spot{_why(edit)}; take "
                "the line out to undo it")
    first, rows = some[0], np.array(some)
    weight = 1.0 / np.maximum(spots.position_sigma_m[rows], 0.1) ** 2

    def mean(column: NDArray[np.float64]) -> NDArray[np.float64]:
        return _with(column, first, float(np.sum(weight * column[rows]) / weight.sum()))

    hits = tuple(np.sort(np.concatenate([spots.hits[k] for k in some])) if i == first else one
                 for i, one in enumerate(spots.hits))
    joined = replace(
        spots, hits=hits, x_m=mean(spots.x_m), y_m=mean(spots.y_m), lon_deg=mean(spots.lon_deg),
        lat_deg=mean(spots.lat_deg), position_sigma_m=_with(spots.position_sigma_m, first, weight.sum() ** -0.5),
        seen=_with(spots.seen, first, spots.seen[rows].max()), probability=_most(spots.probability, rows, first),
        could_see=_with(spots.could_see, first, spots.could_see[rows].max()),
        prob_low=_most(spots.prob_low, rows, first), prob_high=_most(spots.prob_high, rows, first),
        height_m=_most(spots.height_m, rows, first),
        reasons=_saying(spots, [first], f"The owner says: one with {', '.join(spots.name[i] for i in some[1:])}."),
    )
    return joined.take(np.array([i for i in range(len(spots)) if i == first or i not in some], dtype=np.int64))


def _doubted(spots: Spots, edit: Edit, said: list[str]) -> Spots:
    """Looked, nothing there: the odds of each spot meant fall by MISSED; it stays, since one look can miss."""
    meant = _within(spots, edit)
    for i in _named(spots, edit, said):
        meant[i] = True
    said.append(f"owner's word, {edit.title}: looked and found nothing, {int(meant.sum())} spots doubted{_why(edit)}; "
                "take the line out to undo it")
    if not meant.any():
        return spots
    return replace(
        spots, probability=_less_sure(spots.probability, meant), prob_low=_less_sure(spots.prob_low, meant),
        prob_high=_less_sure(spots.prob_high, meant), could_see=spots.could_see + meant.astype(np.int32),
        reasons=_saying(spots, np.flatnonzero(meant).tolist(), "The owner looked here and found nothing."),
    )


def _within(spots: Spots, edit: Edit) -> Bools:
    if not np.isfinite(edit.west):
        return np.zeros(len(spots), dtype=bool)
    lon = (spots.lon_deg - edit.west) % 360.0 <= (edit.east - edit.west) % 360.0
    return np.asarray(lon & (spots.lat_deg >= edit.south) & (spots.lat_deg <= edit.north))


def _less_sure(probability: NDArray[np.float64], meant: Bools) -> NDArray[np.float64]:
    """Bayes' rule for a look that finds nothing with chance MISSED where something is, and always where nothing is."""
    left = probability * MISSED / (probability * MISSED + 1.0 - probability + 1e-12)
    return np.where(meant, left, probability)


def _with(column: NDArray[Any], at: int, value: float) -> NDArray[Any]:
    out = column.copy()
    out[at] = value
    return out


def _most(column: NDArray[np.float64], rows: NDArray[np.int64], at: int) -> NDArray[np.float64]:
    known = column[rows][np.isfinite(column[rows])]
    return _with(column, at, float(known.max()) if len(known) else float("nan"))


def _saying(spots: Spots, at: Sequence[int], sentence: str) -> tuple[tuple[str, ...], ...]:
    return tuple((*said, sentence) if i in at else said for i, said in enumerate(spots.reasons))
