"""One place of a finished map: what its rasters say there, and the readings round it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lakemap.model.soundings import Soundings

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class MapPlace:
    """``bands`` by description (``depth_m``, ``hardness`` ...) at the place, NaN where nothing is known; ``classes``
    the probability of each bottom class by name, softest first; ``soundings`` nearest first, ``away_m`` (n,) how far,
    ``slope_deg`` (n,) the floor's slope under each, NaN where it is not known; ``summary`` as in summary.json;
    ``scale`` of the hardness in words; ``pixel_m`` the side of a pixel."""

    lat_deg: float
    lon_deg: float
    bands: Mapping[str, float]
    classes: Mapping[str, float]
    soundings: Soundings
    away_m: Floats
    slope_deg: Floats
    summary: Mapping[str, Any]
    scale: str
    pixel_m: float
