"""The error budget: parts that add as squares, what neighbours share, what the map shares; S-44 as a yardstick."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from corrected_lake import WATER_C, boat, known_facts, two_days
from numpy.testing import assert_allclose
from reference_tables import rows
from sailed import flat, logged, sail, sounded, tilted

from lakemap.clean import CleanSettings, clean
from lakemap.clean.error_budget import resolution_m
from lakemap.model.error_budget import PARTS, SHARED

PLAIN = CleanSettings()


def usual(soundings, name):
    "The usual size of one part of the first log's error."
    return soundings.budget.logs[0].parts[name]


def test_parts_add_as_squares_and_all_have_a_sentence():
    "Median of the total from medians of the parts, on a floor where they hardly vary."
    cleaned = clean(sounded(flat), PLAIN)
    log = cleaned.budget.logs[0]
    assert set(log.parts) == set(PARTS) and set(SHARED) <= set(PARTS)
    assert_allclose(np.sqrt(sum(part**2 for part in log.parts.values())), log.total_m, rtol=0.1)
    assert log.shared_m <= log.total_m


@pytest.mark.parametrize(("step_m", "unit", "expected"), [
    (0.1, "m", 0.1), (0.01, "m", 0.01), (1.0, "m", 1.0), (0.1 * 0.3048, "ft", 0.1 * 0.3048), (0.3048, "ft", 0.3048),
    (0.0137, "m", 0.001),
])
def test_the_step_of_a_display_is_found_in_its_own_unit(step_m, unit, expected):
    "Tenths of a foot, whole feet, centimetres."
    x, y, sailed = sail()
    depth = np.round(tilted(x, y) / step_m) * step_m
    assert_allclose(resolution_m(logged(x, y, depth, sailed, depth_unit=unit)), expected)


def test_coarse_digits_and_a_steep_floor_cost_sigma():
    "Whole feet against centimetres on the flat; slope times position error; waves by the scatter along the pass."
    x, y, sailed = sail()
    coarse = logged(x, y, np.round(tilted(x, y) / 0.3048) * 0.3048, sailed, depth_unit="ft")
    assert usual(clean(coarse, PLAIN), "resolution") == pytest.approx(0.3048 / np.sqrt(12))
    assert usual(clean(sounded(tilted), PLAIN), "position") > 10 * usual(clean(sounded(flat), PLAIN), "position")
    calm, rough = (usual(clean(sounded(flat, noise_m=noise), PLAIN), "waves") for noise in (0.01, 0.4))
    assert rough == pytest.approx(0.4, rel=0.15) and calm < 0.09


def test_a_level_told_between_readings_enters_the_rows():
    "The lake's level has a part of its own, and neighbours share it."
    cleaned = clean(two_days(), CleanSettings(water_c=WATER_C), known_facts())
    assert usual(cleaned, "level") >= 0.01
    shared = cleaned.depth_shared_m[cleaned.usable()]
    assert (shared > 0).all() and (shared <= cleaned.depth_sigma_m[cleaned.usable()]).all()
    assert "level" in SHARED


def test_a_reading_that_came_with_its_error_keeps_it():
    "A depth by hand known to 2 cm has that, and what its place costs, not a sounder's digits and waves."
    soundings = logged([0.0, 40.0, 80.0], [0.0, 0.0, 0.0], [5.0, 5.0, 5.0], single=True, acoustic=False)
    own = soundings.with_columns(depth_sigma_m=np.full(3, 0.02), position_sigma_m=np.full(3, 0.5))
    cleaned = clean(own, PLAIN)
    assert_allclose(cleaned.depth_sigma_m, 0.02, atol=1e-6)
    assert_allclose(cleaned.position_sigma_m, 0.5, atol=1e-6)
    assert usual(cleaned, "own") == pytest.approx(0.02)


def test_the_common_error_is_the_sum_of_its_parts():
    "Known and not known; each with its reason."
    told = clean(two_days(), CleanSettings(water_c=WATER_C), known_facts(levels=()))
    untold = clean(two_days(), PLAIN)
    for cleaned in (told, untold):
        parts = cleaned.budget.common
        assert np.sqrt(sum(part.offset_m**2 for part in parts)) == pytest.approx(cleaned.common_offset_m)
        assert np.sqrt(sum(part.scale**2 for part in parts)) == pytest.approx(cleaned.common_scale)
    assert untold.budget.common[0].origin == "not known"
    gauged = clean(two_days(), CleanSettings(water_c=WATER_C), known_facts())
    zeros = [next(part for part in one.budget.common if part.name == "lake level") for one in (told, gauged)]
    assert [part.offset_m for part in zeros] == [0.0, 0.02] and "below the surface of each day" in zeros[0].origin
    assert told.common_offset_m < untold.common_offset_m and told.common_scale < untold.common_scale


@pytest.mark.parametrize("order", [row for row in rows("s44_orders.csv") if row["order"] == "Order 1b"
                                   and 2 <= row["depth_m"] <= 50], ids=lambda row: f"{row['depth_m']:g} m")
def test_the_assumed_error_lies_inside_order_1(order):
    "Twice what is assumed of a reading on a flat floor (95 %) is within order 1's allowance: a yardstick, no claim."
    x, y, sailed = sail()
    cleaned = clean(logged(x, y, np.full(len(x), order["depth_m"]), sailed), PLAIN)
    assert 2 * cleaned.budget.logs[0].total_m < order["max_TVU_95_m"]


def test_a_wider_beam_costs_on_a_slope_only():
    "40 degrees against 8: on a tilted plane a larger part, on the flat none."
    def part(floor, beam):
        soundings = sounded(floor, noise_m=0.0)
        facts = known_facts(boats=(boat(beam_deg=beam),), levels=())
        return usual(clean(replace(soundings, logs=soundings.logs), PLAIN, facts), "beam")

    assert part(tilted, 40.0) > part(tilted, 4.0) > 0 and part(flat, 40.0) < 1e-6
