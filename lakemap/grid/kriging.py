"""Ordinary kriging: the best linear estimate with an unknown mean, from readings that each have their own error.

Cressie 1993, Statistics for Spatial Data, section 3.2; block kriging after Journel & Huijbregts 1978, chapter V.
"""

from __future__ import annotations

import copy
import dataclasses
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import ClassVar, Self

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from lakemap.grid.bounded import censored, settled
from lakemap.grid.fit_variogram import fit_variogram
from lakemap.grid.interpolator import Interpolator
from lakemap.grid.neighbours import Neighbourhood
from lakemap.grid.settings import GridSettings
from lakemap.grid.variogram import Structure, Variogram
from lakemap.model.observations import Observations
from lakemap.model.soundings import PassBias

Floats = NDArray[np.float64]

ENOUGH = 50
"""Measured readings that tell a variogram without the bounds."""

CHUNK = 1024
"""Places solved together; fixed, so that the number of threads changes nothing."""

BLOCK_NODES = 4
"""Gauss-Legendre nodes each way for the mean over a pixel."""

PASS_CAP = 2
"""Readings of one pass in one quadrant of a neighbourhood, while others are to be had (tried on invented lakes)."""

THIN_BLOCKS = 8
"""Side, in pixels, of the squares to which farther readings are thinned (tried on invented lakes)."""

UNHEARD = 1e9
"""Error variance, in variances of the floor, of a reading that is left out."""

JITTER = 1e-9
"""Added to the diagonal, as a share of the largest gamma, where two readings without error share a place."""


@dataclass(frozen=True)
class KrigingOptions:
    """``neighbours`` None: all readings for every place. ``cap``: see Neighbourhood. ``block_m``: side of the square
    whose mean is estimated, None a point. ``nugget``: ``noise`` filters it out; ``detail`` treats it as true and
    found again only at a reading's very place. ``threads`` changes speed only."""

    neighbours: int | None = None
    cap: int | None = None
    block_m: float | None = None
    nugget: str = "detail"
    threads: int = 2


class OrdinaryKriging(Interpolator):
    """Kriging with a given variogram, or one fitted to the readings when ``model`` is None.

    Each reading's ``sigma`` enters as its own error; ``pass_bias.sigma_m`` as an error that a pass's readings share.
    """

    name: ClassVar[str] = "kriging"

    def __init__(
        self, model: Variogram | None = None, options: KrigingOptions | None = None, pass_bias: PassBias | None = None
    ) -> None:
        self.model, self.options, self._bias = model, options or KrigingOptions(), pass_bias or PassBias.none()

    @classmethod
    def for_grid(cls, settings: GridSettings, pixel_m: float, pass_bias: PassBias) -> Self:
        """Pixel means from ``grid.neighbours`` readings, spread over passes and sides."""
        options = KrigingOptions(settings.neighbours, PASS_CAP, pixel_m, settings.nugget)
        return cls(None, options, pass_bias)

    def fit(self, obs: Observations) -> Self:
        """Fit the variogram unless it was given; keep the readings (n >= 1) in their order."""
        if self.model is None:
            step = self.options.block_m or _typical_step(obs)
            model = fit_variogram(_measured(obs), step)
            self.model = _with_pixel_detail(model, step) if self.options.nugget == "detail" else model
        self.reach_m = self.model.supported_m
        return self._hold(obs)

    def with_data(self, obs: Observations) -> Self:
        """A copy with the same variogram and other readings."""
        return copy.copy(self)._hold(obs)

    def _hold(self, obs: Observations) -> Self:
        self._obs = obs
        self._look(obs)
        self._obs = settled(obs, self._by_others)
        return self

    def _look(self, obs: Observations) -> None:
        wanted = self.options.neighbours or len(obs)
        thin_m = THIN_BLOCKS * (self.options.block_m or 0.0)
        self._near = Neighbourhood(obs.xy, obs.pass_id, wanted, self.options.cap, thin_m)
        self._shared = self._shared_variance(obs)
        self._jitter = JITTER * self._gamma_at_longest() if _places_twice(obs.xy) else 0.0

    def _by_others(self, obs: Observations, rows: NDArray[np.int64]) -> tuple[Floats, Floats]:
        """Mean and standard error (m,) at the places of some readings, each told by all others."""
        points = copy.copy(self)
        points._obs, points.options = obs, dataclasses.replace(self.options, block_m=None)
        return points._told(obs.xy[rows], rows)

    def own_variance(self, obs: Observations) -> Floats:
        """Variance (n,) of the readings' own errors: their sigma, the nugget where it is noise, their pass's bias."""
        nugget = self._model.nugget if self.options.nugget == "noise" else 0.0
        return np.asarray(obs.sigma**2 + nugget + self._shared_variance(obs))

    def expected_gamma(
        self, obs: Observations, first: NDArray[np.int64], second: NDArray[np.int64]
    ) -> Floats:
        """The variogram at each pair's lag, and the readings' own errors."""
        lag = np.hypot(*(obs.xy[first] - obs.xy[second]).T)
        return np.asarray(self._model.gamma(lag) + 0.5 * (obs.sigma[first] ** 2 + obs.sigma[second] ** 2))

    def _shared_variance(self, obs: Observations) -> Floats:
        if len(self._bias.pass_id) == 0:
            return np.zeros(len(obs))
        passes, code = np.unique(obs.pass_id, return_inverse=True)
        table = dict(zip(self._bias.pass_id.tolist(), self._bias.sigma_m.tolist(), strict=True))
        return np.asarray(np.array([table.get(number, 0.0) for number in passes.tolist()])[code] ** 2)

    def _gamma_at_longest(self) -> float:
        return float(self._model.rise(np.array([np.hypot(*np.ptp(self._obs.xy, axis=0))]))[0])

    @property
    def _model(self) -> Variogram:
        assert self.model is not None
        return self.model

    def predict(self, xy: Floats) -> tuple[Floats, Floats]:
        """Estimate and kriging standard error (m,) at ``xy`` (m, 2), of points or of blocks centred there."""
        return self._told(np.asarray(xy, dtype=np.float64).reshape(-1, 2), None)

    def _told(self, xy: Floats, without: NDArray[np.int64] | None) -> tuple[Floats, Floats]:
        """As ``predict``; of each place one reading may be left out, ``without`` (m,)."""
        estimate, sigma = np.empty(len(xy)), np.empty(len(xy))
        parts = [slice(start, start + CHUNK) for start in range(0, len(xy), CHUNK)]

        def solve(part: slice) -> None:
            estimate[part], sigma[part] = self._solve(xy[part], None if without is None else without[part])

        with threadpool_limits(1), ThreadPoolExecutor(self.options.threads) as pool:
            list(pool.map(solve, parts))
        return estimate, sigma

    def facts(self) -> Mapping[str, float | str]:
        """Nugget, partial sill and range_m of the model, then shape, sill and range of each structure."""
        model = self._model
        told: dict[str, float | str] = {
            "nugget": model.nugget, "partial_sill": model.partial_sill, "range_m": model.range_m,
        }
        for k, part in enumerate(model.structures, 1):
            told |= {f"shape_{k}": part.shape, f"partial_sill_{k}": part.partial_sill, f"range_{k}_m": part.range_m}
        return told

    def _solve(self, at: Floats, without: NDArray[np.int64] | None) -> tuple[Floats, Floats]:
        """One chunk: solve [[-gamma + errors, 1], [1, 0]] [w, mu] = [-gamma to the place, 1] for every place."""
        rows = self._near.rows(at)
        m, k = rows.shape
        left, right = np.ones((m, k + 1, k + 1)), np.ones((m, k + 1))
        left[:, k, k] = 0.0
        left[:, :k, :k] = self._between(rows)
        if without is not None:
            which, where = np.nonzero(rows == without[:, None])
            left[which, where, where] += UNHEARD * self._gamma_at_longest()
        right[:, :k], own = self._towards(at, self._obs.xy[rows])
        solved = np.linalg.solve(left, right[..., None])[..., 0]
        weight = solved[:, :k]
        value = self._obs.value[rows]
        middle = value.mean(axis=1)
        estimate = middle + np.sum(weight * (value - middle[:, None]), axis=1)
        variance = own - np.sum(solved * right, axis=1)
        return estimate, np.sqrt(np.maximum(variance, 0.0))

    def _between(self, rows: NDArray[np.int64]) -> Floats:
        """Covariance, but for a constant, of every two neighbours: -gamma, own errors, errors shared by a pass."""
        xy, passes, shared = self._obs.xy[rows], self._obs.pass_id[rows], self._shared[rows]
        cov = -self._model.rise(_distance(xy[:, :, None, :] - xy[:, None, :, :]))
        if shared.any():
            cov += np.where(passes[:, :, None] == passes[:, None, :], shared[:, :, None], 0.0)
        k = np.arange(rows.shape[1])
        cov[:, k, k] += self._obs.sigma[rows] ** 2 + self._model.nugget + self._jitter
        return cov

    def _towards(self, at: Floats, xy: Floats) -> tuple[Floats, float]:
        """The same between neighbours (m, k, 2) and the place, and of the place with itself."""
        model, side = self._model, self.options.block_m
        away = xy - at[:, None, :]
        if side is None:
            lag = _distance(away)
            if self.options.nugget == "noise":
                return -model.rise(lag), 0.0
            return np.where(lag == 0, model.nugget, -model.rise(lag)), model.nugget
        nodes, weight = _square_nodes(side)
        cov = np.zeros(away.shape[:2])
        for node, share in zip(nodes, weight, strict=True):
            cov -= share * model.rise(_distance(away - node))
        own = model.rise(_distance(nodes[:, None, :] - nodes[None, :, :]))
        return cov, -float(weight @ own @ weight)


def _measured(obs: Observations) -> Observations:
    """The readings that are no bounds, where these are enough to show how readings vary: the middle of what a bound
    leaves open does not vary at all."""
    plain = ~censored(obs)
    return obs.take(plain) if plain.sum() >= ENOUGH else obs


def _places_twice(xy: Floats) -> bool:
    """Whether two readings (n, 2) share a place."""
    order = np.lexsort((xy[:, 1], xy[:, 0]))
    return bool((np.diff(xy[order], axis=0) == 0).all(axis=1).any())


def _distance(away: Floats) -> Floats:
    return np.sqrt(away[..., 0] ** 2 + away[..., 1] ** 2)


def _square_nodes(side_m: float) -> tuple[Floats, Floats]:
    """Offsets (q, 2) [m] and weights (q,) of the quadrature over a square centred at 0."""
    node, weight = np.polynomial.legendre.leggauss(BLOCK_NODES)
    x, y = np.meshgrid(node * side_m / 2, node * side_m / 2)
    return np.column_stack([x.ravel(), y.ravel()]), np.outer(weight, weight).ravel() / 4


def _typical_step(obs: Observations) -> float:
    """Median distance to the nearest other reading, for a fit without a pixel size."""
    if len(obs) < 2:
        return 1.0
    step = Neighbourhood(obs.xy, obs.pass_id, 2)
    lag = _distance(obs.xy[step.rows(obs.xy)[:, -1]] - obs.xy)
    return max(float(np.median(lag)), 1e-3)


def _with_pixel_detail(model: Variogram, pixel_m: float) -> Variogram:
    """The nugget as true detail that reaches across one pixel."""
    return Variogram(0.0, (Structure("spherical", model.nugget, pixel_m), *model.structures))
