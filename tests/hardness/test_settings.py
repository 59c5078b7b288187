"""Settings of the hardness stage."""

from __future__ import annotations

import pytest

from lakemap.errors import SettingError
from lakemap.hardness import HardnessSettings


def test_defaults_are_the_written_scale():
    "Hard at 10.5 dB (a reflection of 0.3), soft above 20 dB (0.1)."
    plain = HardnessSettings()
    assert (plain.hard_at, plain.soft_at, plain.gain_law, plain.section()) == (10.5, 20.0, None, "hardness")


@pytest.mark.parametrize(
    ("name", "value"),
    [("hard_at", 2.0), ("soft_at", 26.0), ("gain_law", "30logR"), ("frequency_khz", 0.0), ("screen_sigma", 0.1),
     ("level_sigma_db", 0.0), ("surface_loss_db", -1.0), ("water_c", "warm"), ("geometric_share", 0.5)],
)
def test_values_out_of_range_are_refused(name, value):
    "Section, setting, value and rule stand in the error."
    with pytest.raises(SettingError, match=rf"\[hardness\] {name} = .*must be"):
        HardnessSettings(**{name: value})


@pytest.mark.parametrize("given", [{"hard_at": 20.0}, {"hard_at": 15.0, "soft_at": 12.0}, {"gap_hard_at": 0.6}])
def test_thresholds_in_the_wrong_order_are_refused(given):
    "Hard must lose less than soft, and stand closer."
    with pytest.raises(SettingError, match="must be below"):
        HardnessSettings(**given)
