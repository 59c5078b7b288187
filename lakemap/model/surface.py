"""A surface: estimate and its standard error on one frame, and how it was made."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lakemap.model.frame import Grid, GridFrame
from lakemap.model.soundings import PassBias

if TYPE_CHECKING:
    import xarray


@dataclass(frozen=True)
class LeftOut:
    """What holding back whole passes (or squares, ``by`` says which) showed; figures in the reading's unit.

    ``rmse`` and ``bias`` of estimate minus held-back reading; ``within_1_96``: share of held-back block means within
    1.96 standard errors (of the estimate and the block together); ``n`` blocks were predicted. ``reliability``: pairs
    of the share that should lie within so many standard errors, and the share that did. ``reading`` and ``estimate``
    (n,) are the pairs themselves, None where they were not kept.
    """

    by: str
    rmse: float
    bias: float
    within_1_96: float
    n: int
    reliability: tuple[tuple[float, float], ...] = ()
    reading: NDArray[np.float64] | None = field(default=None, compare=False, repr=False)
    estimate: NDArray[np.float64] | None = field(default=None, compare=False, repr=False)


@dataclass(frozen=True)
class VariogramTold:
    """For each lag class (k,): mean lag [m], half the mean squared difference of readings so far apart, what the fitted
    model expects it to be (NaN without a model), in the reading's unit squared, and how many pairs there were."""

    lag_m: NDArray[np.float64]
    gamma: NDArray[np.float64]
    expected: NDArray[np.float64]
    pairs: NDArray[np.int64]


@dataclass(frozen=True)
class Rival:
    """What one interpolator missed readings by that were held back from it; ``told`` is the share it could tell.

    ``rmse`` and ``bias``, in the reading's unit, are over the ``n`` readings that all contestants told; NaN where it
    told too few to be compared.
    """

    method: str
    rmse: float
    bias: float
    told: float
    n: int


@dataclass(frozen=True)
class Surface:
    """``estimate`` is the mean true value within each pixel, ``sigma`` the standard error of that mean.

    ``model`` is what was fitted, by name (nugget, partial_sill, range_m ... for kriging); ``share_drawn`` the share
    of water pixels that carry an estimate; ``rivals`` how the interpolators did against each other, where one was
    chosen. ``realisations`` (n, drawn pixels, row by row) are equally likely surfaces, None where none were asked for.
    """

    estimate: Grid
    sigma: Grid
    method: str
    model: Mapping[str, float | str]
    share_drawn: float
    left_out: LeftOut | None = None
    pass_bias: PassBias = field(default_factory=PassBias.none)
    messages: tuple[str, ...] = ()
    rivals: tuple[Rival, ...] = ()
    realisations: NDArray[np.float32] | None = None
    variogram: VariogramTold | None = field(default=None, compare=False, repr=False)

    def __post_init__(self) -> None:
        self.estimate.require_frame(self.sigma)

    def _repr_html_(self) -> str:
        from lakemap.model.notebook import surface_table

        return surface_table(self)

    @property
    def frame(self) -> GridFrame:
        """The frame that estimate and sigma share."""
        return self.estimate.frame

    def to_xarray(self) -> xarray.Dataset:
        """Estimate and sigma as CF-style variables with units, on x and y [m]."""
        from lakemap.model.frames import surface_dataset

        return surface_dataset(self)
