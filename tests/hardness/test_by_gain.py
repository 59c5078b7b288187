"""Gains set by hand within one log."""

from __future__ import annotations

import numpy as np
import pytest

from lakemap.hardness import HardnessSettings, add_hardness
from lakemap.hardness.by_gain import by_gain
from lakemap.model.log_facts import LogFacts
from lakemap.physics.reflection import bottom_loss_db, hardness_index

PLAIN = HardnessSettings(wind_mps=0.0)


def there_and_back(echoes, gain=(4.0, 7.0), n=300):
    "One log along a line and back; on the way back another gain, at which the second echo comes out 4 dB weaker."
    x = np.concatenate([np.linspace(0.0, 600.0, n), np.linspace(600.0, 0.0, n)])
    reflection = 10 ** (-(6.0 + 14.0 * x / 600.0) / 20)
    back = np.arange(2 * n) >= n
    lake = echoes(3.0 + 7.0 * np.abs(np.sin(x / 50.0)), reflection, LogFacts("day.csv", gain_law="none", beam_deg=20.0),
                  noise_db=1.0, x_m=x, y_m=4.0 * back, display_range_m=100.0)
    lake = lake.with_columns(pass_id=back.astype(int), second_echo_db=lake.second_echo_db - 4.0 * back,
                             gain_setting=np.where(back, gain[1], gain[0]))
    return lake, back, hardness_index(bottom_loss_db(reflection))


def test_each_gain_of_a_log_is_an_instrument(echoes):
    "Told apart by the gain column they are put on one scale, and the message names both; untold they stay apart."
    lake, back, truth = there_and_back(echoes)
    found = add_hardness(lake, PLAIN)
    off = found.hardness - truth
    assert np.nanmedian(off[back]) == pytest.approx(np.nanmedian(off[~back]), abs=0.025)
    assert any("day.csv at gain 7 meets other logs in" in text for text in found.messages)
    blank = add_hardness(lake.with_columns(gain_setting=np.full(len(lake), np.nan)), PLAIN)
    off = blank.hardness - truth
    assert np.nanmedian(off[~back]) - np.nanmedian(off[back]) > 0.1


def test_logs_stay_as_they_were_read(echoes):
    "What comes back has the logs that went in."
    lake, _, _ = there_and_back(echoes)
    found = add_hardness(lake, PLAIN)
    assert [facts.name for facts in found.logs] == ["day.csv"]
    assert (found.log == 0).all()


def test_a_gain_that_never_changed_is_no_news(echoes):
    "One setting throughout: nothing is split."
    lake, _, _ = there_and_back(echoes, gain=(4.0, 4.0))
    assert by_gain(lake) is lake


def test_a_gain_in_hundreds_of_steps_is_not_split(echoes):
    "Settings with too few rows keep their log."
    lake, _, _ = there_and_back(echoes)
    lake = lake.with_columns(gain_setting=np.arange(len(lake)))
    assert by_gain(lake) is lake
