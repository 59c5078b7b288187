"""What each pass is off by as a whole against the others in its squares: that is no change of the floor."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lakemap.changes.medians import group_medians

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

ROUNDS = 6
DAMPING = 0.7
"""Share of what a round finds that is taken over: two passes side by side must not swap places (own choice)."""
WEAK_SQUARES = 4.0
"""A pass is believed as far as n squares against this many (a prior of no offset)."""


def pass_offsets(level_m: Floats, cell: Ints, pass_id: Ints) -> Floats:
    """Offset of each row's pass (m,) [m] from what all passes of its squares say together.

    ``level_m`` (m,): depth brought to the square's middle; ``cell`` and ``pass_id`` (m,): numbers from 0. Both steps
    are medians, so a stretch of a pass that crosses weed or a moved bar does not drag the rest of it.
    """
    stretch, of_row = _numbered(np.column_stack([cell, pass_id]))
    its_cell, its_pass = stretch.T
    depth = group_medians(of_row, level_m, len(stretch))
    passes = int(pass_id.max()) + 1 if len(pass_id) else 0
    trust = np.bincount(its_pass, minlength=passes) / (np.bincount(its_pass, minlength=passes) + WEAK_SQUARES)
    offset = np.zeros(passes)
    cells = int(cell.max()) + 1 if len(cell) else 0
    for _ in range(ROUNDS):
        left = depth - offset[its_pass]
        away = left - group_medians(its_cell, left, cells)[its_cell]
        offset += DAMPING * trust * np.nan_to_num(group_medians(its_pass, away, passes))
    return np.asarray(offset[pass_id])


def _numbered(pairs: Ints) -> tuple[Ints, Ints]:
    found, number = np.unique(pairs, axis=0, return_inverse=True)
    return found, number.ravel().astype(np.int64)
