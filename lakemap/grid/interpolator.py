"""The contract of all interpolators; grid/nearest.py is the shortest one."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from typing import ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from lakemap.grid.settings import GridSettings
from lakemap.model.frame import GridFrame
from lakemap.model.observations import Observations
from lakemap.model.soundings import PassBias

Floats = NDArray[np.float64]


class Interpolator(ABC):
    """Learn from readings, then tell value and standard error anywhere.

    ``name`` is the word of the setting ``grid.method``. The estimate is the mean true value within a pixel of the
    side that ``for_grid`` was given, the standard error is that of this mean. ``reach_m``, known after ``fit``, is how
    far from a reading something can still be said.
    """

    name: ClassVar[str]
    solves_bias: ClassVar[bool] = False
    """Whether pass biases are solved with the surface; else they are subtracted beforehand."""
    reach_m: float

    @classmethod
    @abstractmethod
    def for_grid(cls, settings: GridSettings, pixel_m: float, pass_bias: PassBias) -> Self:
        """One that estimates pixel means; ``pass_bias.sigma_m`` is the error that all readings of a pass share."""

    def on_frame(self, frame: GridFrame) -> Self:
        """One that knows where water and shore are, for those that ask; called before ``fit``."""
        return self

    @abstractmethod
    def fit(self, obs: Observations) -> Self:
        """Learn parameters from readings (n of them, n >= 1) and keep them as data."""

    def fit_to_compete(self, obs: Observations) -> Self:
        """As ``fit``, but only as far as ``predict_held`` needs for its estimates; its errors may be NaN."""
        return self.fit(obs)

    @abstractmethod
    def with_data(self, obs: Observations) -> Self:
        """A copy with the parameters learnt but other readings as data, for leaving some out."""

    @abstractmethod
    def predict(self, xy: Floats) -> tuple[Floats, Floats]:
        """Estimate and standard error (m,) at pixel centres ``xy`` (m, 2); NaN where nothing can be said."""

    def predict_held(
        self, obs: Observations, groups: Sequence[NDArray[np.int64]], asked: Sequence[NDArray[np.int64]]
    ) -> tuple[Floats, Floats]:
        """Estimate and standard error at the readings ``asked`` of each group of rows, from the rows outside the group
        (parameters stay); all groups one after the other."""
        parts = []
        for held, wanted in zip(groups, asked, strict=True):
            rest = np.ones(len(obs), dtype=bool)
            rest[held] = False
            parts.append(self.with_data(obs.take(rest)).predict(obs.xy[wanted]))
        estimate, sigma = (np.concatenate(column) for column in zip(*parts, strict=True))
        return estimate, sigma

    def sample(self, xy: Floats, n: int, seed: int) -> Floats:
        """``n`` equally likely surfaces (n, m) at places (m, 2); none (0, m) from an interpolator that cannot draw."""
        return np.empty((0, len(xy)))

    def pass_bias(self) -> PassBias:
        """The biases solved, after ``fit``; none where ``solves_bias`` is False."""
        return PassBias.none()

    def own_variance(self, obs: Observations) -> Floats:
        """Error variance (n,) of readings that ``predict`` does not count in its standard error; none here."""
        return np.zeros(len(obs))

    def expected_gamma(
        self, obs: Observations, first: NDArray[np.int64], second: NDArray[np.int64]
    ) -> Floats:
        """Half the squared difference (k,) that the fitted model expects between the readings in rows ``first`` and
        ``second`` (k,), their own errors included; NaN from an interpolator without a model."""
        return np.full(len(first), np.nan)

    def facts(self) -> Mapping[str, float | str]:
        """What was learnt, by name."""
        return {}
