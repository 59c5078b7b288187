"""Cleaning as a story: rows are flagged, never dropped; then depths, their errors, and what all of them share."""

from __future__ import annotations

import numpy as np

from lakemap.clean.corrections import correct_depths
from lakemap.clean.error_budget import add_errors
from lakemap.clean.lost_bottom import flag_lost_bottom
from lakemap.clean.neighbours import flag_far_outliers, flag_scattered_spikes
from lakemap.clean.placing import place_rows
from lakemap.clean.positions import flag_duplicates, flag_far_groups, flag_frozen, flag_jumps
from lakemap.clean.second_echo import flag_second_echo
from lakemap.clean.settings import CleanSettings
from lakemap.clean.spikes import flag_spikes
from lakemap.errors import InputError
from lakemap.geo.floor_along import running_floor, sailed_line
from lakemap.geo.shore import in_water, water_polygon
from lakemap.geo.tracks import cut_passes
from lakemap.model.flags import Flag
from lakemap.model.shoreline import Shoreline
from lakemap.model.soundings import Soundings


def clean(soundings: Soundings, settings: CleanSettings) -> Soundings:
    """Flag faults, note rises, cut passes, and fill ``depth_m``, ``depth_sigma_m`` and the common error.

    ``soundings`` (n,) stand on their working CRS; flags they already carry stay. Rows in = rows used + rows flagged.
    """
    placed = flag_duplicates(_flag_missing(soundings))
    placed = flag_jumps(flag_far_groups(placed, settings), settings)
    placed = flag_frozen(placed, settings)
    return _judge_depths(cut_passes(placed), settings)


def _flag_missing(soundings: Soundings) -> Soundings:
    no_place = ~np.isfinite(soundings.x_m) | ~np.isfinite(soundings.y_m)
    return soundings.with_flag(Flag.no_position, no_place).with_flag(
        Flag.no_depth, ~np.isfinite(soundings.logged_depth_m)
    )


def _judge_depths(soundings: Soundings, settings: CleanSettings) -> Soundings:
    """Depth faults in the order of how much each would disturb the next."""
    draft_m = np.nan_to_num(soundings.per_log("draft_m", settings.draft_m or 0.0))
    judged = flag_lost_bottom(soundings, sailed_line(soundings, soundings.usable()))
    judged = flag_second_echo(judged, sailed_line(judged, judged.usable()), settings, draft_m)
    line = sailed_line(judged, judged.usable())
    floor = running_floor(line, settings.floor_window_m)
    judged = flag_spikes(judged, line, floor, settings)
    judged = flag_far_outliers(flag_scattered_spikes(judged), settings.neighbour_cell_m)
    judged = correct_depths(judged, settings)
    judged = place_rows(judged, line, floor, settings)
    return add_errors(judged, line, floor, settings)


def flag_off_water(soundings: Soundings, shore: Shoreline | None, settings: CleanSettings) -> Soundings:
    """Flag rows farther than ``shore_margin_m`` outside the shoreline's water; without a shoreline nothing changes.

    Raises InputError when no row at all lies in that water: the shoreline is another lake's.
    """
    placed = np.isfinite(soundings.x_m) & np.isfinite(soundings.y_m)
    if shore is None or soundings.crs is None or not placed.any():
        return soundings
    wet = in_water(water_polygon(shore, soundings.crs), soundings.x_m, soundings.y_m, settings.shore_margin_m)
    if not wet.any():
        west, south, east, north = shore.water.bounds
        raise InputError(
            f"{shore.source}: none of {int(placed.sum())} soundings lies in its water (longitude {west:.4f} to "
            f"{east:.4f}, latitude {south:.4f} to {north:.4f}; soundings near "
            f"{np.median(soundings.lon_deg[placed]):.4f}, {np.median(soundings.lat_deg[placed]):.4f}): "
            "give this lake's shoreline, or leave it out"
        )
    return soundings.with_flag(Flag.off_water, placed & ~wet)
