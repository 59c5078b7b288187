"""The field interpolator: trend from the shore, rough shape, short detail and pass biases in one sparse solution."""

from __future__ import annotations

import copy
import dataclasses
from collections.abc import Mapping, Sequence
from typing import ClassVar, Self

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from threadpoolctl import threadpool_limits

from lakemap.geo.bank import shore_of
from lakemap.grid.field_lattice import Lattice, lattice_for
from lakemap.grid.field_model import MIDDLE_RANGE, FieldParameters, Pairs, Trend, cascade_ranges, prior_gamma
from lakemap.grid.field_parameters import USUAL_BIAS_M, Prior, Sample, fit_parameters, pick
from lakemap.grid.field_readings import Readings
from lakemap.grid.field_solution import FieldSolution
from lakemap.grid.field_system import Design
from lakemap.grid.field_tiles import Tile, cut_tiles, thinned, thinned_rows
from lakemap.grid.field_weights import plain_start
from lakemap.grid.interpolator import Interpolator
from lakemap.grid.settings import GridSettings
from lakemap.grid.shore_distance import ShoreDistance, calibrated
from lakemap.model.frame import GridFrame
from lakemap.model.observations import Observations
from lakemap.model.soundings import NO_PASS, PassBias

Floats = NDArray[np.float64]

DEPTH = "depth_m"
STEPS_A_DETAIL = 4.0
"""Lattice steps in the range of the short detail (tried: finer costs more and gains less than 1 %)."""
LEAST_STEPS = 2.0
"""Shortest range, in steps, that a lattice carries; shorter fields are taken for this."""
MOST_UNKNOWNS = 160_000
"""Nodes solved at once; a lake that needs more is cut into tiles."""
FIRST_UNKNOWNS = 30_000
"""Nodes of the solution that doubts readings and holds passes back; where the lake needs more, it is a coarser one."""
MOST_CELLS = 4_000_000
"""Lattice cells in all tiles; the step grows beyond."""
FOLDS = 4
"""Groups held back are shared out over so many of the first solutions."""
UNSEEN_SHARE = 1.0
"""Share of the noise's variance that is floor too fine for the lattice: each pixel of a depth map has its own of it
(tried on invented lakes)."""
POSITION_M = 0.7
"""Error of a block's place: on a slope it is one of depth (half of a usual receiver's, for a block's mean)."""
OUTLINE_M, OUTLINE_FADES_M = 1.0, 10.0
"""Error of the outline's place, and the distance over which it stops to matter; makes the rim less sure."""
MIDDLE_SD = 0.5
"""Usual size of what the middle does by itself, as a share of the mean depth (tried on flooded terrain)."""
FAR_FROM_M, FAR_EVERY, LEAST_FAR = (10.0, 20.0), 3.0, 8
"""A survey is sparse where half the map lies farther than this from readings, asked in squares of so many pixels: not
at all up to the one distance, wholly from the other. Then the middle has a shape of its own, and parameters are learnt
again at that lag, of which so many readings are left."""
MOST_HELD = 0.4
"""Up to this share of the readings is held back in one of the fine solutions, which cost the most."""
MOST_TILES_HELD = 4
"""Of a lake in tiles so many, spread over it, tell what readings held back are missed by, to keep the time small."""
BIAS_SHARE = 0.3
"""Usual bias of a pass in readings that are no lengths, as a share of their spread (own choice)."""
USUAL_NOISE = 0.07
"""Noise of a depth besides its own error, before anything is known [m]; for other readings a tenth of their spread."""


class FieldInterpolator(Interpolator):
    """Gauss-Markov fields on lattices; the shore shapes the trend and is no reading."""

    name: ClassVar[str] = "field"
    solves_bias: ClassVar[bool] = True

    def __init__(self, pixel_m: float = 1.0, shore_zero: bool = False, biased: bool = False,
                 parameters: FieldParameters | None = None) -> None:
        self._pixel_m, self._shore_zero, self._biased = pixel_m, shore_zero, biased
        self.parameters = parameters
        self._frame: GridFrame | None = None
        self._shore = ShoreDistance(None)

    @classmethod
    def for_grid(cls, settings: GridSettings, pixel_m: float, pass_bias: PassBias) -> Self:
        """``pass_bias`` says only whether passes have biases at all; they are solved here."""
        return cls(pixel_m, settings.shore_depth == "zero", len(pass_bias.pass_id) > 0)

    def on_frame(self, frame: GridFrame) -> Self:
        """A copy that knows where water and shore are."""
        other = copy.copy(self)
        other._frame = frame
        return other

    def fit(self, obs: Observations) -> Self:
        """Parameters by likelihood unless they were given; then the readings as data."""
        depth = obs.name == DEPTH
        self._shore = ShoreDistance(self._frame if depth else None)
        self._lag_m = 0.0
        spread, typical = max(float(np.std(obs.value)), 1e-3), float(np.mean(obs.value))
        self._trend = Trend.constant(typical, spread)
        if self._frame is not None and self._shore.known:
            water = thinned(self._frame.water_xy(), FAR_EVERY * self._pixel_m)
            self._lag_m = float(np.median(cKDTree(obs.xy).query(water)[0]))
            self._trend = Trend.of_lake(typical, self._shore.at(obs.xy), self._shore.at(water), self._shore_zero)
        if self.parameters is None:
            self.parameters = self._learn(obs, spread)
        self.reach_m = float("inf")
        return self._hold(obs)

    @property
    def _sparse(self) -> float:
        """How far the survey counts as sparse, 0 to 1, by ``_lag_m`` (0 where no shore is known): evenly between the
        two distances, so that one pass more makes no jump."""
        low, high = FAR_FROM_M
        return float(np.clip((self._lag_m - low) / (high - low), 0.0, 1.0))

    def with_data(self, obs: Observations) -> Self:
        """A copy with the same parameters and other readings."""
        return self if obs is self._obs else copy.copy(self)._hold(obs)

    @property
    def _known(self) -> FieldParameters:
        assert self.parameters is not None
        return self.parameters

    def _own(self, obs: Observations) -> Floats:
        """Standard error of each reading (n,) before anything is learnt: its own, and what its place errs by."""
        return np.hypot(obs.sigma, POSITION_M * self._trend.usual_slope(self._away(obs)))

    def _away(self, obs: Observations) -> Floats:
        """Distance to the shore of readings (n,), freed of what their places err by."""
        distance = self._shore.at(obs.xy)
        if not self._sparse or not len(obs):
            return distance
        return (1 - self._sparse) * distance + self._sparse * calibrated(distance, obs.xy, obs.pass_id)

    def _variance(self, obs: Observations) -> Floats:
        """Error variance of each reading (n,): the noise of all, and its own."""
        return np.asarray(self._known.noise**2 + (self._known.own * self._own(obs)) ** 2)

    def _learn(self, obs: Observations, spread: float) -> FieldParameters:
        plain = plain_start(obs.xy, obs.value, obs.sigma) & np.isnan(obs.lower) & np.isnan(obs.upper)
        kept = obs.take(plain) if plain.any() else obs
        extent = float(np.hypot(*np.ptp(obs.xy, axis=0))) or 100.0
        if self._frame is not None and self._frame.shore_known:
            extent = float(np.sqrt(self._frame.water.sum())) * self._pixel_m
        noise = USUAL_NOISE if obs.name == DEPTH else 0.1 * spread
        bias = USUAL_BIAS_M if obs.name.endswith("_m") else BIAS_SHARE * spread
        prior = Prior.usual(spread, extent, self._shore.widest_m, noise, bias)
        if self._sparse:
            prior = prior.with_middle(max(self._sparse * MIDDLE_SD * self._trend.typical, prior.centre.middle_sd))
        with threadpool_limits(1):
            near = fit_parameters(self._sample(kept), self._trend, prior, self._biased)
            return self._far(kept, near, prior)

    def _far(self, obs: Observations, near: FieldParameters, prior: Prior) -> FieldParameters:
        """The shape's parameters once more, from lags as long as half the map lies from readings: real floors are
        smoother along a pass than any model, and readings close together would settle how far all others may err."""
        if not self._sparse:
            return near
        some = obs.take(thinned_rows(obs.xy, self._lag_m))
        if len(some) < LEAST_FAR:
            return near
        far = fit_parameters(self._sample(some), self._trend, prior.with_short(near), self._biased)
        return FieldParameters.of_logs((1 - self._sparse) * near.logs() + self._sparse * far.logs())

    def _sample(self, obs: Observations) -> Sample:
        some = obs.take(pick(obs.xy))
        return Sample(some.xy, some.value, self._own(some), some.pass_id, self._away(some))

    def _ranges(self, step_m: float) -> tuple[float, ...]:
        """Ranges of the levels; none shorter than a lattice of this step can carry."""
        ranges = (*cascade_ranges(self._known.rough_m), self._known.detail_m)
        if self._sparse:
            ranges = (MIDDLE_RANGE * self._trend.widest_m, *ranges)
        return tuple(max(range_m, LEAST_STEPS * step_m) for range_m in ranges)

    def _served(self, obs: Observations, step_m: float) -> Floats:
        """Places that the lattice must reach, one a cell: readings, and water (all around them without a frame)."""
        if self._frame is not None:
            return thinned(np.concatenate([obs.xy, self._frame.water_xy()]), step_m)
        low, high = obs.xy.min(axis=0) - 2 * step_m, obs.xy.max(axis=0) + 2 * step_m
        x_m, y_m = np.meshgrid(*(np.arange(a, b + step_m, step_m) for a, b in zip(low, high, strict=True)))
        return np.column_stack([x_m.ravel(), y_m.ravel()])

    def _hold(self, obs: Observations) -> Self:
        self._obs = obs
        step = max(self._known.detail_m / STEPS_A_DETAIL, self._pixel_m / 2)
        readings = Readings(
            obs.xy, obs.value, self._variance(obs), obs.pass_id, self._away(obs),
            obs.lower, obs.upper, np.ones(len(obs)))
        while len(served := self._served(obs, step)) > MOST_CELLS:
            step *= 1.25
        tiles = cut_tiles(served, step, self._ranges(step), MOST_UNKNOWNS)
        first_step, lattice = step, tiles[0].lattice
        while len(tiles) > 1 or lattice.count > FIRST_UNKNOWNS:
            first_step *= 1.25
            lattice = lattice_for(served, first_step, self._ranges(first_step))
            if lattice.count <= FIRST_UNKNOWNS:
                break
        some, self._member = readings.merged(max(first_step / 2, 1e-3))
        self._first = self._final = FieldSolution(self._design(lattice, some.pass_id), some)
        self._final_member = self._member
        self._tiles: list[Tile] = tiles if len(tiles) > 1 else []
        self._step_m, self._readings = step, readings
        if first_step > step:
            believed = dataclasses.replace(readings, doubt=self._first.doubt[self._member])
            self._readings, self._final_member = believed.merged(step / 2)
            if not self._tiles:
                design = self._design(tiles[0].lattice, self._readings.pass_id)
                self._final = FieldSolution(design, self._readings, robust=False)
        return self

    def _design(self, lattice: Lattice, pass_id: NDArray[np.int32]) -> Design:
        passes = np.unique(pass_id[pass_id != NO_PASS]) if self._biased else np.empty(0, np.int32)
        nothing, usual = np.zeros(len(passes)), np.full(len(passes), self._known.bias_sd)
        return Design(self._parted(lattice), self._known, self._trend, passes, nothing, usual)

    def _parted(self, lattice: Lattice) -> Lattice:
        """The lattice with its links through land cut: two waters beside a causeway may differ."""
        shore = None if self._frame is None else shore_of(self._frame)
        return dataclasses.replace(lattice, shore=shore)

    def predict(self, xy: Floats) -> tuple[Floats, Floats]:
        """Mean and standard error (m,) at places (m, 2); NaN beyond the lattice."""
        xy = np.asarray(xy, dtype=np.float64).reshape(-1, 2)
        distance = self._shore.at(xy)
        mean, sd = self._blended(xy, distance)
        return mean, np.sqrt(sd**2 + self._unseen(distance))

    def _unseen(self, distance_m: Floats) -> Floats:
        """Variance of pixel means (m,) that no lattice shows: fine floor, and a rim that may lie elsewhere."""
        if self._obs.name != DEPTH:
            return np.zeros(len(distance_m))
        rim = OUTLINE_M * np.exp(-distance_m / OUTLINE_FADES_M) * self._trend.usual_slope(distance_m)
        return np.asarray(UNSEEN_SHARE * self._known.noise**2 + rim**2)

    def _blended(self, xy: Floats, distance: Floats) -> tuple[Floats, Floats]:
        if not self._tiles:
            return self._final.predict(xy, distance)
        total, mean, sd = np.zeros(len(xy)), np.zeros(len(xy)), np.zeros(len(xy))
        for tile in self._tiles:
            weight = tile.weight(xy)
            rows = np.flatnonzero(weight > 0)
            if len(rows):
                told = self._on_tile(tile, self._first, self._readings).predict(xy[rows], distance[rows])
                total[rows] += weight[rows]
                mean[rows] += weight[rows] * told[0]
                sd[rows] += weight[rows] * told[1]
        return mean / total, sd / total

    def _on_tile(self, tile: Tile, first: FieldSolution, readings: Readings) -> FieldSolution:
        """The readings in and around a tile, with trend and biases as the first solution has them."""
        some = readings.take(tile.holds(readings.xy))
        trend, trend_sd, bias = first.shared()
        # the same readings spoke once already: what they say twice must not count twice
        trend_sd, bias_sd = np.sqrt(2) * trend_sd, np.sqrt(2) * bias.sigma_m
        known = dataclasses.replace(self._trend, mean=trend, sd=trend_sd)
        design = Design(self._parted(tile.lattice), self._known, known, bias.pass_id, bias.bias_m, bias_sd)
        return FieldSolution(design, some, robust=False)

    def predict_held(
        self, obs: Observations, groups: Sequence[NDArray[np.int64]], asked: Sequence[NDArray[np.int64]]
    ) -> tuple[Floats, Floats]:
        """As for any interpolator, but several groups are held back at once, far apart by their order."""
        share = sum(len(rows) for rows in groups) / len(obs)
        folds = FOLDS if self._final is self._first and not self._tiles else int(np.ceil(share / MOST_HELD))
        folds = max(min(folds, len(groups)), 1)
        parts: list[tuple[Floats, Floats]] = [(np.empty(0), np.empty(0))] * len(groups)
        for fold in range(folds):
            mine = range(fold, len(groups), folds)
            rows = np.concatenate([asked[k] for k in mine])
            told = self._without(np.concatenate([groups[k] for k in mine]), obs.xy[rows])
            ends = np.cumsum([len(asked[k]) for k in mine])[:-1]
            for k, mean, sd in zip(mine, np.split(told[0], ends), np.split(told[1], ends), strict=True):
                parts[k] = (mean, np.sqrt(sd**2 + self._unseen(self._shore.at(obs.xy[asked[k]]))))
        estimate, sigma = (np.concatenate(column) for column in zip(*parts, strict=True))
        return estimate, sigma

    def _without(self, held: NDArray[np.int64], xy: Floats) -> tuple[Floats, Floats]:
        """Mean and standard error (m,) at places (m, 2) with the readings ``held`` left out. The finest lattice tells
        it, since a coarse one misses by its own coarseness too; in tiles some of them do, and the rest is NaN."""
        distance = self._shore.at(xy)
        if not self._tiles:
            return self._final.without(np.unique(self._final_member[held]), xy, distance)
        first = self._first.less(np.unique(self._member[held]))
        left = np.ones(len(self._readings), dtype=bool)
        left[self._final_member[held]] = False
        readings = self._readings.take(left)
        mean, sd = np.full(len(xy), np.nan), np.full(len(xy), np.nan)
        inside = [(tile, rows) for tile in self._tiles if len(rows := np.flatnonzero(tile.weight(xy) == 1.0))]
        for tile, rows in inside[:: max(1, -(-len(inside) // MOST_TILES_HELD))]:
            mean[rows], sd[rows] = self._on_tile(tile, first, readings).predict(xy[rows], distance[rows])
        return mean, sd

    def pass_bias(self) -> PassBias:
        """Bias of each pass, solved with the surface."""
        return self._final.shared()[2]

    def sample(self, xy: Floats, n: int, seed: int) -> Floats:
        """``n`` equally likely surfaces (n, m) at places (m, 2); of a lake in tiles without its finest detail."""
        return self._final.draws(xy, self._shore.at(xy), n, np.random.default_rng(seed))

    def own_variance(self, obs: Observations) -> Floats:
        """Variance (n,) of readings about the mean of their pixel, their pass's bias included."""
        bias = self._known.bias_sd**2 if self._biased else 0.0
        floor = UNSEEN_SHARE * self._known.noise**2 if obs.name == DEPTH else 0.0
        return np.asarray(self._variance(obs) - floor + bias)

    def expected_gamma(
        self, obs: Observations, first: NDArray[np.int64], second: NDArray[np.int64]
    ) -> Floats:
        """By trend, shapes and errors as they are taken to be before the readings are looked at one by one."""
        return prior_gamma(self._known, self._trend, Pairs(obs.xy, self._away(obs), obs.sigma, first, second))

    def facts(self) -> Mapping[str, float | str]:
        """Parameters by name, the lattice's step and unknowns."""
        unknowns = sum(tile.lattice.count for tile in self._tiles) or self._final.design.count
        return {**dataclasses.asdict(self._known), "step_m": self._step_m, "unknowns": float(unknowns),
                "tiles": float(max(len(self._tiles), 1))}
