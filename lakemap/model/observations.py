"""What interpolators see, whatever the reading."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Observations:
    """n readings of one quantity on a metric plane.

    ``xy`` (n, 2) [m]; ``value`` and its standard error ``sigma`` (n,) in the quantity's unit; ``pass_id`` (n,), -1
    without; ``rise`` (n,) marks readings that may be cover and weigh less in the floor; ``lower`` and ``upper`` (n,)
    bound a censored reading and are NaN elsewhere. ``shared`` (n,) is the part of sigma that readings seconds apart
    share, NaN where it is not known; None where nothing is known of it. ``beam_deg`` (n,) likewise: the full width of
    the beam that heard a depth.
    """

    name: str
    xy: Floats
    value: Floats
    sigma: Floats
    pass_id: NDArray[np.int32]
    rise: NDArray[np.bool_]
    lower: Floats
    upper: Floats
    has_time: bool = True
    shared: Floats | None = None
    beam_deg: Floats | None = None

    @classmethod
    def of(cls, name: str, xy: Any, value: Any, sigma: Any = 0.0, pass_id: Any = -1) -> Self:
        """Readings from plain arrays; sigma and pass_id may be one number for all."""
        value = np.asarray(value, dtype=np.float64)
        nan = np.full(value.shape, np.nan)
        return cls(
            name=name, xy=np.asarray(xy, dtype=np.float64).reshape(-1, 2), value=value,
            sigma=np.broadcast_to(np.asarray(sigma, dtype=np.float64), value.shape).copy(),
            pass_id=np.broadcast_to(np.asarray(pass_id, dtype=np.int32), value.shape).copy(),
            rise=np.zeros(value.shape, dtype=bool), lower=nan, upper=nan.copy(),
        )

    def __len__(self) -> int:
        return len(self.value)

    def take(self, rows: NDArray[Any]) -> Observations:
        """Some readings, by index or mask."""
        return Observations(
            self.name, self.xy[rows], self.value[rows], self.sigma[rows], self.pass_id[rows], self.rise[rows],
            self.lower[rows], self.upper[rows], self.has_time,
            None if self.shared is None else self.shared[rows], None if self.beam_deg is None else self.beam_deg[rows],
        )
