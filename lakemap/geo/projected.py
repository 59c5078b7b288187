"""Places on a CRS that the user names, as longitude and latitude on WGS 84; a shift that PROJ only guesses is none."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import pyproj
from numpy.typing import NDArray
from pyproj import CRS
from pyproj.aoi import AreaOfInterest
from pyproj.transformer import Transformer, TransformerGroup

from lakemap.errors import SettingError
from lakemap.geo.crs import WGS84

Floats = NDArray[np.float64]

NEAR_DEG = 0.1
"""Half the side of the square in which a transformation must hold: no lake of one map is far larger."""
EXACT_M = 0.01
"""A shift of datum said to be better than this needs no word."""


@dataclass(frozen=True)
class GivenCrs:
    """A CRS by the user's word; ``unit`` of its axes (``m``, ``ft``, or ``deg`` for longitude and latitude)."""

    text: str
    crs: CRS

    @classmethod
    def of(cls, text: str) -> GivenCrs:
        """By code (``EPSG:26915``) or WKT. Raises SettingError for what is none, or has no place on the earth."""
        try:
            crs = CRS.from_user_input(text).to_2d()
        except pyproj.exceptions.CRSError:
            raise SettingError(f"read.crs = {text!r}: no such CRS; give a code such as EPSG:32632 or its WKT") from None
        if not (crs.is_projected or crs.is_geographic):
            raise SettingError(f"read.crs = {text!r}: neither projected nor geographic ({crs.type_name}); give the CRS "
                               "of the positions, such as EPSG:32632")
        return cls(text if len(text) < 40 else crs.name, crs)

    @property
    def is_degrees(self) -> bool:
        """Whether its coordinates are longitude and latitude."""
        return bool(self.crs.is_geographic)

    @property
    def unit(self) -> str:
        """``deg``, ``m`` or ``ft``; any other unit by its name."""
        name = str(self.crs.axis_info[0].unit_name)
        return "deg" if self.is_degrees else {"metre": "m"}.get(name, "ft" if "foot" in name else name)

    def on_wgs84(self, x: Floats, y: Floats) -> tuple[Floats, Floats, str]:
        """x, y (n,) in the order east, north as longitude and latitude [deg], NaN where there is no such place, and
        a word on the shift of datum. Raises SettingError where PROJ lacks the grid for it."""
        found = transformer_for(self.crs, self.text, centre_of(x, y))
        lon, lat = found.transform(x, y)
        lon, lat = (np.where(np.isfinite(lon + lat), values, np.nan) for values in (lon, lat))
        worth = found.accuracy
        said = f"{self.text}: turned into WGS 84 by PROJ, which gives an error of {worth:g} m"
        return lon, lat, said if worth > EXACT_M else ""


def centre_of(x: Floats, y: Floats) -> tuple[float, float] | None:
    """The median place, None where there is none."""
    good = np.isfinite(x) & np.isfinite(y)
    return (float(np.median(x[good])), float(np.median(y[good]))) if good.any() else None


@lru_cache(maxsize=8)
def transformer_for(crs: CRS, text: str, at: tuple[float, float] | None) -> Transformer:
    """The most accurate transformation to WGS 84 that PROJ can do around the place ``at``.

    Raises SettingError where nothing but a ballpark is left because a grid is not there; the grid is named.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        near: Any = _around(crs, at)
        group = TransformerGroup(crs, WGS84, always_xy=True, allow_ballpark=False, area_of_interest=near)
    usable = [found for found in group.transformers if at is None or np.isfinite(found.transform(*at)).all()]
    if usable:
        return min(usable, key=lambda found: found.accuracy if found.accuracy >= 0 else np.inf)
    grids = sorted({grid.short_name for operation in group.unavailable_operations for grid in operation.grids
                    if not grid.available})
    lacks = f"PROJ lacks the grid {' or '.join(grids[:3])}" if grids else "PROJ knows no way from its datum to WGS 84"
    raise SettingError(
        f"read.crs = {text!r}: {lacks}, and without it positions may be off by a hundred metres; "
        "put the grid into PROJ's data folder, or convert the positions to WGS 84"
    )


def _around(crs: CRS, at: tuple[float, float] | None) -> AreaOfInterest | None:
    """The neighbourhood of a place, in degrees of the CRS's own datum."""
    own = crs.geodetic_crs
    if at is None or own is None:
        return None
    lon, lat = Transformer.from_crs(crs, own, always_xy=True).transform(*at)
    if not np.isfinite(lon + lat):
        return None
    return AreaOfInterest(lon - NEAR_DEG, lat - NEAR_DEG, lon + NEAR_DEG, lat + NEAR_DEG)
