"""How far magnetic north lies from true north at a lake, by a published model."""

from __future__ import annotations

from typing import Any

from pygeomag import GeoMag

MODEL = "wmm/WMM_2025.COF"
"""World Magnetic Model 2025 (NOAA NCEI and BGS, public domain), coefficients as they travel in pygeomag (MIT)."""

EPOCH, LAST = 2025.0, 2030.0
"""Years that the model is made for."""


def declination(lon_deg: float, lat_deg: float) -> dict[str, Any]:
    """Declination at the epoch [deg, east positive], its change [deg/year], model, and the years it holds for.

    The change is the mean over the model's years; over them it bends by far less than the model's own error (some
    0.4 degrees, more near the poles).
    """
    field = GeoMag(coefficients_file=MODEL)
    lon = (lon_deg + 180.0) % 360.0 - 180.0
    first, last = (field.calculate(glat=lat_deg, glon=lon, alt=0.0, time=year).d for year in (EPOCH, LAST - 0.01))
    change = (last - first + 180.0) % 360.0 - 180.0
    return {
        "model": str(field.model), "epoch": EPOCH, "last": LAST, "east_deg": round(float(first), 3),
        "per_year": round(float(change) / (LAST - 0.01 - EPOCH), 4),
    }
