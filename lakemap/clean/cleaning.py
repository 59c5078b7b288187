"""Cleaning as a story: rows are flagged, never dropped; then depths, their errors, and what all of them share."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from lakemap.clean.boat_facts import settle_facts
from lakemap.clean.check_depths import apply_checks
from lakemap.clean.corrections import correct_depths, dry_readings, flag_land, row_drafts
from lakemap.clean.error_budget import add_errors
from lakemap.clean.lake_level import LevelAt, level_at
from lakemap.clean.layer_lock import flag_layer_lock
from lakemap.clean.lost_bottom import flag_lost_bottom
from lakemap.clean.neighbours import flag_far_outliers, flag_scattered_spikes
from lakemap.clean.owners_word import mark_bad, restore, restored_said
from lakemap.clean.placing import place_rows
from lakemap.clean.positions import flag_duplicates, flag_far_groups, flag_frozen, flag_jumps
from lakemap.clean.second_echo import flag_second_echo, water_above
from lakemap.clean.settings import CleanSettings
from lakemap.clean.spikes import flag_spikes
from lakemap.errors import InputError
from lakemap.geo.floor_along import Floor, SailedLine, running_floor, sailed_line
from lakemap.geo.shore import in_water, water_polygon
from lakemap.geo.tracks import cut_passes
from lakemap.model.flags import Flag
from lakemap.model.lake_facts import Edits, LakeFacts
from lakemap.model.shoreline import Shoreline
from lakemap.model.soundings import Soundings

NOTHING_KNOWN = LakeFacts()
BANK_RUN = 20.0
"""Metres that a lake reaches farther for each metre that it stands higher: a flat bank (own choice)."""


def clean(
    soundings: Soundings, settings: CleanSettings, facts: LakeFacts = NOTHING_KNOWN, shore: Shoreline | None = None
) -> Soundings:
    """Flag faults, note rises, cut passes, and fill ``depth_m``, ``depth_sigma_m`` and the common error.

    ``soundings`` (n,) stand on their working CRS; flags they already carry stay. Rows in = rows used + rows flagged.
    ``facts`` is what the owner knows beside the logs; ``shore`` tells which check depths lie on land.
    """
    edits = facts.edits if settings.applies("edits") else Edits()
    told = mark_bad(_flag_missing(settle_facts(soundings, facts.boats, settings)), edits)
    placed = flag_duplicates(told)
    placed = flag_jumps(flag_far_groups(placed, settings), settings)
    placed = restore(flag_frozen(placed, settings), edits)
    level = level_at(placed, facts.levels, settings) if settings.applies("lake level") else None
    dry = dry_readings(placed, level)
    judged, line, floor = _judge_depths(cut_passes(placed), settings, level, dry)
    judged = restored_said(restore(judged, edits), edits)
    corrected = flag_land(correct_depths(judged, settings, facts, level), dry)
    corrected = place_rows(corrected, line, floor, settings)
    with_errors = add_errors(corrected, line, floor, settings, None if level is None else level.sigma_m)
    return apply_checks(with_errors, facts, shore, settings)


def _flag_missing(soundings: Soundings) -> Soundings:
    no_place = ~np.isfinite(soundings.x_m) | ~np.isfinite(soundings.y_m)
    return soundings.with_flag(Flag.no_position, no_place).with_flag(
        Flag.no_depth, ~np.isfinite(soundings.logged_depth_m)
    )


def _judge_depths(
    soundings: Soundings, settings: CleanSettings, level: LevelAt | None, dry: NDArray[np.bool_]
) -> tuple[Soundings, SailedLine, Floor]:
    """Depth faults in the order of how much each would disturb the next; the line they were judged along, its floor."""
    draft_m = row_drafts(soundings, settings).true_m
    judged = flag_lost_bottom(soundings, sailed_line(soundings, soundings.usable() & ~dry), dry)
    judged = flag_second_echo(judged, sailed_line(judged, judged.usable() & ~dry), settings, draft_m)
    # readings of different days are compared as if the lake had stood still
    risen = 0.0 if level is None else np.nan_to_num(level.above_datum_m)
    from_one_zero = judged.logged_depth_m + water_above(judged, draft_m) - risen
    judged = flag_layer_lock(judged, sailed_line(judged, judged.usable() & ~dry), from_one_zero, settings)
    line = sailed_line(judged, judged.usable() & ~dry)
    floor = running_floor(line, settings.floor_window_m)
    judged = flag_spikes(judged, line, floor, settings)
    even = judged.with_columns(logged_depth_m=judged.logged_depth_m - risen)
    even = flag_far_outliers(flag_scattered_spikes(even), settings.neighbour_cell_m)
    return even.with_columns(logged_depth_m=judged.logged_depth_m), line, floor


def flag_off_water(
    soundings: Soundings, shore: Shoreline | None, settings: CleanSettings, facts: LakeFacts = NOTHING_KNOWN
) -> Soundings:
    """Flag rows farther than ``shore_margin_m`` outside the shoreline's water; without a shoreline nothing changes.

    On a day when the lake stood above its datum it reached farther: over a bank that rises by 1 in BANK_RUN.
    Raises InputError when no row at all lies in that water: the shoreline is another lake's.
    """
    placed = np.isfinite(soundings.x_m) & np.isfinite(soundings.y_m)
    if shore is None or soundings.crs is None or not placed.any():
        return soundings
    water = water_polygon(shore, soundings.crs)
    wet = in_water(water, soundings.x_m, soundings.y_m, settings.shore_margin_m)
    if not wet.any():
        west, south, east, north = shore.water.bounds
        raise InputError(
            f"{shore.source}: none of {int(placed.sum())} soundings lies in its water (longitude {west:.4f} to "
            f"{east:.4f}, latitude {south:.4f} to {north:.4f}; soundings near "
            f"{np.median(soundings.lon_deg[placed]):.4f}, {np.median(soundings.lat_deg[placed]):.4f}): "
            "give this lake's shoreline, or leave it out"
        )
    level = level_at(soundings, facts.levels, settings) if settings.applies("lake level") else None
    if level is not None:
        out = np.flatnonzero(placed & ~wet & (level.above_datum_m > 0))
        away = shapely.distance(water, shapely.points(soundings.x_m[out], soundings.y_m[out]))
        wet[out] = away <= settings.shore_margin_m + BANK_RUN * level.above_datum_m[out]
    return soundings.with_flag(Flag.off_water, placed & ~wet)
