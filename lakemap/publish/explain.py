"""Why a place of a map is called what it is: estimates, readings behind them, corrections, doubts; as plain lines."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from lakemap.model.flags import SENTENCES, Flag
from lakemap.model.hardness_notes import DOUBTS, KINDS, LEVELS, HardnessNote, sentences_of
from lakemap.model.map_place import MapPlace
from lakemap.model.soundings import Soundings
from lakemap.physics.reflection import loss_from_hardness
from lakemap.publish.explain_levels import level_corrections
from lakemap.units import format_length

SHOWN = 8
"""Readings listed, nearest first."""
SURE = 0.8


def explain(place: MapPlace) -> Iterator[str]:
    """The lines, lengths in the map's own unit."""
    unit = str(place.summary["units"])
    yield from _depth(place, unit)
    yield ""
    yield from _hardness(place, unit)


def _depth(place: MapPlace, unit: str) -> Iterator[str]:
    depth, sigma = place.bands.get("depth_m", np.nan), place.bands.get("depth_sigma_m", np.nan)
    if not np.isfinite(depth):
        yield "Depth: not observed here; no reading is near enough, or it is land."
    else:
        common = place.summary["common_error"]
        shared = float(np.hypot(common["offset_m"] or 0.0, (common["scale"] or 0.0) * depth))
        surface = place.summary["surfaces"]["depth"]
        yield (f"Depth {format_length(depth, unit, 2)}, sigma {format_length(sigma, unit, 2)}; what all depths of the "
               f"map share may add {format_length(shared, unit, 2)}.")
        yield (f"It is the mean of a pixel of {format_length(place.pixel_m, unit)}, by {surface['method']}; slope "
               f"{place.bands.get('slope_deg', np.nan):.0f} degrees.")
    usable = place.soundings.usable()
    yield from _count_depths(place, unit, usable)
    rows = np.flatnonzero(np.isfinite(place.soundings.depth_m) | ~usable)[:SHOWN]
    for i in rows.tolist():
        yield _depth_row(place, i, unit)
    for one in place.summary["corrections"]:
        yield f"  corrected for {one['name']}"


def _count_depths(place: MapPlace, unit: str, usable: np.ndarray) -> Iterator[str]:
    if len(usable) == 0:
        yield "No reading lies near it: the depth is told from farther ones."
        return
    passes = len(np.unique(place.soundings.pass_id[usable]))
    reach = format_length(float(place.away_m.max()), unit)
    yield (f"{int(usable.sum())} readings in use within {reach}, from {passes} passes; {int((~usable).sum())} more are "
           "held out. Nearest:")


def _depth_row(place: MapPlace, i: int, unit: str) -> str:
    rows = place.soundings
    logged, depth = (format_length(float(column[i]), unit, 2) for column in (rows.logged_depth_m, rows.depth_m))
    flags = [SENTENCES[flag] for flag in Flag if rows.flags[i] & np.uint32(flag.value)]
    said = f"  ({'; '.join(flags)})" if flags else ""
    draft = float(np.nan_to_num(rows.draft_m[i]))
    hung = f", transducer {format_length(draft, unit, 2)} deep" if draft else ""
    return (f"  {format_length(float(place.away_m[i]), unit)} away: {depth} (logged {logged}{hung}), sigma "
            f"{format_length(float(rows.depth_sigma_m[i]), unit, 2)}, {_origin(place, i)}{said}")


def _origin(place: MapPlace, i: int) -> str:
    rows = place.soundings
    name = rows.logs[int(rows.log[i])].name if rows.logs else "log"
    time = "" if np.isnat(rows.time_utc[i]) else f" {np.datetime_as_string(rows.time_utc[i], 's').replace('T', ' ')}"
    return f"{name} row {int(rows.row[i])}{time}, pass {int(rows.pass_id[i])}"


def _hardness(place: MapPlace, unit: str) -> Iterator[str]:
    value, sigma = place.bands.get("hardness", np.nan), place.bands.get("hardness_sigma", np.nan)
    rows = place.soundings
    if not np.isfinite(value):
        yield "Hardness: not observed here."
        for bits, count in _reasons(place):
            yield f"  {count} readings near it say nothing: {'; '.join(sentences_of(bits))}"
        return
    likeliest = max(place.classes, key=lambda name: place.classes[name], default="")
    word = _verdict(likeliest, place.classes.get(likeliest, np.nan))
    yield f"Bottom: {word} Hardness {value:.2f} (0 softest, 1 hardest), sigma {sigma:.2f}; the scale is {place.scale}."
    yield "  " + ", ".join(f"{name} {share:.0%}" for name, share in place.classes.items())
    read = np.flatnonzero(np.isfinite(rows.hardness) & rows.usable())
    if len(read) == 0:
        yield "No reading of hardness lies near it: it is told from farther ones."
    else:
        farthest = format_length(float(place.away_m[read].max()), unit)
        yield f"{len(read)} readings of hardness within {farthest}. Nearest:"
    for i in read[:SHOWN].tolist():
        yield _hardness_row(place, i, unit)
    yield from level_corrections(place)
    for note in HardnessNote:
        doubted = int(np.count_nonzero(rows.hardness_notes[read] & np.uint32((note & DOUBTS).value)))
        if doubted:
            yield f"In doubt in {doubted} of them: {'; '.join(sentences_of(int(note)))}."
    for bits, count in _reasons(place):
        yield f"  {count} more say nothing: {'; '.join(sentences_of(bits))}"


def _loss(rows: Soundings, i: int) -> str:
    """The bottom loss that an echo reading amounts to; a screen's steps are none."""
    measured = rows.hardness_notes[i] & np.uint32(LEVELS.value)
    measured = measured and np.isnan(rows.hardness_low[i]) and np.isnan(rows.hardness_high[i])
    return f", bottom loss {float(loss_from_hardness(rows.hardness[i])):.1f} dB" if measured else ""


def _verdict(name: str, share: float) -> str:
    if not name or not np.isfinite(share):
        return "no class."
    return f"{name}." if share >= SURE else f"rather {name}, not surely."


def _reasons(place: MapPlace) -> list[tuple[int, int]]:
    """Notes of readings that give no hardness though something was noted, and how many have them, commonest first."""
    rows = place.soundings
    silent = np.isnan(rows.hardness) & rows.usable() & (rows.hardness_notes > 0)
    bits, counts = np.unique(rows.hardness_notes[silent], return_counts=True)
    return sorted(zip(bits.tolist(), counts.tolist(), strict=True), key=lambda pair: (-pair[1], pair[0]))


def _hardness_row(place: MapPlace, i: int, unit: str) -> str:
    rows = place.soundings
    low, high = float(rows.hardness_low[i]), float(rows.hardness_high[i])
    bound = f", at least {low:.2f}" * bool(np.isfinite(low)) + f", at most {high:.2f}" * bool(np.isfinite(high))
    levels = [f"{name} echo {float(level[i]):.1f} dB" for name, level in
              (("first", rows.first_echo_db), ("second", rows.second_echo_db)) if np.isfinite(level[i])]
    kind = "; ".join(sentences_of(int(rows.hardness_notes[i]) & int(KINDS)))
    more = "; ".join(sentences_of(int(rows.hardness_notes[i]) & ~int(KINDS)))
    return (f"  {format_length(float(place.away_m[i]), unit)} away: {float(rows.hardness[i]):.2f}, sigma "
            f"{float(rows.hardness_sigma[i]):.2f}{bound}{_loss(rows, i)}, {_origin(place, i)}: "
            f"{', '.join([kind, *levels])}{'; ' + more if more else ''}")
