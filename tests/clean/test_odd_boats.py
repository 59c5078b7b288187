"""A boat that anchors, drifts or goes round in loops: its good rows stay, and it counts as few passes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from sailed import UTM_33, logged, tilted

from lakemap.clean import CleanSettings, clean
from lakemap.geo.crossovers import find_crossovers
from lakemap.geo.pass_bias import solve_pass_bias
from lakemap.grid.blocks import block_means
from lakemap.model.soundings import Soundings


def at_anchor(step_m, n=1800, swing_m=6.0):
    "Half an hour, a row a second, swinging on a rope under a fix that jitters; depths on a display of ``step_m``."
    rng, t = np.random.default_rng(4), np.arange(n)
    x = 100 + swing_m * np.sin(t / 25) + rng.normal(0, 0.3, n)
    y = 30 + swing_m / 2 * np.cos(t / 17) + rng.normal(0, 0.3, n)
    depth = 14.0 + rng.normal(0, 0.02, n)
    return logged(x, y, np.round(depth / step_m) * step_m, step_s=1.0)


@pytest.mark.parametrize("step_m", [0.01, 0.03, 0.1])
def test_no_row_at_anchor_is_a_fault(step_m):
    "The same depth over and over is no lost bottom where the boat lies still, whatever the display's step."
    cleaned = clean(at_anchor(step_m), CleanSettings())
    assert cleaned.usable().all() and len(np.unique(cleaned.pass_id)) == 1


def test_an_hour_in_one_place_weighs_as_one_pass():
    "1800 rows at anchor where two passes cross: a few block means of one pass, none surer than what its rows share."
    along = np.arange(0.0, 200.0, 0.9)
    across = np.arange(-70.0, 130.0, 0.9)
    parts = [at_anchor(0.01), logged(along, np.full(len(along), 30.0), tilted(along, 0), log=1),
             logged(np.full(len(across), 100.0), across, tilted(np.full(len(across), 100.0), 0), log=2)]
    rows = replace(Soundings.concatenate(parts), crs=UTM_33)
    cleaned = clean(rows, CleanSettings())
    blocks = block_means(cleaned.observed("depth_m"), 30.0)
    anchored = blocks.pass_id == cleaned.pass_id[0]
    assert 1 <= anchored.sum() <= 4
    shared = np.median(cleaned.depth_shared_m[cleaned.pass_id == cleaned.pass_id[0]])
    assert blocks.sigma[anchored].min() > 0.9 * shared > 0.03
    crossed = find_crossovers(cleaned)
    assert len(crossed) <= 20
    assert np.abs(solve_pass_bias(crossed).bias_m).max() < 0.1


def test_loops_keep_their_bias_small():
    "Twenty minutes of trolling in circles over a slope: passes of some length, no row a fault, no bias invented."
    rng, t = np.random.default_rng(5), np.arange(1200)
    angle = t * 1.2 / 45
    x, y = 100 + 45 * np.cos(angle) + 0.05 * t, 45 * np.sin(angle)
    rows = logged(x, y, tilted(x, y) + rng.normal(0, 0.04, 1200), step_s=1.0)
    cleaned = clean(rows, CleanSettings())
    assert cleaned.usable().all() and 4 <= len(np.unique(cleaned.pass_id)) <= 12
    assert np.abs(solve_pass_bias(find_crossovers(cleaned)).bias_m).max() < 0.08


def test_a_depth_that_stands_still_at_anchor_is_no_held_display():
    "40 rows of one value, which chance would hardly bring to a boat under way: at anchor they stay."
    rows = at_anchor(0.01, swing_m=1.0)
    depth = rows.logged_depth_m.copy()
    depth[600:640] = depth[600]
    assert clean(rows.with_columns(logged_depth_m=depth), CleanSettings()).usable().all()
