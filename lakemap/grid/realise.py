"""Realisations: surfaces as likely as the readings leave them, for intervals of what no sigma of a pixel can tell."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lakemap.grid.interpolator import Interpolator
from lakemap.model.frame import GridFrame

MOST_VALUES = 100_000_000
"""Pixels of all realisations together (0.4 GB); larger lakes get fewer realisations."""

AT_ONCE_VALUES = 4_000_000
"""Pixels of the realisations that are drawn together."""

FEWEST = 20
"""Fewer say nothing of an interval."""

SEED = 1


def realise(
    fitted: Interpolator, frame: GridFrame, drawn: NDArray[np.bool_], wanted: int
) -> tuple[NDArray[np.float32] | None, tuple[str, ...]]:
    """``wanted`` surfaces (n, drawn pixels), or fewer where memory asks for it, and what is to be said of that.

    None where none are wanted or ``fitted`` cannot draw any. The same readings give the same surfaces.
    """
    cells = int(drawn.sum())
    if wanted == 0 or cells == 0:
        return None, ()
    count = min(wanted, max(MOST_VALUES // cells, FEWEST))
    x_m, y_m = frame.centres()
    row, column = np.nonzero(drawn)
    xy = np.column_stack([x_m[column], y_m[row]])
    step = max(AT_ONCE_VALUES // cells, 1)
    parts = [
        fitted.sample(xy, min(step, count - start), SEED + start).astype(np.float32) for start in range(0, count, step)
    ]
    made = np.concatenate(parts)
    if not len(made):
        return None, (f"{fitted.name} draws no realisations, so area and volume have no interval; use --method field",)
    said = f"{count} realisations of {wanted} were drawn: the lake has {cells} pixels, and more would need much memory"
    return made, (said,) if count < wanted else ()
