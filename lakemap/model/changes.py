"""What readings of different dates say: weed that stood on the floor, and floor that has moved."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from lakemap.model.frame import Grid

Floats = NDArray[np.float64]

Kind = Literal["weed", "changed"]


@dataclass(frozen=True)
class ChangedSquares:
    """Squares of ``cell_m`` in which dates differ: ``x_m, y_m`` (q,) their middles; ``value_m`` (q,) the weed's height
    above the floor, or the depth now less the depth then (above 0: deeper now).

    ``since`` and ``until`` (q,) are days: for weed the first and last day it was read, for a change the last day with
    the old floor and the first with the new one. ``seen`` counts the squares that could be compared at all.
    """

    kind: Kind
    cell_m: float
    x_m: Floats
    y_m: Floats
    value_m: Floats
    since: NDArray[np.datetime64]
    until: NDArray[np.datetime64]
    seen: int = 0

    def __len__(self) -> int:
        return len(self.x_m)


@dataclass(frozen=True)
class ChangedAreas:
    """Joined squares of one kind and date, by area: ``outline`` a polygon each, ``value_m`` the median in it."""

    outline: Sequence[Any]
    value_m: Floats
    since: NDArray[np.datetime64]
    until: NDArray[np.datetime64]

    def __len__(self) -> int:
        return len(self.outline)


@dataclass(frozen=True)
class Changes:
    """Weed and moved floor as grids on the depth's frame (None where there is none) and as areas."""

    weed_height: Grid | None
    changed: Grid | None
    weed: ChangedAreas
    moved: ChangedAreas
