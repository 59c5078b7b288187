"""Weed's top, floor and change land in their own places on an invented lake sounded in three seasons."""

from __future__ import annotations

import numpy as np
import pytest
from sailed import CORNER_M, UTM_33
from three_seasons import sounded_in_three_seasons, three_seasons

from lakemap.changes import change_layers, find_changes
from lakemap.changes.cells import depths_by_date
from lakemap.changes.dates import dates_of
from lakemap.changes.settings import ChangesSettings
from lakemap.clean import clean
from lakemap.clean.settings import CleanSettings
from lakemap.geo.crossovers import find_crossovers
from lakemap.geo.crs import on_crs
from lakemap.geo.pass_bias import solve_pass_bias
from lakemap.grid.frame import frame_for
from lakemap.grid.settings import GridSettings
from lakemap.model.flags import Flag

SETTINGS = ChangesSettings()
SIDE = SETTINGS.cell_m
LEAST_CHANGE_M = 0.25
"A planted change is where the true floor of a square moved by at least what the settings call a change."


def recorded(seed, level_m=0.0):
    lake = three_seasons(seed)
    placed = on_crs(sounded_in_three_seasons(lake, seed, level_m=level_m), UTM_33)
    cleaned = clean(placed, CleanSettings())
    return lake, cleaned, solve_pass_bias(find_crossovers(cleaned))


@pytest.fixture(scope="module", params=[1, 2, 3])
def compared(request):
    lake, cleaned, bias = recorded(request.param)
    noted, squares = find_changes(cleaned, bias, SETTINGS)
    return lake, cleaned, bias, noted, squares


def truth(lake, x, y):
    "Share of weed and change of the floor, as means over the squares with these middles (from the corner)."
    steps = (np.arange(5) - 2) * SIDE / 5
    xs, ys = x[:, None, None] + steps[:, None], y[:, None, None] + steps[None, :]
    xs, ys = np.broadcast_arrays(xs, ys)
    moved = lake.floor(xs, ys, "next spring") - lake.floor(xs, ys, "spring")
    return (lake.canopy(xs, ys, "summer") > 0).mean((1, 2)), moved.mean((1, 2))


def scored(lake, cleaned, bias, squares):
    "For each square seen on the dates that matter: planted weed, found weed, true change, found change."
    dates = dates_of(cleaned, SETTINGS)
    cells = depths_by_date(cleaned.less_bias(bias), dates.of_row, len(dates), SIDE)
    seen = np.isfinite(cells.depth_m)
    weed_seen, move_seen = seen[:, 1] & (seen[:, 0] | seen[:, 2]), seen[:, 2] & (seen[:, 0] | seen[:, 1])
    x, y = (cells.middle - CORNER_M).T
    weedy, moved = truth(lake, x, y)
    found = [{(a, b): v for a, b, v in zip(one.x_m, one.y_m, one.value_m, strict=True)} for one in squares]
    weed, change = (np.array([one.get((a, b), 0.0) for a, b in cells.middle]) for one in found)
    return weedy, weed, weed_seen, moved, change, move_seen


def test_weed_is_found_where_it_stood(compared):
    "At least 80 % of the squares of weed seen in summer and bare; hardly one elsewhere."
    lake, cleaned, bias, _, squares = compared
    weedy, weed, seen, moved, *_ = scored(lake, cleaned, bias, squares)
    assert (weed > 0)[seen & (weedy > 0.5)].mean() >= 0.8
    assert (weed > 0)[seen & (weedy == 0) & (np.abs(moved) < 0.1)].mean() <= 0.02
    assert np.median(weed[(weed > 0) & (weedy > 0.5)]) == pytest.approx(0.7, abs=0.2)


def test_a_moved_bar_and_a_silted_cove_are_found_with_their_direction(compared):
    "At least 80 % of what moved by 0.25 m or more, with its sign; 2 % at most of what did not move."
    lake, cleaned, bias, _, squares = compared
    weedy, _, _, moved, change, seen = scored(lake, cleaned, bias, squares)
    planted = seen & (np.abs(moved) >= LEAST_CHANGE_M) & (weedy == 0)
    assert (np.sign(change) == np.sign(moved))[planted].mean() >= 0.8
    assert (change != 0)[seen & (np.abs(moved) < 0.1)].mean() <= 0.02


def test_single_readings_are_noted_and_left_in_the_table(compared):
    "Tops of weed and outdated floor carry notes, not faults; the floor's readings leave them out."
    _, cleaned, _, noted, _ = compared
    assert len(noted) == len(cleaned)
    assert np.array_equal(noted.usable(), cleaned.usable())
    held = int(noted.has(Flag.weed_top).sum() + noted.has(Flag.changed).sum())
    assert held > 500
    assert len(noted.observed("depth_m")) == len(cleaned.observed("depth_m")) - held


def test_layers_show_what_was_found(compared):
    "Grids on the frame of the depths and joined areas with their days."
    _, _, _, noted, squares = compared
    frame = frame_for(noted, None, GridSettings(pixel_m=5.0))
    layers = change_layers(squares, frame)
    weed, moved = squares
    assert np.allclose(layers.weed_height.at(weed.x_m + 1.0, weed.y_m + 1.0), weed.value_m, atol=1e-5)
    assert np.count_nonzero(np.isfinite(layers.changed.values)) == 4 * len(moved)
    assert sum(part.area for part in layers.moved.outline) == pytest.approx(SIDE**2 * len(moved))
    assert set(layers.weed.since.astype(str)) == {"2025-08-05"}
    assert np.mean(moved.until == np.datetime64("2026-04-18")) > 0.9


def test_another_level_on_each_date_is_no_change():
    "A lake that stood 0.5 m higher each time has the same weed and moved floor, and the report says the level."
    lake, cleaned, bias = recorded(1, level_m=0.5)
    noted, squares = find_changes(cleaned, bias, SETTINGS)
    _, _, _, moved, change, seen = scored(lake, cleaned, bias, squares)
    assert (change != 0)[seen & (np.abs(moved) < 0.1)].mean() <= 0.02
    assert any("taken for the water's level" in text for text in noted.messages)
