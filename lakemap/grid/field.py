"""The field interpolator: trend from the shore, rough shape, short detail and pass biases in one sparse solution."""

from __future__ import annotations

import copy
import dataclasses
from collections.abc import Mapping, Sequence
from typing import ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from lakemap.geo.pass_bias import PRIOR_SIGMA_M
from lakemap.grid.field_lattice import Lattice, lattice_for
from lakemap.grid.field_model import DEPTH_NOISE, FieldParameters, Trend, cascade_ranges
from lakemap.grid.field_parameters import Prior, Sample, fit_parameters, pick
from lakemap.grid.field_solution import FieldSolution, Readings
from lakemap.grid.field_system import Design
from lakemap.grid.field_weights import plain_start
from lakemap.grid.interpolator import Interpolator
from lakemap.grid.settings import GridSettings
from lakemap.grid.shore_distance import ShoreDistance
from lakemap.model.frame import GridFrame
from lakemap.model.observations import Observations
from lakemap.model.soundings import NO_PASS, PassBias

Floats = NDArray[np.float64]

DEPTH = "depth_m"
STEPS_A_DETAIL = 6
"""Lattice steps in the range of the short detail (tried: finer costs more and gains less than 1 %)."""
FOLDS = 8
"""Groups held back are shared out over so many solutions."""
MOST_UNKNOWNS = 160_000
"""Nodes solved at once; a lake that needs more gets a coarser lattice."""
USUAL_NOISE = 0.07
"""Noise of a depth besides its own error, before anything is known [m]; for other readings a tenth of their spread."""


class FieldInterpolator(Interpolator):
    """Gauss-Markov fields on lattices; the shore shapes the trend and is no reading."""

    name: ClassVar[str] = "field"
    solves_bias: ClassVar[bool] = True

    def __init__(self, pixel_m: float = 1.0, shore_zero: bool = False, bias_sd: float = 0.0,
                 parameters: FieldParameters | None = None) -> None:
        self._pixel_m, self._shore_zero, self._bias_sd = pixel_m, shore_zero, bias_sd
        self.parameters = parameters
        self._frame: GridFrame | None = None
        self._shore = ShoreDistance(None)

    @classmethod
    def for_grid(cls, settings: GridSettings, pixel_m: float, pass_bias: PassBias) -> Self:
        """``pass_bias`` says only whether passes have biases at all; they are solved here."""
        return cls(pixel_m, settings.shore_depth == "zero", PRIOR_SIGMA_M if len(pass_bias.pass_id) else 0.0)

    def on_frame(self, frame: GridFrame) -> Self:
        """A copy that knows where water and shore are."""
        other = copy.copy(self)
        other._frame = frame
        return other

    def fit(self, obs: Observations) -> Self:
        """Parameters by likelihood unless they were given; then the readings as data."""
        depth = obs.name == DEPTH
        if depth and self._frame is not None:
            self._shore = ShoreDistance(self._frame)
        self._share = DEPTH_NOISE if depth else 0.0
        spread = max(float(np.std(obs.value)), 1e-3)
        typical = float(np.mean(obs.value))
        self._trend = (Trend.of_depth(typical, self._shore.widest_m, self._shore_zero) if self._shore.known
                       else Trend.constant(typical, spread))
        if self.parameters is None:
            self.parameters = self._learn(obs, spread)
        self._lattice = self._lattice_of(obs)
        self.reach_m = float("inf")
        return self._hold(obs)

    def with_data(self, obs: Observations) -> Self:
        """A copy with the same parameters and other readings."""
        return copy.copy(self)._hold(obs)

    def _noise(self, obs: Observations) -> Floats:
        """Error of each reading (n,) but for the noise of all: its own, and a share of its depth."""
        return np.hypot(obs.sigma, self._share * obs.value)

    def _learn(self, obs: Observations, spread: float) -> FieldParameters:
        plain = plain_start(obs.xy, obs.value, obs.sigma) & np.isnan(obs.lower) & np.isnan(obs.upper)
        kept = obs.take(plain) if plain.any() else obs
        some = kept.take(pick(kept.xy))
        sample = Sample(some.xy, some.value, self._noise(some), some.pass_id, self._shore.at(some.xy))
        extent = float(np.hypot(*np.ptp(obs.xy, axis=0))) or 100.0
        if self._frame is not None and self._frame.shore_known:
            extent = float(np.sqrt(self._frame.water.sum())) * self._pixel_m
        noise = USUAL_NOISE if obs.name == DEPTH else 0.1 * spread
        prior = Prior.usual(spread, extent, self._shore.widest_m, noise)
        return fit_parameters(sample, self._trend, prior, self._bias_sd)

    def _lattice_of(self, obs: Observations) -> Lattice:
        assert self.parameters is not None
        p = self.parameters
        step = max(p.detail_m / STEPS_A_DETAIL, self._pixel_m / 2)
        served = [obs.xy] + ([self._frame.water_xy()] if self._frame is not None else [])
        xy = np.concatenate(served)
        while True:
            ranges = tuple(max(r, 2 * step) for r in (*cascade_ranges(p.rough_m), p.detail_m))
            lattice = lattice_for(xy, step, ranges)
            if lattice.count <= MOST_UNKNOWNS:
                return lattice
            step *= 1.2

    def _hold(self, obs: Observations) -> Self:
        assert self.parameters is not None
        passes = np.unique(obs.pass_id[obs.pass_id != NO_PASS]) if self._bias_sd > 0 else np.empty(0, np.int32)
        expected = np.zeros(len(passes)), np.full(len(passes), self._bias_sd)
        design = Design(self._lattice, self.parameters, self._trend, passes, *expected)
        variance = self._noise(obs) ** 2 + self.parameters.noise**2
        readings = Readings(obs.xy, obs.value, variance, obs.pass_id, self._shore.at(obs.xy), obs.lower, obs.upper)
        self._solution = FieldSolution(design, readings)
        return self

    def predict(self, xy: Floats) -> tuple[Floats, Floats]:
        """Mean and standard error (m,) at places (m, 2)."""
        return self._solution.predict(xy, self._shore.at(xy))

    def predict_held(
        self, obs: Observations, groups: Sequence[NDArray[np.int64]], asked: Sequence[NDArray[np.int64]]
    ) -> tuple[Floats, Floats]:
        """As for any interpolator, but several groups are held back at once, far apart by their order."""
        folds = min(FOLDS, len(groups))
        parts: list[tuple[Floats, Floats]] = [(np.empty(0), np.empty(0))] * len(groups)
        for fold in range(folds):
            mine = range(fold, len(groups), folds)
            told = self._solution.without([groups[k] for k in mine], [asked[k] for k in mine])
            for k, part in zip(mine, told, strict=True):
                parts[k] = part
        estimate, sigma = (np.concatenate(column) for column in zip(*parts, strict=True))
        return estimate, sigma

    def pass_bias(self) -> PassBias:
        """Bias of each pass, solved with the surface."""
        return self._solution.pass_bias()

    def own_variance(self, obs: Observations) -> Floats:
        """Variance (n,) of readings about the mean of their pixel, their pass's bias included."""
        assert self.parameters is not None
        return np.asarray(self._noise(obs) ** 2 + self.parameters.noise**2 + self._bias_sd**2)

    def facts(self) -> Mapping[str, float | str]:
        """Parameters by name, the lattice's step and unknowns."""
        assert self.parameters is not None
        return {**dataclasses.asdict(self.parameters), "step_m": self._lattice.step_m,
                "unknowns": float(self._solution.design.count)}
