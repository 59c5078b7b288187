"""What each log's receiver does to levels."""

from __future__ import annotations

import numpy as np
import pytest

from lakemap.hardness import HardnessSettings, add_hardness
from lakemap.model.hardness_notes import HardnessNote
from lakemap.model.log_facts import LogFacts
from lakemap.model.soundings import Soundings
from lakemap.physics.reflection import bottom_loss_db, hardness_index

PLAIN = HardnessSettings(wind_mps=0.0)


def untold(lake):
    "The same rows from a log that says nothing of its gain law."
    object.__setattr__(lake, "logs", (LogFacts("trip.csv", frequency_khz=200.0, beam_deg=20.0),))
    return lake


def mixed_floor(echoes, law, n=400, noise_db=1.5, **more):
    "Depths and floors that have nothing to do with each other."
    rng = np.random.default_rng(11)
    depth, reflection = rng.uniform(2.0, 20.0, n), 10 ** (-rng.uniform(4, 22, n) / 20)
    facts = LogFacts("trip.csv", gain_law=law, frequency_khz=200.0, beam_deg=20.0)
    return echoes(depth, reflection, facts, noise_db=noise_db, display_range_m=60.0, **more), reflection


@pytest.mark.parametrize("law", ["none", "20logR", "40logR"])
def test_the_levels_tell_their_own_gain_law(echoes, law):
    "Twice the first less the second knows no bottom; how it goes with depth is the law, and floors come out right."
    lake, reflection = mixed_floor(echoes, law)
    found = add_hardness(untold(lake), PLAIN)
    truth = hardness_index(bottom_loss_db(reflection))
    assert any(f"told by the levels themselves: trip.csv {law}" in text for text in found.messages)
    assert np.median(found.hardness - truth) == pytest.approx(0.0, abs=0.02)


def test_one_depth_tells_no_gain_law(echoes):
    "Where depths hardly differ nothing is found, and that is said."
    lake = echoes(np.full(300, 8.0), 0.3, LogFacts("trip.csv", gain_law="40logR"), noise_db=1.5)
    assert any("not known, taken as none" in text for text in add_hardness(untold(lake), PLAIN).messages)


def test_counts_are_no_decibels(echoes):
    "Whole numbers up to 255 are steps of a display: left out, with a line that says so."
    lake, _ = mixed_floor(echoes, "none")
    counts = {name: np.clip(np.round(getattr(lake, name) * 2 + 220), 0, 255)
              for name in ("first_echo_db", "second_echo_db")}
    found = add_hardness(lake.with_columns(**counts), PLAIN)
    assert np.isnan(found.hardness).all()
    assert any("400 rows: levels are counts of a display" in text for text in found.messages)


def test_whole_decibels_are_taken_when_the_owner_says_so(echoes):
    "Levels rounded to 1 dB on a scale that is all positive look like counts; a setting settles it."
    lake, _ = mixed_floor(echoes, "none")
    whole = {name: np.round(getattr(lake, name) + 120.0) for name in ("first_echo_db", "second_echo_db")}
    lake = lake.with_columns(**whole)
    assert np.isnan(add_hardness(lake, PLAIN).hardness).all()
    assert np.isfinite(add_hardness(lake, HardnessSettings(levels="db")).hardness).mean() > 0.9


def test_an_automatic_gain_gives_no_decibels(echoes):
    "A gain law named auto: the same."
    lake, _ = mixed_floor(echoes, "none")
    object.__setattr__(lake, "logs", (LogFacts("trip.csv", gain_law="auto"),))
    assert np.isnan(add_hardness(lake, PLAIN).hardness).all()


def clipped(lake, end_db):
    "Levels of a receiver that goes no higher."
    return lake.with_columns(first_echo_db=np.minimum(lake.first_echo_db, end_db),
                             second_echo_db=np.minimum(lake.second_echo_db, end_db))


def test_a_saturated_first_echo_is_read_by_the_second(echoes):
    "The end of the scale is found; the second echo against the sounder's own level gives the floor still."
    lake, reflection = mixed_floor(echoes, "none")
    end = float(np.quantile(lake.first_echo_db, 0.85))
    found = add_hardness(clipped(lake, end), PLAIN)
    cut = lake.first_echo_db > end
    truth = hardness_index(bottom_loss_db(reflection))
    assert any("end at" in text and "a bound, not a value" in text for text in found.messages)
    assert np.abs(np.nanmedian((found.hardness - truth)[cut])) < 0.04
    assert np.all(found.hardness_notes[cut & np.isfinite(found.hardness)] & HardnessNote.second_alone.value)


def test_a_saturated_first_echo_without_an_own_level_is_a_bound(echoes):
    "Too few pairs to know the sounder by: the loss is at least what the clipped pair says, the floor at most so hard."
    lake, reflection = mixed_floor(echoes, "none", n=20)
    end = float(np.quantile(lake.first_echo_db, 0.6))
    found = add_hardness(clipped(lake, end), HardnessSettings(wind_mps=0.0, saturation_db=end, level_sigma_db=1.0))
    cut = (lake.first_echo_db > end) & (lake.second_echo_db < end) & np.isfinite(found.hardness_high)
    assert cut.any()
    assert np.all(hardness_index(bottom_loss_db(reflection))[cut] <= found.hardness_high[cut] + 0.15)
    assert np.all(np.isnan(found.hardness_low[cut]))


def test_levels_do_not_hang_on_the_gain_of_a_pass(echoes):
    "A knob turned between two passes: own levels are learnt pass by pass, and the floors stay."
    lake, reflection = mixed_floor(echoes, "none")
    second_half = np.arange(400) >= 200
    louder = {name: getattr(lake, name) + 9.0 * second_half for name in ("first_echo_db", "second_echo_db")}
    turned = lake.with_columns(pass_id=second_half.astype(int), **louder)
    found = add_hardness(turned, PLAIN)
    off = found.hardness - hardness_index(bottom_loss_db(reflection))
    assert np.nanmedian(off[second_half]) == pytest.approx(np.nanmedian(off[~second_half]), abs=0.03)


def test_rows_of_no_log_are_no_fault():
    "Nothing in, nothing out."
    assert len(add_hardness(Soundings.build(0), PLAIN)) == 0
