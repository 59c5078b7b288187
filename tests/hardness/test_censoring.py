"""When a second echo says nothing, or says it from one side only."""

from __future__ import annotations

import numpy as np
import pytest

from lakemap.hardness import HardnessSettings, add_hardness
from lakemap.model.flags import Flag
from lakemap.model.hardness_notes import HardnessNote
from lakemap.model.log_facts import LogFacts
from lakemap.physics.beam import slope_loss_db
from lakemap.physics.reflection import bottom_loss_db, hardness_index

PLAIN = HardnessSettings(wind_mps=0.0)
FACTS = LogFacts("trip.csv", gain_law="none", beam_deg=20.0)
SILT, SAND = 0.1, 0.4


def over_slope(echoes, slope_deg, reflection, n=60, flat=0):
    "A pass straight down a slope, levels lost to it as the law has it; ``flat`` rows of a level floor before it."
    slope = np.append(np.zeros(flat), np.full(n, slope_deg))
    x = 2.0 * np.arange(flat + n)
    depth = 6.0 + np.cumsum(np.append(0.0, np.diff(x)) * np.tan(np.radians(slope)))
    lake = echoes(depth, reflection, FACTS, x_m=x, pass_id=0, time_s=np.arange(flat + n), display_range_m=200.0)
    first, second = slope_loss_db(slope, 20.0)
    return lake.with_columns(first_echo_db=lake.first_echo_db - first, second_echo_db=lake.second_echo_db - second)


def test_on_a_gentle_slope_the_beam_is_corrected(echoes):
    "Three degrees in a beam of 20 take 2 dB from the second echo; the floor reads as hard as it is."
    found = add_hardness(over_slope(echoes, 3.0, SAND), PLAIN)
    middle = slice(10, 50)
    assert found.hardness[middle] == pytest.approx(float(hardness_index(bottom_loss_db(SAND))), abs=0.02)


@pytest.mark.parametrize("slope_deg", [6.0, 8.0])
def test_out_of_the_quarter_beam_a_second_echo_is_at_least(echoes, slope_deg):
    "The slope took from it what nobody knows: the floor is at least so hard, and never soft for it."
    found = add_hardness(over_slope(echoes, slope_deg, SAND), PLAIN)
    middle = slice(10, 50)
    truth = hardness_index(bottom_loss_db(SAND))
    assert np.isfinite(found.hardness_low[middle]).all() and np.isnan(found.hardness_high[middle]).all()
    assert np.all(found.hardness_low[middle] <= truth)
    assert np.all(found.hardness_notes[middle] & HardnessNote.slope.value)


def test_a_lost_second_echo_on_a_slope_says_nothing(echoes):
    "Gone out of the beam: not observed, with the reason; on level ground it would be an upper bound."
    lake = over_slope(echoes, 8.0, SAND)
    lost = np.arange(60) == 30
    found = add_hardness(lake.with_columns(second_echo_db=np.where(lost, np.nan, lake.second_echo_db)), PLAIN)
    assert np.isnan(found.hardness[30])
    assert any("1 rows: on a slope" in text for text in found.messages)


def test_where_the_own_level_is_known_the_first_echo_speaks_on_a_slope(echoes):
    "Learnt on level ground, it tells the floor of the slope by the first echo, which stays in the beam twice as long."
    found = add_hardness(over_slope(echoes, 7.0, SAND, flat=80), PLAIN)
    steep = slice(95, 130)
    assert np.all(found.hardness_notes[steep] & HardnessNote.first_alone.value)
    assert np.median(found.hardness[steep]) == pytest.approx(float(hardness_index(bottom_loss_db(SAND))), abs=0.06)
    assert np.all(found.hardness_sigma[steep] > found.hardness_sigma[40])


def test_near_the_beams_edge_a_first_echo_is_at_least(echoes):
    "8.8 degrees in a beam of 20, seen as 9.4: were they 11, the echo would be out of the beam and the floor harder."
    found = add_hardness(over_slope(echoes, 8.8, SAND, flat=80), PLAIN)
    steep = slice(95, 130)
    assert np.all(found.hardness_notes[steep] & HardnessNote.at_least.value)
    assert np.all(found.hardness_low[steep] <= hardness_index(bottom_loss_db(SAND)))
    assert np.isnan(found.hardness_high[steep]).all() and np.all(found.hardness_sigma[steep] > 0.1)


def test_a_slope_handed_in_counts_where_the_pass_runs_along_it(echoes):
    "Sailed along a contour a pass sees no slope; the depth surface's slope is taken then."
    lake = over_slope(echoes, 0.0, SAND)
    _, lost = slope_loss_db(6.0, 20.0)
    tilted = lake.with_columns(second_echo_db=lake.second_echo_db - lost)
    blind = add_hardness(tilted, PLAIN)
    seeing = add_hardness(tilted, PLAIN, None, np.full(60, 6.0))
    assert blind.hardness[30] < 0.5
    assert np.isfinite(seeing.hardness_low[30]) and np.isnan(blind.hardness_low[30])


def lost_second(echoes, **columns):
    "Twenty floors of 0.1 to 0.4 in level water, and one of silt whose second echo was not heard."
    lake = echoes(np.full(21, 8.0), np.append(np.linspace(SILT, SAND, 20), 0.06), FACTS)
    second = lake.second_echo_db.copy()
    second[20] = np.nan
    return lake.with_columns(**{"second_echo_db": second, "display_range_m": np.full(21, 40.0), **columns})


@pytest.mark.parametrize("flag", [Flag.rise, Flag.weed_top])
def test_over_cover_and_weed_a_lost_second_echo_says_nothing(echoes, flag):
    "What stands in the beam swallows it over any floor."
    lake = lost_second(echoes)
    assert np.isfinite(add_hardness(lake, PLAIN).hardness_high[20])
    found = add_hardness(lake.with_flag(flag, np.arange(21) == 20), PLAIN)
    assert np.isnan(found.hardness[20]) and np.isnan(found.hardness_high[20])


def test_at_speed_in_waves_a_lost_second_echo_says_nothing(echoes):
    "Eight metres a second in an unknown wind: bubbles. In a calm that the owner notes it counts again."
    lake = lost_second(echoes, x_m=8.0 * np.arange(21), time_s=np.arange(21.0))
    waves = add_hardness(lake, HardnessSettings(wind_mps=6.0))
    calm = add_hardness(lake, HardnessSettings(wind_mps=0.0))
    assert np.isnan(waves.hardness[20]) and any("at speed in waves" in text for text in waves.messages)
    assert np.isfinite(calm.hardness_high[20])


def test_a_bound_is_as_wide_as_what_is_left(echoes):
    "At most so hard: the value lies in the middle of what is left, sigma as wide as an even chance there."
    found = add_hardness(lost_second(echoes), PLAIN)
    high = float(found.hardness_high[20])
    assert found.hardness[20] == pytest.approx(high / 2)
    assert found.hardness_sigma[20] >= high / np.sqrt(12) - 1e-6


def test_wind_gives_back_what_the_surface_took(echoes):
    "A note of the wind moves floors up by its loss; without a note a light breeze is taken."
    lake = echoes(np.full(10, 8.0), 0.2, FACTS)
    calm, unknown, windy = (add_hardness(lake, HardnessSettings(wind_mps=w)).hardness[0] for w in (0.0, None, 6.0))
    assert calm < unknown < windy
    assert unknown - calm == pytest.approx(1.67 / 22, abs=0.002)
