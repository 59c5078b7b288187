"""What speaks against a rise before any other pass is asked: it is low on the surface, or tall and very short."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from lakemap.model.hits import FROM_RISE, Hits
from lakemap.model.surface import Surface
from lakemap.model.terrain import Terrain

Floats = NDArray[np.float64]

LEAST_HEIGHT_M = 0.2
"""What stands lower than this on the surface is floor (our own choice)."""

DETAIL_M = 0.1
"""Detail of the floor within a pixel that a mean over the pixel does not show (our own choice)."""

TALL_SHARE = 0.4
"""A rise of one or two pings that takes up more of the water than this is most often a run of false readings (common
practice of the trade, no source)."""


def chance_standing(hits: Hits, depth: Surface, terrain: Terrain) -> Floats:
    """Probability (n,) that the top of each rise is over the surface by more than LEAST_HEIGHT_M; 1 for marks.

    The error is that of the surface there, of the position on its slope, and of detail within a pixel, as a normal law;
    the bias of the pass is taken off its depths. 1 where the surface or the rise's height is not known.
    """
    top_m = hits.depth_m - hits.height_m - _bias(hits, depth)
    over_m = depth.estimate.at(hits.x_m, hits.y_m) - top_m
    tilt = np.tan(np.radians(np.nan_to_num(terrain.slope.at(hits.x_m, hits.y_m))))
    error_m = np.sqrt(
        np.nan_to_num(depth.sigma.at(hits.x_m, hits.y_m)) ** 2
        + (np.nan_to_num(hits.position_sigma_m) * tilt) ** 2 + DETAIL_M**2
    )
    known = (hits.origin == FROM_RISE) & np.isfinite(over_m)
    return np.where(known, ndtr((np.where(known, over_m, 0.0) - LEAST_HEIGHT_M) / error_m), 1.0)


def firm(chance: Floats) -> Floats:
    """A chance (n,) with its odds squared: what is as low as the floor of all other passes is a fault of its own pass
    more often than a thing (own choice, tests/bench/bench_cover.py)."""
    return np.asarray(chance**2 / (chance**2 + (1.0 - chance) ** 2))


def too_short(hits: Hits) -> NDArray[np.bool_]:
    """Which rises (n,) need another pass or a mark beside them: of one ping, or of two and very tall."""
    tall = np.nan_to_num(hits.height_m) > TALL_SHARE * np.nan_to_num(hits.depth_m, nan=np.inf)
    return np.asarray((hits.origin == FROM_RISE) & ((hits.pings < 2) | ((hits.pings == 2) & tall)))


def _bias(hits: Hits, depth: Surface) -> Floats:
    table = dict(zip(depth.pass_bias.pass_id.tolist(), depth.pass_bias.bias_m.tolist(), strict=True))
    return np.array([table.get(number, 0.0) for number in hits.pass_id.tolist()], dtype=np.float64)
