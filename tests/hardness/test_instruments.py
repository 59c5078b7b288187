"""Logs that are put on one scale where they meet."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from lakemap.hardness import HardnessSettings, add_hardness, read_hardness
from lakemap.hardness.instruments import Places, Trust, join
from lakemap.model.log_facts import LogFacts
from lakemap.model.samples import BottomSamples
from lakemap.model.soundings import Soundings
from lakemap.physics.grain_size import hardness_of_doubtful_grain
from lakemap.physics.reflection import bottom_loss_db, hardness_index

PLAIN = HardnessSettings(wind_mps=0.0)
RNG = np.random.default_rng(5)


def soft_basin(x_m):
    "Depth and bottom loss over a lake that is sand at its rim and clay in its deep."
    share = x_m / 600.0
    return 2.0 + 14.0 * share, 6.0 + 17.0 * share


def two_days(echoes, offset_db, n=300, apart_m=4.0, khz=(200.0, 200.0)):
    "The same line sailed twice; on the second day the second echo is weaker by ``offset_db`` at any floor."
    parts = []
    for day, (lost, name) in enumerate(((0.0, "first.csv"), (offset_db, "second.csv"))):
        x = np.linspace(0.0, 600.0, n)
        depth, loss = soft_basin(x)
        facts = LogFacts(name, gain_law="none", frequency_khz=khz[day], beam_deg=20.0)
        lake = echoes(depth, 10 ** (-loss / 20), facts, noise_db=1.0, x_m=x, y_m=np.full(n, apart_m * day),
                      time_s=np.arange(n), display_range_m=100.0)
        parts.append(lake.with_columns(second_echo_db=lake.second_echo_db - lost, pass_id=np.full(n, day)))
    return Soundings.concatenate(parts), soft_basin(np.linspace(0.0, 600.0, n))[1]


def test_two_days_give_one_map(echoes):
    "Three decibels of surface between them: after joining they agree, and how many places it rests on is said."
    lake, _ = two_days(echoes, 3.0)
    found = add_hardness(lake, PLAIN)
    apart = np.median(found.hardness[:300] - found.hardness[300:])
    assert apart == pytest.approx(0.0, abs=0.02)
    assert any("first.csv meets other logs in" in text for text in found.messages)
    assert any("second.csv meets other logs in" in text for text in found.messages)


def test_days_that_never_meet_stay_as_they_are(echoes):
    "Half a kilometre apart: nothing is moved, and what that may cost is in the message and in sigma."
    lake, _ = two_days(echoes, 3.0, apart_m=500.0)
    found = add_hardness(lake, PLAIN)
    assert any("meets no other log: its hardness may be off by" in text for text in found.messages)
    assert np.median(found.hardness[:300] - found.hardness[300:]) > 0.05
    assert np.median(found.hardness_sigma[300:]) > np.median(found.hardness_sigma[:300])


def samples_on(x_m, y_m, loss_db):
    "Samples whose grain, told within half a class, has the bottom loss that is true there."
    grains = np.linspace(-6.0, 9.0, 600)
    told = np.array([hardness_of_doubtful_grain(np.array([one]), np.array([0.5]))[0][0] for one in grains])
    phi = grains[np.abs(np.subtract.outer(hardness_index(loss_db), told)).argmin(axis=1)]
    n, nowhere = len(x_m), np.full(len(x_m), np.nan)
    made = BottomSamples.of((nowhere, nowhere), ("grain",) * n, ("pole",) * n, (phi, np.full(n, 0.5)), np.arange(n) + 2)
    return dataclasses.replace(made, x_m=np.asarray(x_m, float), y_m=np.full(n, float(y_m)))


def test_a_log_that_meets_no_other_is_told_by_its_own_samples(echoes):
    "Half a kilometre off and 4 dB too weak: eight samples beside it bring it back, the other log and the scale stay."
    lake, loss = two_days(echoes, 4.0, apart_m=500.0)
    truth, at = hardness_index(loss), np.linspace(20, 280, 8).astype(int)
    without = add_hardness(lake, PLAIN)
    found = read_hardness(lake, PLAIN, samples_on(lake.x_m[300:][at], 500.0, loss[at]))
    off = np.median(without.hardness[300:] - truth)
    left = np.median(found.soundings.hardness[300:] - truth)
    assert off < -0.1 and abs(left) < abs(off) / 2
    assert np.median(found.soundings.hardness_sigma[300:]) < np.median(without.hardness_sigma[300:])
    np.testing.assert_array_equal(found.soundings.hardness[:300], without.hardness[:300])
    assert found.calibration.samples == 0
    assert any(text.startswith("second.csv meets no other log: 8 bottom samples beside its own readings move its "
                               "hardness by +0.1") for text in found.soundings.messages)


def test_a_soft_basin_is_no_artefact(echoes):
    "Deep floors that really are softer stay so through joining: no trend with depth is taken out."
    lake, loss = two_days(echoes, 3.0)
    found = add_hardness(lake, PLAIN)
    truth = hardness_index(loss)
    for day in (found.hardness[:300], found.hardness[300:]):
        slope = np.polyfit(truth, day, 1)[0]
        assert slope == pytest.approx(1.0, abs=0.08)


def test_flat_physics_over_one_floor_has_no_trend(echoes):
    "One floor at all depths: none is put in either."
    lake = echoes(np.linspace(2.0, 16.0, 300), 0.25, LogFacts("a.csv", gain_law="20logR"), noise_db=1.0)
    found = add_hardness(lake, PLAIN)
    slope, _ = np.polyfit(lake.depth_m, found.hardness, 1)
    assert abs(slope) * 14.0 < 0.03
    assert np.median(found.hardness) == pytest.approx(float(hardness_index(bottom_loss_db(0.25))), abs=0.02)


def drawn_places(offset, scale, trend, count=150, noise=0.05):
    "Medians of three instruments over the same squares; the truth is spread over the whole scale."
    truth, depth = RNG.uniform(0.05, 0.95, count), RNG.uniform(2.0, 20.0, count)
    parts = [
        Places(np.full(count, k), np.arange(count), depth,
               offset[k] + scale[k] * truth + trend[k] * depth + noise * RNG.standard_normal(count),
               np.full(count, noise**2))
        for k in range(len(offset))
    ]
    return Places(*(np.concatenate([getattr(part, spec.name) for part in parts])
                    for spec in dataclasses.fields(Places)))


def test_offset_and_scale_come_back():
    "The trusted log stays where it is; the others' offsets and scales are found within their errors."
    places = drawn_places((0.0, 0.25, -0.2), (1.0, 1.15, 0.9), (0.0, 0.0, 0.0))
    trust = Trust(np.array([0.01, 0.4, 0.4]), np.array([0.01, 0.2, 0.2]), np.full(3, 1e-5))
    joined = join(places, trust, 5)
    assert joined.offset == pytest.approx([0.0, 0.25, -0.2], abs=0.03)
    assert joined.scale == pytest.approx([1.0, 1.15, 0.9], abs=0.04)
    assert np.all((joined.error > 0.0005) & (joined.error < 0.03))


def test_a_trend_is_let_in_only_where_physics_allows_it():
    "A log whose frequency nobody knows may have one; a log whose absorption is known may not."
    places = drawn_places((0.0, 0.0), (1.0, 1.0), (0.0, 0.004))
    open_trust = Trust(np.array([0.01, 0.1]), np.array([0.01, 0.1]), np.array([1e-6, 0.01]))
    shut = dataclasses.replace(open_trust, trend=np.full(2, 1e-6))
    assert join(places, open_trust, 5).trend[1] == pytest.approx(0.004, abs=0.0015)
    assert join(places, shut, 5).trend[1] == pytest.approx(0.0, abs=1e-4)


def test_wild_places_do_not_pull():
    "One place in ten that contradicts the rest moves the offset by little."
    places = drawn_places((0.0, 0.2), (1.0, 1.0), (0.0, 0.0))
    wild = places.hardness.copy()
    wild[150::10] -= 0.7
    trust = Trust(np.array([0.01, 0.4]), np.full(2, 0.02), np.full(2, 1e-5))
    assert join(dataclasses.replace(places, hardness=wild), trust, 5).offset[1] == pytest.approx(0.2, abs=0.04)


def test_few_places_move_nothing():
    "Three shared squares say too little."
    places = drawn_places((0.0, 0.2), (1.0, 1.0), (0.0, 0.0), count=3)
    trust = Trust(np.array([0.05, 0.4]), np.full(2, 0.1), np.full(2, 1e-5))
    joined = join(places, trust, 5)
    assert np.all(joined.offset == 0) and np.all(joined.places == 0)
    assert joined.error == pytest.approx([0.0, 0.4])


def scale_error(lake, *days):
    "How far the whole scale may be off, with the logs recorded on these days of June."
    dates = np.array([f"2025-06-{day:02d}T10:00" for day in days], "datetime64[ms]")
    dated = lake.with_columns(time_utc=dates[lake.log])
    return float(np.sqrt(read_hardness(dated, PLAIN).calibration.covariance[0, 0]))


def test_days_that_meet_check_each_other(echoes):
    "Two days average what each may be off; two logs of one day, or of days that never meet, do not."
    lake, _ = two_days(echoes, 3.0)
    one_day = scale_error(lake, 1, 1)
    assert one_day == pytest.approx(1.5 / 22.0)
    assert scale_error(lake, 1, 2) == pytest.approx(one_day / np.sqrt(2.0))
    assert scale_error(two_days(echoes, 3.0, apart_m=500.0)[0], 1, 2) == pytest.approx(one_day)
