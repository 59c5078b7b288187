"""What the invented boat's owner reads off the screen about the second bottom."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lakemap.demo.sounder import Sounder
from lakemap.model.soundings import SECOND_SEEN
from lakemap.physics.reflection import geometric_second_bottom_m

Floats = NDArray[np.float64]

SHOWS_DB, STRONG_DB, THIRD_DB, FULL_DB = 92.0, 110.0, 106.0, 140.0
"""Level from which an echo shows, a second looks strong, a third shows too, all is saturated: an invented screen."""
TAIL_SHARE_PER_DB, TAIL_FROM_DB = 0.012, 12.0
"""A first bottom this much over SHOWS_DB grows a tail, so much of the depth for each further dB: invented, in the
spirit of what the trade says of hard floors."""
PLACE_NOISE = 0.01
"""Standard error of a place read off the screen, as a share of depth."""


@dataclass(frozen=True)
class ScreenNotes:
    """n notes: where the first bottom's tail ends, where the second bottom starts (NaN if not seen) [m below the
    transducer], and the word for it."""

    first_end_m: Floats
    second_m: Floats
    seen: tuple[str, ...]


def read_screen(
    shown_m: Floats, levels_db: tuple[Floats, Floats], range_m: Floats, sounder: Sounder, rng: np.random.Generator
) -> ScreenNotes:
    """Notes on n pings; ``range_m`` is the lower end of the screen below the transducer."""
    first, second = (np.nan_to_num(level, nan=0.0) for level in levels_db)
    place = geometric_second_bottom_m(shown_m, sounder.draft_m)
    place = place + PLACE_NOISE * shown_m * rng.standard_normal(len(shown_m))
    excess = np.clip(first - SHOWS_DB - TAIL_FROM_DB, 0.0, FULL_DB - SHOWS_DB)
    end = shown_m * (1.05 + TAIL_SHARE_PER_DB * excess)
    showing = (second > SHOWS_DB) & (place < range_m)
    # The echo after the second loses about as much again as the second lost against the first.
    third = showing & (2.0 * second - first > THIRD_DB) & (1.5 * place < range_m)
    rank = np.where(third, 3, np.where(showing & (second > STRONG_DB), 2, np.where(showing, 1, 0)))
    return ScreenNotes(end, np.where(showing, place, np.nan), tuple(SECOND_SEEN[k] for k in rank.tolist()))


def display_range_m(depth_m: Floats, ranges_m: tuple[float, ...], factor: float) -> Floats:
    """The shortest of the screen's ranges that holds ``factor`` times the depth (n,), as a sounder picks by itself."""
    ranges = np.array(ranges_m)
    return np.asarray(ranges[np.clip(np.searchsorted(ranges, factor * depth_m), 0, len(ranges) - 1)])
