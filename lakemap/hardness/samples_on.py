"""Bottom samples on the working CRS, with those that lie on land or say nothing of grain size told apart."""

from __future__ import annotations

import dataclasses

import numpy as np
from pyproj import CRS

from lakemap.geo.crs import project
from lakemap.geo.shore import in_water, water_polygon
from lakemap.model.samples import BottomSamples
from lakemap.model.shoreline import Shoreline

SHORE_MARGIN_M = 15.0
"""Samples so far outside the outline still count: a dry look at low water, an outline's own error."""


def place_samples(samples: BottomSamples, crs: CRS | None, shore: Shoreline | None) -> BottomSamples:
    """The samples with places on ``crs``; those on land stay, out of use, each file with one line that says so."""
    if len(samples) == 0 or crs is None:
        return samples
    x_m, y_m = project(crs, samples.lon_deg, samples.lat_deg)
    placed = dataclasses.replace(samples, x_m=np.asarray(x_m), y_m=np.asarray(y_m))
    if shore is None:
        return placed
    wet = in_water(water_polygon(shore, crs), placed.x_m, placed.y_m, SHORE_MARGIN_M)
    said = []
    for name in dict.fromkeys(samples.source):
        mine = np.array([file == name for file in samples.source])
        dry = samples.line[mine & ~wet].tolist()
        if dry:
            more = f" and {len(dry) - 1} more" if len(dry) > 1 else ""
            said.append(f"{name}: bottom sample on land in line {dry[0]}{more}; not used, check its position")
    return dataclasses.replace(placed, use=placed.use & wet, messages=(*placed.messages, *said))
