"""What summary.json tells of the water: layers of the latest profile, and how long they count."""

from __future__ import annotations

from typing import Any

import numpy as np

from lakemap.model.water import Water


def water_figures(water: Water | None) -> dict[str, Any] | None:
    """Day of the profile and last day it counts (None without a date), whether it still counted on the newest log's
    day, depths [m], bands that suit and their share."""
    if water is None:
        return None
    return {
        "day": None if np.isnat(water.day) else str(water.day),
        "until": None if np.isnat(water.until) else str(water.until),
        "counts": water.counts,
        "deepest_m": water.deepest_m, "thermocline_m": water.thermocline_m, "metalimnion_top_m": water.top_m,
        "metalimnion_bottom_m": water.bottom_m,
        "bands_m": None if water.bands is None else [list(band) for band in water.bands], "share": water.share,
    }
