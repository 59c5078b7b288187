"""Flags against the simulated boat: what was planted is held out, what was good stays."""

from __future__ import annotations

import numpy as np
import pytest

from lakemap.demo import demo_recordings
from lakemap.demo.faults import Fault
from lakemap.demo.sounder import Sounder
from lakemap.model.flags import Flag

LEAST_M, SIGMAS, FAR_M = 0.5, 5.0, 6.0


@pytest.fixture(scope="module")
def judged(demo):
    return judge(demo.lake_map.soundings, demo_recordings(1))


def judge(rows, recordings):
    "For every row: what was planted, whether it was held out, whether it is noted as a rise; logs joined."
    columns = []
    for name, taken in recordings.items():
        code = [facts.name for facts in rows.logs].index(name)
        own = np.flatnonzero(rows.log == code)
        assert len(own) == len(taken.time_s)
        sounder = Sounder()
        true_m = (taken.floor_m - sounder.draft_m) * sounder.nominal_mps / sounder.speed_mps + taken.leg_bias_m
        off = np.abs(np.where(taken.shown_m > 0, taken.shown_m, 1e3) - true_m)
        sigma = sounder.depth_noise_m + sounder.depth_noise_share * taken.floor_m
        place = np.hypot(rows.x_m[own] - taken.x_m, rows.y_m[own] - taken.y_m)
        # bad fixes stand beside the sailed place by more than any good one does; held fixes by less at first
        misplaced = ~(place < FAR_M)
        big = (taken.fault != Fault.none) & (off >= np.maximum(LEAST_M, SIGMAS * sigma)) | misplaced
        good = (taken.fault == Fault.none) & ~misplaced
        columns.append((taken.fault, big, good, ~rows.usable()[own], rows.has(Flag.rise)[own] & rows.usable()[own],
                        rows.has(Flag.frozen_fix)[own]))
    return [np.concatenate(column) for column in zip(*columns, strict=True)]


def test_planted_faults_are_held_out(judged):
    "At least 98 % of faults of max(0.5 m, 5 sigma) or more; a lone rise, the same datum as cover, is counted apart."
    _, big, _, held, rise, _ = judged
    counted = big & ~rise
    print(f"held out {held[counted].mean():.4f} of {counted.sum()}; {np.count_nonzero(big & rise)} noted as rises")
    assert held[counted].mean() >= 0.98
    assert np.count_nonzero(big & rise) < 0.06 * big.sum()


def test_each_kind_of_fault_is_held_out(judged):
    "Not only all together: 95 % of lost bottom, of the second echo, and of spikes that are no rises."
    fault, big, _, held, rise, _ = judged
    for kind in (Fault.spike, Fault.lost, Fault.second_echo):
        counted = big & (fault == kind) & ~rise
        assert held[counted].mean() >= 0.95, kind.name


def test_good_rows_stay(judged):
    "At most 0.2 % of good rows, those on cover among them; rows under a frozen fix are no good rows."
    _, _, good, held, _, frozen = judged
    counted = good & ~frozen
    print(f"held out wrongly {held[counted].mean():.5f} of {counted.sum()}")
    assert held[counted].mean() <= 0.002
