"""The error of an interpolator without one of its own: what it missed by when readings were left out, by distance."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lakemap.model.observations import Observations

Floats = NDArray[np.float64]
Estimate = Callable[[Observations, Floats], Floats]

FOLDS = 4
CLASSES = 12
FEWEST_IN_CLASS = 5
FEWEST_READINGS = 8

LEAST_SIGMA = 1e-3
"""No reading is known better than this, in any unit that occurs here."""


@dataclass(frozen=True)
class DistanceError:
    """Standard error grows with the distance to the nearest reading: at ``lag_m`` (k,) it is ``sigma`` (k,)."""

    lag_m: Floats
    sigma: Floats

    def at(self, lag_m: Floats) -> Floats:
        """Standard error at each distance; beyond the last known one it grows with the root of the distance."""
        beyond = np.sqrt(np.maximum(lag_m / self.lag_m[-1], 1.0))
        return np.asarray(np.interp(lag_m, self.lag_m, self.sigma) * beyond)


def learn_distance_error(obs: Observations, estimate: Estimate) -> DistanceError:
    """Leave out every fourth reading, and every third pass, and see what ``estimate`` misses by (root mean square in
    classes of distance, never falling with it, never below the readings' own error). With too few: their spread."""
    lags, misses = [np.empty(0)], [np.empty(0)]
    for out in _left_out(obs):
        rest = obs.take(~out)
        lags.append(cKDTree(rest.xy).query(obs.xy[out])[0])
        misses.append(obs.value[out] - estimate(rest, obs.xy[out]))
    lag, miss = np.concatenate(lags), np.concatenate(misses)
    known = np.isfinite(miss)
    lag, miss = lag[known], miss[known]
    least = max(float(np.sqrt(np.mean(obs.sigma**2))), LEAST_SIGMA)
    if len(lag) < FEWEST_READINGS:
        return DistanceError(np.array([1.0]), np.array([max(float(np.std(obs.value)), least)]))
    parts = np.array_split(np.argsort(lag, kind="stable"), max(1, min(CLASSES, len(lag) // FEWEST_IN_CLASS)))
    middle = np.array([lag[part].mean() for part in parts])
    square = np.array([np.mean(miss[part] ** 2) for part in parts])
    return DistanceError(np.maximum(middle, 1e-6), np.maximum(np.sqrt(np.maximum.accumulate(square)), least))


def _left_out(obs: Observations) -> list[NDArray[np.bool_]]:
    """Masks (n,) of readings held back together; each leaves some in."""
    place = np.arange(len(obs))
    masks = [place % FOLDS == k for k in range(FOLDS)]
    passes, code = np.unique(obs.pass_id, return_inverse=True)
    if len(passes) >= 3:
        masks += [code % 3 == k for k in range(3)]
    return [mask for mask in masks if mask.any() and not mask.all()]
