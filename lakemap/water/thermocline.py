"""Thermocline and metalimnion of one profile, by the gradient of density.

Read et al. 2011, Environ. Model. Softw. 26:1325, section 2.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lakemap.physics.density import fresh_water_density

Floats = NDArray[np.float64]

FEWEST_LEVELS = 3
LEAST_RANGE_C = 1.0
"""A profile that spans less is mixed; as in the source."""
LEAST_GRADIENT = 0.1
"""Density gradient [kg/m3 per m] at the edges of the metalimnion; as in the source."""
PEAK_SHARE = 0.15
"""A local peak counts as a cline of its own from this share of the largest gradient; as in the source."""


@dataclass(frozen=True)
class Layers:
    """Depths [m] of the thermocline (deepest lasting one), and of the metalimnion's top and bottom; ``strong``: whether
    the gradient reaches LEAST_GRADIENT anywhere. Under ice, and days after a turnover, it does not."""

    thermocline_m: float
    top_m: float
    bottom_m: float
    strong: bool


def layers_of(depth_m: Floats, temperature_c: Floats) -> Layers | None:
    """Layers of a profile: depths (k,) rising, temperatures (k,); None where the water is mixed or too few levels."""
    if len(depth_m) < FEWEST_LEVELS or np.ptp(temperature_c) < LEAST_RANGE_C:
        return None
    gradient = np.diff(fresh_water_density(temperature_c)) / np.diff(depth_m)
    strongest = int(np.argmax(gradient))
    first = _refined(depth_m, gradient, strongest)
    lasting = _lasting(gradient, strongest)
    cline = first if lasting <= strongest + 1 else max(first, _refined(depth_m, gradient, lasting))
    top, bottom = _edges(depth_m, gradient, cline)
    return Layers(cline, top, bottom, bool(gradient[strongest] >= LEAST_GRADIENT))


def strongest_m(depth_m: Floats, temperature_c: Floats) -> float | None:
    """Depth [m] of the steepest gradient alone, which on a calm day may be a shallow one that a night will mix."""
    if len(depth_m) < FEWEST_LEVELS or np.ptp(temperature_c) < LEAST_RANGE_C:
        return None
    gradient = np.diff(fresh_water_density(temperature_c)) / np.diff(depth_m)
    return _refined(depth_m, gradient, int(np.argmax(gradient)))


def _refined(depth: Floats, gradient: Floats, k: int) -> float:
    """Middle of interval k, moved towards the neighbour with the larger gradient."""
    middle = float(depth[k] + depth[k + 1]) / 2
    if k in (0, len(gradient) - 1):
        return middle
    above, below = gradient[k] - gradient[k - 1], gradient[k] - gradient[k + 1]
    if above == 0 or below == 0:
        return middle
    a, b = (depth[k] - depth[k - 1]) / above, (depth[k + 1] - depth[k]) / below
    return float((depth[k + 1] * b + depth[k] * a) / (a + b))


def _lasting(gradient: Floats, strongest: int) -> int:
    """The deepest local peak that is high enough; the strongest where there is none."""
    least = max(PEAK_SHARE * gradient[strongest], LEAST_GRADIENT)
    inner = np.arange(1, len(gradient) - 1)
    peak = (gradient[inner] > gradient[inner - 1]) & (gradient[inner] > gradient[inner + 1]) & (gradient[inner] > least)
    found = inner[peak]
    return int(found[-1]) if len(found) else strongest


def _edges(depth: Floats, gradient: Floats, cline: float) -> tuple[float, float]:
    """Where the gradient falls below LEAST_GRADIENT above and below the cline, straight lines between."""
    middles = (depth[:-1] + depth[1:]) / 2
    at_cline = float(np.interp(cline, middles, gradient))
    above, below = middles < cline, middles > cline
    top = _crossing(cline, at_cline, middles[above][::-1], gradient[above][::-1])
    bottom = _crossing(cline, at_cline, middles[below], gradient[below])
    return (float(depth[0]) if top is None else top), (float(depth[-1]) if bottom is None else bottom)


def _crossing(cline: float, at_cline: float, away: Floats, gradient: Floats) -> float | None:
    """Depth at which the gradient is LEAST_GRADIENT, by straight lines in the gradient from the cline to the first
    point below it; the cline itself where its own gradient is no larger."""
    under = np.flatnonzero(gradient < LEAST_GRADIENT)
    if len(under) == 0:
        return None
    if at_cline <= LEAST_GRADIENT:
        return cline
    g = np.append(at_cline, gradient[: under[0] + 1])
    z = np.append(cline, away[: under[0] + 1])
    order = np.argsort(g, kind="stable")
    return float(np.interp(LEAST_GRADIENT, g[order], z[order]))
