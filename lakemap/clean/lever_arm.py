"""From the antenna, whose place a log holds, to the transducer, whose place a depth belongs to."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lakemap.clean.settings import CleanSettings
from lakemap.geo.crossovers import disagreement_m
from lakemap.geo.heading import grid_heading_deg
from lakemap.model.soundings import Soundings
from lakemap.units import length_slot

Floats = NDArray[np.float64]


def at_transducer(
    x_m: Floats, y_m: Floats, grid_heading_deg: Floats, forward_m: Floats, starboard_m: Floats
) -> tuple[Floats, Floats]:
    """Places of the transducer from those of the antenna, all (n,), on the grid [m].

    ``grid_heading_deg`` clockwise from grid north (true heading less convergence); ``forward_m, starboard_m`` from
    antenna to transducer. Plane rotation, standard rigid-body geometry.
    """
    heading = np.radians(grid_heading_deg)
    east = x_m + forward_m * np.sin(heading) + starboard_m * np.cos(heading)
    north = y_m + forward_m * np.cos(heading) - starboard_m * np.sin(heading)
    return east, north


def correct_lever_arm(soundings: Soundings, settings: CleanSettings) -> Soundings:
    """Move ``x_m, y_m`` from antenna to transducer where the boat's file gives the arm and the heading is known.

    Rows without a heading stay, and their position is that much less sure (one axis: the arm over the square root of
    2). ``lon_deg, lat_deg`` stay as logged.
    """
    arms = [(log.forward_m or 0.0, log.starboard_m or 0.0) for log in soundings.logs] or [(0.0, 0.0)]
    if not any(forward or starboard for forward, starboard in arms) or not settings.applies("lever arm"):
        return soundings
    forward, starboard = np.array(arms)[soundings.log].T
    arm = np.hypot(forward, starboard)
    heading = grid_heading_deg(soundings)
    known = np.isfinite(heading) & (arm > 0)
    x, y = at_transducer(soundings.x_m, soundings.y_m, np.where(known, heading, 0.0), forward, starboard)
    place = soundings.position_sigma_m.astype(np.float64)
    unsure = np.where((arm > 0) & ~known, arm / np.sqrt(2.0), 0.0)
    moved = soundings.with_columns(
        x_m=np.where(known, x, soundings.x_m), y_m=np.where(known, y, soundings.y_m),
        position_sigma_m=np.hypot(place, unsure),
    )
    if known.any():
        moved = moved.with_correction("lever arm", disagreement_m(soundings), disagreement_m(moved))
    return moved.with_messages(_said(soundings, arm, known))


def _said(soundings: Soundings, arm: Floats, known: NDArray[np.bool_]) -> str:
    used = soundings.usable() & (arm > 0)
    lost = int(np.count_nonzero(used & ~known))
    text = f"positions moved by up to {length_slot(float(arm.max()))} from the antenna to the transducer"
    if not lost:
        return text
    return (f"{text}; {lost} of {int(np.count_nonzero(used))} rows, made below a knot or without times and no compass, "
            "stay where the antenna was and count as that much less sure")
