"""Places where two passes meet."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Crossovers:
    """k meetings of two passes: row numbers into Soundings (k,), place (k,), and depth of ``a`` minus depth of ``b``.

    ``sigma_m`` is the standard error of that difference, from both depths' errors and the floor's slope
    times the position error.
    """

    row_a: NDArray[np.int64]
    row_b: NDArray[np.int64]
    pass_a: NDArray[np.int32]
    pass_b: NDArray[np.int32]
    x_m: Floats
    y_m: Floats
    difference_m: Floats
    sigma_m: Floats

    def __len__(self) -> int:
        return len(self.difference_m)

    def take(self, which: NDArray[Any]) -> Self:
        """Some of them, by index or mask."""
        return type(self)(**{spec.name: getattr(self, spec.name)[which] for spec in fields(self)})

    @property
    def median_abs_m(self) -> float:
        """Median absolute difference [m]; NaN without crossovers."""
        return float(np.median(np.abs(self.difference_m))) if len(self) else float("nan")

    @property
    def rms_m(self) -> float:
        """Root mean square difference [m]; NaN without crossovers."""
        return float(np.sqrt(np.mean(self.difference_m**2))) if len(self) else float("nan")
