"""From the latest profile to what is told of the water, and how much of the bottom lies in water that suits."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any

import numpy as np
import rasterio.features
import shapely
from numpy.typing import NDArray

from lakemap.geo.crs import unproject
from lakemap.model.frame import Grid
from lakemap.model.lake_facts import Cast, WaterProfile
from lakemap.model.surface import Surface
from lakemap.model.water import NO_DAY, Water
from lakemap.physics.oxygen import oxygen_saturation_mgl
from lakemap.units import length_slot
from lakemap.water.band import Bands, suitable_bands
from lakemap.water.settings import WaterSettings
from lakemap.water.thermocline import layers_of

Floats = NDArray[np.float64]

AUTUMN = {9, 10, 11, 12}
"""Months in which lakes north of the tropics cool until they are mixed (common knowledge of the trade, no source)."""
AUTUMN_FROM_DEG = 23.5
OVERFULL = 1.5
"""Oxygen beyond this many times saturation is a fault of the probe, or of its unit, more often than of the lake."""


def describe_water(
    profile: WaterProfile | None, depth: Surface, settings: WaterSettings, newest: np.datetime64 = NO_DAY
) -> Water | None:
    """Layers and suitable bands of the latest cast, and the bottom within them; None without a profile.

    Depths count from that day's surface, as the depths of the map do from theirs. ``newest`` is the time of the newest
    sounding (NaT: not known): a profile that had run out by then is told to count no longer, and nothing is told of
    the bottom by it.
    """
    if profile is None or not profile.casts:
        return None
    cast = max(profile.casts, key=lambda one: (np.nan_to_num(one.time_s, nan=-np.inf), len(one.depth_m)))
    layers = layers_of(cast.depth_m, cast.temperature_c)
    layers = layers if layers is not None and layers.strong else None
    day, until = _days(cast, settings)
    oxygen = cast.oxygen_mgl if cast.oxygen_mgl is not None else np.full(len(cast.depth_m), np.nan)
    bands = suitable_bands(cast.depth_m, cast.temperature_c, oxygen, settings) if settings.seeks else None
    known = Water(
        day=day, until=until, deepest_m=float(cast.depth_m[-1]),
        thermocline_m=layers.thermocline_m if layers else None, top_m=layers.top_m if layers else None,
        bottom_m=layers.bottom_m if layers else None, bands=bands, newest=newest.astype("datetime64[D]"),
    )
    share, told = None, known
    if bands is not None and known.counts:
        bottom, share = _bottom_within(bands, depth, known.deepest_m)
        told = dataclasses.replace(known, share=share, bottom=bottom, outline=_outline(bottom))
    return dataclasses.replace(told, messages=(
        *profile.messages, *_said(told), *_aged(told, depth), *_oxygen_said(cast)))


def _days(cast: Cast, settings: WaterSettings) -> tuple[np.datetime64, np.datetime64]:
    if not np.isfinite(cast.time_s):
        return np.datetime64("NaT", "D"), np.datetime64("NaT", "D")
    day = np.datetime64(int(cast.time_s), "s").astype("datetime64[D]")
    return day, day + np.timedelta64(round(settings.holds_days), "D")


def _bottom_within(bands: Bands, depth: Surface, deepest_m: float) -> tuple[Grid, float | None]:
    """1 where the floor lies in a band, 0 elsewhere, NaN below the profile's end; and the share of 1 among the rest."""
    floor = depth.estimate.values
    inside = np.zeros(floor.shape, dtype=bool)
    for top, bottom in bands:
        inside |= (floor >= top) & (floor <= bottom)
    known = np.isfinite(floor) & (floor <= deepest_m)
    values = np.where(known, inside, np.nan).astype(np.float32)
    return Grid(depth.frame, values, "water_suits", "1"), float(inside[known].mean()) if known.any() else None


def _outline(bottom: Grid) -> Sequence[Any]:
    """Polygons of the bottom that suits, largest first."""
    suits = bottom.values == 1
    shapes = rasterio.features.shapes(suits.astype(np.uint8), mask=suits, transform=bottom.frame.transform)
    parts = [shapely.geometry.shape(outline) for outline, _ in shapes]
    return sorted(parts, key=lambda part: (-part.area, part.bounds))


def _said(water: Water) -> list[str]:
    """Layers and bands in words; in the past tense where the profile no longer counts."""
    undated = "profile without a date: nobody knows how long it counts"
    counts = "counts" if water.counts else "counted"
    dated = undated if np.isnat(water.day) else f"profile of {water.day}, {counts} until {water.until}"
    deepest = length_slot(water.deepest_m)
    if water.thermocline_m is None or water.top_m is None or water.bottom_m is None:
        told = [f"water ({dated}): mixed down to {deepest}, or layered too weakly to hold: no thermocline"]
    else:
        told = [f"water ({dated}): thermocline at {length_slot(water.thermocline_m)}, its layer from "
                f"{length_slot(water.top_m)} to {length_slot(water.bottom_m)}"]
    suits = "suits" if water.counts else "suited"
    if water.bands is not None and not water.bands:
        told.append(f"no water down to {deepest} {suits} what was asked for")
    elif water.bands:
        ranges = ", ".join(f"{length_slot(top)} to {length_slot(bottom)}" for top, bottom in water.bands)
        part = "" if water.share is None else f"; {water.share:.0%} of the mapped bottom down to {deepest} lies in it"
        told.append(f"water that {suits}: {ranges}{part}")
    return told


def _aged(water: Water, depth: Surface) -> list[str]:
    if np.isnat(water.day):
        return []
    told = []
    if not water.counts:
        told.append(f"the newest log is of {water.newest}, when the profile of {water.day} no longer counted: what it "
                    "says of the water is of its own day, and no spot is judged by it; take a new one")
    elif water.thermocline_m is not None and _turns_over(water.day, water.until, depth):
        told.append(f"autumn is when layered water cools and turns over: the profile of {water.day} counts only until "
                    "the lake is mixed, which may be any day")
    return told


def _turns_over(day: np.datetime64, until: np.datetime64, depth: Surface) -> bool:
    """Whether any day that a profile counts lies in the lake's autumn; never within AUTUMN_FROM_DEG of the equator."""
    west, south, east, north = depth.frame.bounds
    _, lat = unproject(depth.frame.crs, (west + east) / 2, (south + north) / 2)
    months = set((np.arange(day, until + 1).astype("datetime64[M]").astype(int) % 12 + 1).tolist())
    autumn = AUTUMN if lat > 0 else {(month + 5) % 12 + 1 for month in AUTUMN}
    return abs(float(lat)) >= AUTUMN_FROM_DEG and bool(months & autumn)


def _oxygen_said(cast: Cast) -> list[str]:
    if cast.oxygen_mgl is None:
        return []
    share = cast.oxygen_mgl / oxygen_saturation_mgl(cast.temperature_c)
    most, least = float(np.nanmax(share)), float(np.nanmin(share))
    told = [f"oxygen from {least:.0%} to {most:.0%} of what water of its temperature holds at sea level"]
    if most > OVERFULL:
        told.append(f"oxygen of {most:.0%} saturation is more than lakes hold: check the probe, and that its unit is "
                    "mg/L")
    return told
