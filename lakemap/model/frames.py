"""Our columns as GeoDataFrames and xarray datasets: the public door, nothing inside uses it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from lakemap.model.soundings import COLUMN_DTYPES, Soundings
from lakemap.units import fill_lengths

if TYPE_CHECKING:
    import geopandas
    import xarray

    from lakemap.model.spots import Spots
    from lakemap.model.surface import Surface

WGS84 = "EPSG:4326"

SPOT_NUMBERS = (
    "probability", "prob_low", "prob_high", "lon_deg", "lat_deg", "position_sigma_m", "depth_m", "depth_sigma_m",
    "hardness", "seen", "could_see",
)



def soundings_frame(soundings: Soundings) -> geopandas.GeoDataFrame:
    """One row a sounding, every column, points in WGS 84."""
    import geopandas

    columns: dict[str, Any] = {name: getattr(soundings, name) for name in COLUMN_DTYPES}
    columns["log"] = np.array([facts.name for facts in soundings.logs] or [""])[soundings.log]
    points = geopandas.points_from_xy(soundings.lon_deg, soundings.lat_deg)
    return geopandas.GeoDataFrame(columns, geometry=points, crs=WGS84)


def spots_frame(spots: Spots, unit: str = "m") -> geopandas.GeoDataFrame:
    """One row a spot, fields as in lake.gpkg, points in WGS 84; lengths in the reasons are written in ``unit``."""
    import geopandas

    columns: dict[str, Any] = {"name": list(spots.name), "kind": list(spots.kind)}
    columns |= {name: getattr(spots, name) for name in SPOT_NUMBERS}
    columns |= {"last_seen": spots.last_seen, "score": spots.score}
    columns |= {f"score_{part}": values for part, values in spots.score_parts.items()}
    columns["reasons"] = [fill_lengths(" ".join(said), unit) for said in spots.reasons] or [""] * len(spots)
    points = geopandas.points_from_xy(spots.lon_deg, spots.lat_deg)
    return geopandas.GeoDataFrame(columns, geometry=points, crs=WGS84)


def surface_dataset(surface: Surface) -> xarray.Dataset:
    """Estimate and sigma on x and y [m], with units and the CRS in CF's grid-mapping form."""
    import xarray

    x_m, y_m = surface.frame.centres()
    variables: dict[str, Any] = {}
    for grid in (surface.estimate, surface.sigma):
        attributes = {"units": grid.unit, "long_name": grid.name, "grid_mapping": "crs"}
        if grid.name == "depth_m":
            attributes["positive"] = "down"
        variables[grid.name] = (("y", "x"), grid.values, attributes)
    variables["crs"] = ((), np.int32(0), surface.frame.crs.to_cf())
    axes = {
        "x": ("x", x_m, {"units": "m", "standard_name": "projection_x_coordinate", "axis": "X"}),
        "y": ("y", y_m, {"units": "m", "standard_name": "projection_y_coordinate", "axis": "Y"}),
    }
    return xarray.Dataset(variables, coords=axes, attrs={"Conventions": "CF-1.11", "method": surface.method})
