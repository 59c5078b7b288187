"""Everything the page knows, as one JSON object; lengths stay in metres, the page writes the reader's unit."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from lakemap.model.frame import Grid
from lakemap.model.lake_map import LakeMap
from lakemap.model.spots import Spots
from lakemap.physics.reflection import HARD_AT_LOSS_DB, SOFT_AT_LOSS_DB, hardness_index
from lakemap.publish.html_map import lines
from lakemap.publish.html_map.colours import RAMPS, ramp
from lakemap.publish.html_map.drawn import drawn
from lakemap.publish.html_map.packing import coarsening, coarser, pack
from lakemap.publish.html_map.placing import place_on_mercator, unwrapped_lonlat
from lakemap.publish.html_map.sections import sections
from lakemap.publish.html_map.sureness import (
    FAIR_WITHIN,
    HARDNESS_SURE,
    HARDNESS_UNKNOWN,
    SURE_WITHIN,
    TWO_SIDED_95,
    shares,
)
from lakemap.publish.magnetic import declination

QUANTA = {"depth": 0.01, "depth_sigma": 0.01, "hardness": 0.005, "hardness_sigma": 0.005, "slope": 0.1}
"""Steps of the embedded values [m, m, 1, 1, degrees]: each far below the error of what it carries."""

TAILS = (0.0, 0.002, 0.01, 0.25)
"""Shares of the values that a scale or a step may leave out on either side."""

CLASS_QUANTUM = 0.02
"""Step of the probabilities of the bottom's classes."""


def contents(lake_map: LakeMap, unit: str, pass_tolerance_m: float = 1.0) -> dict[str, Any]:
    """What the page shows of a lake, starting in ``unit`` (m or ft)."""
    depth = lake_map.depth
    soundings = lake_map.soundings
    return {
        "name": lake_map.name, "unit": unit,
        "sure": {
            "shares": shares(depth.estimate.values, depth.sigma.values), "within": SURE_WITHIN, "fair": FAIR_WITHIN,
            "factor": TWO_SIDED_95, "hardness": [HARDNESS_SURE, HARDNESS_UNKNOWN],
        },
        "common": {"offset_m": soundings.common_offset_m, "scale": soundings.common_scale},
        "datum": soundings.datum,
        "hard": hardness_words(lake_map),
        "bounds": bounds(depth.estimate),
        "grid": grids(lake_map),
        "ramps": {name: ramp(name) for name in RAMPS},
        "contour_m": lake_map.settings.get("publish", {}).get("contour_m"),
        "relief_error_m": relief_error_m(lake_map),
        "bottom": bottom(lake_map), "water": water(lake_map), "drawn": drawn(lake_map),
        "magnetic": magnetic(depth.estimate),
        "passes": lines.passes(lake_map, pass_tolerance_m),
        "features": lines.features(lake_map), "shore": lines.shore(lake_map),
        "spots": [
            spot | {"passes": over} for spot, over in zip(spots(lake_map.spots), sections(lake_map), strict=True)
        ],
    }


def grids(lake_map: LakeMap) -> dict[str, Any]:
    """The frame's place and the packed grids; ``hardness`` is left out where nothing speaks of it."""
    frame = lake_map.depth.frame
    factor = coarsening(frame.shape)
    layers = {
        "depth": lake_map.depth.estimate, "depth_sigma": lake_map.depth.sigma, "slope": lake_map.terrain.slope,
    }
    if lake_map.hardness is not None:
        layers |= {"hardness": lake_map.hardness.estimate, "hardness_sigma": lake_map.hardness.sigma}
    if lake_map.bottom is not None:
        # the last class is what the others leave of 1
        layers |= {f"class_{k}": grid for k, grid in enumerate(lake_map.bottom.probability[:-1])}
    packed = {
        name: pack(coarser(grid.values, factor), QUANTA.get(name, CLASS_QUANTUM)) for name, grid in layers.items()
    }
    for name in ("depth", "slope"):
        packed[name]["range"] = spread(layers[name].values)
    return {
        "rows": -(-frame.shape[0] // factor), "columns": -(-frame.shape[1] // factor), "factor": factor,
        "pixel_m": frame.pixel_m * factor, "place": place_on_mercator(frame),
        "layers": packed,
    }


def spread(values: NDArray[np.floating[Any]]) -> dict[str, list[float]] | None:
    """What all but the outer share on either side reach, for each share in TAILS; None where nothing is known."""
    known = values[np.isfinite(values)].astype(np.float64)
    if not len(known):
        return None
    ends = {tail: np.quantile(known, [tail, 1 - tail]) for tail in TAILS}
    return {f"{tail:g}": [round(float(end), 4) for end in both] for tail, both in ends.items()}


def bounds(depth: Grid) -> list[list[float]]:
    """South-west and north-east corner of what is drawn as latitude, longitude [deg]; of the frame when nothing is."""
    frame = depth.frame
    rows, columns = np.nonzero(np.isfinite(depth.values))
    if not len(rows):
        rows, columns = (np.array([0, side - 1]) for side in frame.shape)
    left, _, _, top = frame.bounds
    west, east = left + columns.min() * frame.pixel_m, left + (columns.max() + 1) * frame.pixel_m
    north, south = top - rows.min() * frame.pixel_m, top - (rows.max() + 1) * frame.pixel_m
    lon, lat = unwrapped_lonlat(frame, np.array([west, west, east, east]), np.array([south, north, south, north]))
    return [[round(float(lat.min()), 7), round(float(lon.min()), 7)],
            [round(float(lat.max()), 7), round(float(lon.max()), 7)]]


def hardness_words(lake_map: LakeMap) -> list[float]:
    """Hardness below which the floor is called soft, and from which it is called hard; settings are in dB of loss."""
    used = lake_map.settings.get("hardness", {})
    loss_db = np.array([used.get("soft_at", SOFT_AT_LOSS_DB), used.get("hard_at", HARD_AT_LOSS_DB)])
    return [round(float(value), 4) for value in hardness_index(loss_db)]


def bottom(lake_map: LakeMap) -> dict[str, Any] | None:
    """Names of the bottom's classes, softest first, and what their scale rests on; None where nothing is known."""
    told = lake_map.bottom
    return None if told is None else {"classes": list(told.classes), "scale": told.scale}


def water(lake_map: LakeMap) -> dict[str, Any] | None:
    """Depths that suit on the profile's day [m] and until when they count; None where nothing was asked for,
    and where they no longer counted on the day of the newest log."""
    told = lake_map.water
    if told is None or told.bands is None or not told.counts:
        return None
    return {"bands": [[round(float(end), 2) for end in band] for band in told.bands], "day": lines.day_of(told.day),
            "until": lines.day_of(told.until), "deepest_m": round(float(told.deepest_m), 2)}


def relief_error_m(lake_map: LakeMap) -> float:
    """Two typical standard errors of a depth [m]: contours closer than that would draw noise."""
    sigma = lake_map.depth.sigma.values
    known = sigma[np.isfinite(sigma)]
    return round(2.0 * float(np.median(known)), 3) if len(known) else 0.0


def magnetic(depth: Grid) -> dict[str, Any]:
    """Declination in the middle of what is drawn, for bearings that a compass shows."""
    (south, west), (north, east) = bounds(depth)
    return declination((west + east) / 2, (south + north) / 2)


def spots(found: Spots) -> list[dict[str, Any]]:
    """Spots in their order, best first: place, evidence, reasons with length slots, and parts of the score."""
    columns = {
        name: lines.numbers(getattr(found, name), decimals)
        for name, decimals in (
            ("lat_deg", 7), ("lon_deg", 7), ("position_sigma_m", 2), ("depth_m", 3), ("depth_sigma_m", 3),
            ("height_m", 3), ("hardness", 3), ("probability", 3), ("prob_low", 3), ("prob_high", 3), ("score", 3),
        )
    }
    parts = {name: lines.numbers(values) for name, values in found.score_parts.items()}
    return [
        {
            "name": str(found.name[k]), "kind": str(found.kind[k]),
            "seen": int(found.seen[k]), "could_see": int(found.could_see[k]),
            "last_seen": lines.day_of(found.last_seen[k]),
            "reasons": [str(said) for said in found.reasons[k]] if found.reasons else [],
            "parts": {name: values[k] for name, values in parts.items()},
            **{name: values[k] for name, values in columns.items()},
        }
        for k in range(len(found))
    ]
