"""What was taken off the echo levels near a place before they told of the floor, log by log, as plain lines."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from lakemap.model.log_facts import LogFacts
from lakemap.model.map_place import MapPlace
from lakemap.physics.absorption import absorption_db_per_m
from lakemap.physics.beam import slope_loss_db
from lakemap.physics.rough_surface import USUAL_WIND_MPS, surface_loss_db
from lakemap.units import format_length

SAID = ("gain law", "in scale from the common one", "meets no other log")
"""What messages of the map tell of one log's levels."""


def level_corrections(place: MapPlace) -> Iterator[str]:
    """A line for each log with levels there, for its nearest reading's own depth and slope, and what the map's messages
    say of its gain law and scale."""
    rows = place.soundings
    levels = np.isfinite(rows.hardness) & (np.isfinite(rows.first_echo_db) | np.isfinite(rows.second_echo_db))
    settings = place.summary["settings"].get("hardness") or {}
    for code in np.unique(rows.log[levels]).tolist():
        facts = rows.logs[code]
        nearest = int(np.flatnonzero(levels & (rows.log == code))[0])
        shown = format_length(float(rows.depth_m[nearest]), str(place.summary["units"]), 2)
        yield (f"  Levels of {facts.name}, row {int(rows.row[nearest])} in {shown}, are freed of "
               f"{', '.join(_taken_off(facts, settings, nearest, place))}.")
        for text in place.summary["messages"]:
            if facts.name in text and any(words in text for words in SAID):
                yield f"  {text}"


def _taken_off(facts: LogFacts, settings: dict[str, Any], row: int, place: MapPlace) -> Iterator[str]:
    below_m = float(place.soundings.depth_below_transducer_m()[row])
    khz = facts.frequency_khz or float(settings["frequency_khz"])
    beam = facts.beam_deg or float(settings["beam_deg"])
    warm = float(place.soundings.water_c[row])
    warm = warm if np.isfinite(warm) else float(settings["water_c"])
    lost = 2.0 * below_m * float(absorption_db_per_m(khz, warm, settings["salinity"]))
    yield "spreading over each echo's own path"
    yield f"absorption at {khz:g} kHz ({lost:.2f} dB down and back, twice that for the second)"
    slope = float(place.slope_deg[row])
    if np.isfinite(slope):
        first, second = (float(one) for one in slope_loss_db(slope, beam))
        yield f"what a slope of {slope:.0f} degrees takes in a beam of {beam:g} ({first:.1f} and {second:.1f} dB)"
    wind, said = settings.get("wind_mps"), ""
    if wind is None:
        wind, said = USUAL_WIND_MPS, ", taken since nobody noted the wind"
    turned = float(surface_loss_db(wind, beam)) + float(settings["surface_loss_db"])
    yield f"{turned:.1f} dB where the second turns at the surface (wind {wind:g} m/s{said})"
    law = facts.gain_law or settings.get("gain_law")
    if law is not None:
        yield f"the receiver's gain ({law})"
