"""A day on the water: stops in their order with the ways between, and what was left out and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Stop:
    """One spot of a trip: its name and kind, place, how long to stay, when the boat is there [s after the start].

    ``off_m`` and ``off_to``: how far the spot lies from where the boat stops, and which way; 0 and no word where it
    stops at the spot.
    """

    name: str
    kind: str
    lon_deg: float
    lat_deg: float
    depth_m: float
    worth: float
    stay_s: float
    arrives_s: float
    off_m: float = 0.0
    off_to: str = ""


@dataclass(frozen=True)
class Trip:
    """``ways``: for each leg, home included, its line as longitude and latitude (p, 2) and its ``lengths_m`` (k + 1,).

    ``lasts_s`` all told; ``left_out``: name of a spot and why it is not in; ``start`` and ``ends_by`` are UTC, NaT
    where no time was given.
    """

    stops: Sequence[Stop]
    ways: Sequence[Floats]
    lengths_m: Floats
    lasts_s: float
    worth: float
    left_out: Sequence[tuple[str, str]]
    start: np.datetime64
    ends_by: np.datetime64
    messages: tuple[str, ...] = ()
