"""Why a spot is one, as plain sentences; lengths stand as slots until the reader's unit is known."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from lakemap.model.terrain import Features
from lakemap.spots.evidence import Evidence
from lakemap.spots.neighbours import NearFeature
from lakemap.units import length_slot

Floats = NDArray[np.float64]

SCORED = "Scored"
"""How the sentence on the score begins."""

EDGE_SAID, RELIEF_SAID = 0.3, 0.1
"""Parts of the score below this are not worth a sentence."""

VAGUE_PLACE_M = 3.0
"""A place known no better may lie beside the beam of a pass that is said to have gone over it (own choice)."""

HARD_WORDS = ((0.23, "Soft"), (0.66, "Medium"), (np.inf, "Hard"))
"""Upper ends on the index: soft is a bottom loss above 20 dB (R under 0.1), hard one under 10.5 dB (R 0.3 or more)."""


def passes_sentence(seen: int, could_see: int) -> str:
    """``Seen by 3 of the 5 passes that could have seen it.``"""
    if could_see == 0:
        return "No pass could have seen it."
    if could_see == 1:
        return "Seen by the one pass that could have." if seen else "Not seen by the one pass that could have."
    if seen == 0:
        return f"Seen by none of the {could_see} passes that could have seen it."
    return f"Seen by {'all' if seen == could_see else f'{seen} of the'} {could_see} passes that could have seen it."


def evidence_sentences(
    marks: Sequence[int], evidence: Evidence, sigma_m: Floats, height_m: Floats, floor_m: Floats
) -> Iterator[tuple[str, ...]]:
    """For each spot (k,): marked or not, how many passes showed it, how well its place is known where none did though
    it is marked, how far it stands up."""
    for row, n in enumerate(marks):
        said = [] if not n else ["Marked once." if n == 1 else f"Marked {n} times."]
        seen, could_see = int(evidence.seen[row]), int(evidence.could_see[row])
        said.append(passes_sentence(seen, could_see))
        if n and could_see and not seen and sigma_m[row] >= VAGUE_PLACE_M:
            said.append(f"Its place is known to {length_slot(1.96 * float(sigma_m[row]), 0)} only, so passes may have "
                        "gone by beside it.")
        if np.isfinite(height_m[row]) and np.isfinite(floor_m[row]):
            said.append(
                f"Stands {length_slot(float(height_m[row]))} above a floor at {length_slot(float(floor_m[row]))}."
            )
        elif np.isfinite(floor_m[row]):
            said.append(f"The floor is at {length_slot(float(floor_m[row]))}.")
        yield tuple(said)


def looked_sentence(count: int) -> tuple[str, ...]:
    """``Looked for here once and not found.``; nothing where nobody looked in vain."""
    if not count:
        return ()
    return (f"Looked for here {'once' if count == 1 else f'{count} times'} and not found.",)


def feature_sentences(features: Features, row: int, crossed: int) -> tuple[str, ...]:
    """What a bare feature is, and how many passes crossed it."""
    relief, at = length_slot(float(features.relief_m[row])), length_slot(float(features.depth_m[row]))
    what = {
        "hump": f"A hump that stands {relief} above the floor around it, its top at {at}.",
        "point": f"A point that reaches out from the shore, {relief} shallower than beside it, its tip at {at}.",
        "ledge": f"A ledge at {at} with at least {relief} of slope above and below it.",
        "drop-off": f"A drop-off of {relief}, steepest at {at}.",
        "hole": f"A hole {relief} below the floor around it, its bottom at {at}.",
        "saddle": f"A saddle at {at}: the floor rises to two sides and falls to the other two, by {relief} at least.",
        "outside bend": f"The outside of a bend of a channel that lies {relief} below its banks, its edge at {at}.",
    }[features.kind[row]]
    passes = "Crossed by one pass." if crossed == 1 else f"Crossed by {crossed} passes."
    return what, passes


def fish_sentence(count: int, fresh: float, near_m: float) -> tuple[str, ...]:
    """How many signs of fish lie near, and how much they still count; nothing where there are none."""
    if not count:
        return ()
    signs = "One sign of bait or fish" if count == 1 else f"{count} signs of bait or fish"
    faded = ", seen so long ago that it no longer counts" if fresh < 0.05 else f", faded with time to {fresh:.1f}"
    return (f"{signs} within {length_slot(near_m)}{faded if fresh < 0.95 * count else ''}.",)


def near_sentences(near: Sequence[NearFeature], features: Features) -> tuple[str, ...]:
    """``Drop-off of {2.100 m}, {14.000 m} to the north-east.`` for each feature near."""
    said = []
    for feature in near:
        kind = features.kind[feature.row]
        what = kind.capitalize()
        away = f"{length_slot(feature.distance_m)} to the {feature.direction}."
        if kind == "flat":
            said.append("Lies on a flat." if feature.distance_m < 1.0 else f"Flat {away}")
            continue
        what += f" of {length_slot(float(features.relief_m[feature.row]))}"
        said.append(f"{what} right here." if feature.distance_m < 1.0 else f"{what}, {away}")
    return tuple(said)


def bottom_sentences(hardness: float, sigma: float, edge: float) -> tuple[str, ...]:
    """How hard the bottom is, and whether hard and soft meet nearby; nothing where it was not observed."""
    said = []
    if np.isfinite(hardness):
        word = next(word for limit, word in HARD_WORDS if hardness < limit)
        error = f" ± {sigma:.2f}" if np.isfinite(sigma) else ""
        said.append(f"{word} bottom ({hardness:.2f}{error}).")
    if np.isfinite(edge) and edge >= EDGE_SAID:
        said.append("Hard and soft bottom meet nearby.")
    return tuple(said)


def water_sentence(fishable: float) -> tuple[str, ...]:
    """Whether the floor lies in water that suits; nothing where that is not known."""
    if not np.isfinite(fishable):
        return ()
    return (f"The floor lies in water that {'suits' if fishable >= 0.5 else 'does not suit'}.",)


def score_sentence(score: float, parts: Mapping[str, float], weights: Mapping[str, float]) -> str:
    """``Scored 0.74: most for structure (0.95) and hard bottom (0.88), least for bait near (0.00).``

    Parts count by value times weight; those not observed or without weight are not told of.
    """
    told = [(-round(value * weights[name], 9), name, value) for name, value in parts.items()
            if np.isfinite(value) and weights[name] > 0]
    if not told:
        return f"{SCORED} {score:.2f}: nothing that counts was observed."
    best = sorted(told)
    words = [f"{name.replace('_', ' ')} ({value:.2f})" for _, name, value in best]
    first = " and ".join(words[:2])
    last = f", least for {words[-1]}" if len(words) > 2 else ""
    return f"{SCORED} {score:.2f}: most for {first}{last}."
