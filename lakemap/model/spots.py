"""Spots: clustered hits with their evidence, score and reasons."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Self

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import geopandas

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Spots:
    """k spots, best first once scored.

    ``name`` comes from the kind and the oldest hit, so that it stays when the lake grows; ``hits`` holds, for each
    spot, row numbers into Hits; position (x_m, y_m on the working CRS, and lon/lat) with its standard error;
    ``seen`` passes that showed it out of ``could_see`` that went over it; ``probability`` with its interval;
    ``last_seen``, of a shape of the floor last crossed, NaT where nothing is dated; ``score`` 0..1 and ``score_parts``
    (name -> (k,)), NaN before scoring; ``reasons`` plain sentences, ready for people except for lengths, which stand as
    ``{1.23 m}`` until publish/ writes them in the reader's unit.
    """

    name: tuple[str, ...]
    kind: tuple[str, ...]
    hits: tuple[NDArray[np.int64], ...]
    x_m: Floats
    y_m: Floats
    lon_deg: Floats
    lat_deg: Floats
    position_sigma_m: Floats
    depth_m: Floats
    depth_sigma_m: Floats
    height_m: Floats
    hardness: Floats
    seen: NDArray[np.int32]
    could_see: NDArray[np.int32]
    probability: Floats
    prob_low: Floats
    prob_high: Floats
    last_seen: NDArray[np.datetime64]
    score: Floats
    score_parts: Mapping[str, Floats] = field(default_factory=dict)
    reasons: tuple[tuple[str, ...], ...] = ()

    def __len__(self) -> int:
        return len(self.name)

    @classmethod
    def empty(cls) -> Self:
        """No spots."""
        none, count = np.empty(0), np.empty(0, np.int32)
        return cls(
            (), (), (), none, none, none, none, none, none, none, none, none, count, count,
            none, none, none, np.empty(0, "datetime64[ms]"), none,
        )

    def take(self, order: NDArray[Any]) -> Self:
        """Some spots, by index, in the order given."""
        def pick(value: Any) -> Any:
            if isinstance(value, Mapping):
                return {name: column[order] for name, column in value.items()}
            if isinstance(value, tuple):
                return tuple(value[i] for i in order) if value else ()
            return value[order]

        order = np.flatnonzero(order) if order.dtype == bool else order
        return type(self)(**{name: pick(getattr(self, name)) for name in self.__dataclass_fields__})

    def _repr_html_(self) -> str:
        from lakemap.model.notebook import spots_table

        return spots_table(self)

    def to_geodataframe(self) -> geopandas.GeoDataFrame:
        """Every spot as a point in WGS 84, with the fields of lake.gpkg's layer ``spots``."""
        from lakemap.model.frames import spots_frame

        return spots_frame(self)
