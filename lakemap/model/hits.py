"""Hits: each row one observation of a thing that stands on the floor, hangs in the water, or was marked."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Self

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import geopandas

Floats = NDArray[np.float64]

FROM_MARK, FROM_RISE = 0, 1


@dataclass(frozen=True)
class Hits:
    """n hits. ``kind`` is a word of model/marks.py (a rise is ``cover``); ``origin`` FROM_MARK or FROM_RISE;
    ``depth_m`` of the floor below it and ``height_m`` above the floor, NaN where not known; ``confidence`` 0..1 that
    something is there; ``pings`` that showed it; ``pass_id`` -1 for marks; ``time_s`` as in Soundings, NaN unknown;
    ``note`` the owner's words, text only. ``noted_lon_deg, noted_lat_deg`` the place as first logged or noted, which
    no correction moves: names come from it; ``reach_m`` how far around it a look saw, for kind ``nothing``. Left out
    when built, these are NaN.
    """

    kind: NDArray[np.str_]
    origin: NDArray[np.int8]
    x_m: Floats
    y_m: Floats
    position_sigma_m: Floats
    depth_m: Floats
    height_m: Floats
    confidence: Floats
    pings: NDArray[np.int32]
    pass_id: NDArray[np.int32]
    time_s: Floats
    time_utc: NDArray[np.datetime64]
    note: NDArray[np.str_]
    noted_lon_deg: Floats = field(default_factory=lambda: np.empty(0))
    noted_lat_deg: Floats = field(default_factory=lambda: np.empty(0))
    reach_m: Floats = field(default_factory=lambda: np.empty(0))

    def __post_init__(self) -> None:
        for name in ("noted_lon_deg", "noted_lat_deg", "reach_m"):
            if not len(getattr(self, name)):
                object.__setattr__(self, name, np.full(len(self.x_m), np.nan))

    def __len__(self) -> int:
        return len(self.x_m)

    @classmethod
    def empty(cls) -> Self:
        """No hits."""
        none = np.empty(0)
        return cls(
            np.empty(0, "U16"), np.empty(0, np.int8), none, none, none, none, none, none,
            np.empty(0, np.int32), np.empty(0, np.int32), none, np.empty(0, "datetime64[ms]"), np.empty(0, "U1"),
        )

    def take(self, rows: NDArray[Any]) -> Self:
        """Some hits, by index or mask."""
        return type(self)(*(getattr(self, spec.name)[rows] for spec in dataclasses.fields(self)))

    def joined(self, other: Self) -> Self:
        """These hits and the others, one after the other."""
        names = [spec.name for spec in dataclasses.fields(self)]
        return type(self)(*(np.concatenate([getattr(self, name), getattr(other, name)]) for name in names))

    def to_geodataframe(self, crs: Any) -> geopandas.GeoDataFrame:
        """Every hit as a point on ``crs``."""
        import geopandas

        columns = {spec.name: getattr(self, spec.name) for spec in dataclasses.fields(self)}
        return geopandas.GeoDataFrame(columns, geometry=geopandas.points_from_xy(self.x_m, self.y_m), crs=crs)
