"""Whether passes agree, and which one does not."""

from __future__ import annotations

import numpy as np
import pytest
from reference_tables import rows
from worlds_of_lines import GRID, lines

from lakemap.geo.agreement import agreement_of, allowance_m, disagreement_said
from lakemap.geo.crossovers import find_crossovers


@pytest.mark.parametrize("row", rows("s44_all_orders.csv"), ids=lambda row: f"{row['order']}-{row['depth_m']}")
def test_allowances_are_those_of_the_standard(row):
    "sqrt(a^2 + (b d)^2) to the four decimals of the table."
    name = "Order 1a/1b" if row["order"].startswith("Order 1") else row["order"]
    assert float(allowance_m(name, np.array(float(row["depth_m"])))) == pytest.approx(
        float(row["max_TVU_95_m"]), abs=5e-5)


def test_the_pass_that_is_off_is_named_and_statistics_come_down():
    "One line of seventeen is 0.5 m too deep: it alone is named, and without its error the median is that of noise."
    bias = np.where(np.arange(len(GRID)) == 3, 0.5, 0.0)
    soundings = lines(GRID, bias=bias, noise_m=0.05)
    told = agreement_of(soundings, find_crossovers(soundings))
    assert [one.pass_id for one in told.disagreeing] == [3]
    assert told.disagreeing[0].off_m == pytest.approx(0.5, abs=0.1)
    assert told.rms_before_m > 0.15 > told.rms_after_m
    assert told.median_after_m == pytest.approx(0.6745 * np.sqrt(2) * 0.05, rel=0.4)
    assert "pass 3" in disagreement_said(told)[0] and "deeper" in disagreement_said(told)[0]


def test_orders_are_judged_by_the_difference_of_two_depths():
    "Differences that reach 1.3 times the allowance of one depth are within that of two, sqrt(2) times as much."
    soundings = lines([((0, 50), (100, 50)), ((50, 0), (50, 100))], depth=lambda x, y: 0 * x)
    deeper = soundings.with_columns(depth_m=np.where(soundings.pass_id == 1, 0.65, 0.0))
    no_bias = agreement_of(deeper, find_crossovers(deeper), None)
    from lakemap.model.soundings import PassBias

    raw = dict(agreement_of(deeper, find_crossovers(deeper), PassBias.none()).within_order)
    assert raw == {"Exclusive": 0.0, "Special": 0.0, "Order 1a/1b": 1.0, "Order 2": 1.0}
    assert no_bias.n == 1


def test_passes_that_nothing_crosses_are_counted_and_said():
    "Two lines cross, a third lies apart: one of three, and what that means."
    soundings = lines([((0, 50), (100, 50)), ((50, 0), (50, 100)), ((500, 0), (500, 100))])
    told = agreement_of(soundings, find_crossovers(soundings))
    assert (told.passes, told.uncrossed) == (3, 1)
    assert "1 of 3 passes" in disagreement_said(told)[-1]
