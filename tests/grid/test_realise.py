"""Equally likely surfaces: they scatter as sigma says, and give area and volume an interval."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from rough_lake import rough_lake, survey

from lakemap.grid import GridSettings, make_surface
from lakemap.grid.realise import realise
from lakemap.model.soundings import PassBias
from lakemap.terrain.feature_intervals import with_intervals
from lakemap.terrain.features import find_features
from lakemap.terrain.settings import TerrainSettings
from lakemap.terrain.volume import depth_area_volume


@pytest.fixture(scope="module")
def drawn():
    "A survey with wide gaps, its surface with 60 realisations, and the truth."
    lake = rough_lake(2, 300.0, 200.0)
    frame = lake.frame(10.0)
    settings = GridSettings(method="field", realisations=60)
    return make_surface(survey(lake, 2, 60.0), frame, settings, PassBias.none()), lake.pixel_means(frame)


def test_realisations_scatter_as_sigma_says(drawn):
    "Their mean is the estimate, their standard deviation sigma, and neighbours move together."
    surface, _ = drawn
    known = np.isfinite(surface.estimate.values)
    estimate, sigma = surface.estimate.values[known], surface.sigma.values[known]
    away = (surface.realisations - estimate) / sigma
    assert surface.realisations.shape == (60, known.sum())
    assert np.abs(away.mean(axis=0)).mean() < 0.2
    assert away.std(axis=0).mean() == pytest.approx(1.0, abs=0.1)
    grid = np.full(known.shape, np.nan)
    grid[known] = away[0]
    assert np.nanmean(np.diff(grid, axis=1) ** 2) < 1.5


def test_the_true_volume_lies_in_the_interval(drawn):
    "Volume and areas of the truth lie within 90 % intervals that are no wider than they must be."
    surface, truth = drawn
    table = depth_area_volume(surface.estimate, 1.0, surface.realisations)
    true_m3, ends = truth.sum() * 100.0, table.intervals
    assert ends.volume_low_m3[0] - 0.01 * true_m3 < true_m3 < ends.volume_high_m3[0] + 0.01 * true_m3
    assert 0 < ends.volume_high_m3[0] - ends.volume_low_m3[0] < 0.1 * true_m3
    areas = np.array([(truth >= level).sum() * 100.0 for level in table.depth_m])
    inside = (ends.area_low_m2 - 600 <= areas) & (areas <= ends.area_high_m2 + 600)
    assert inside.mean() > 0.7


def test_reliefs_lie_in_their_intervals(drawn):
    """Features of the estimate: so far as the truth's deepest and shallowest ends stand apart, in 70 % or more of them
    within 90 % intervals (the floor's roughness is in the truth alone); without realisations there are none."""
    surface, truth = drawn
    made = find_features(surface, TerrainSettings())
    found = with_intervals(made, surface)
    assert len(found) >= 6 and len(made.relief_low_m) == 0
    assert with_intervals(made, dataclasses.replace(surface, realisations=None)) is made
    assert ((found.relief_low_m < found.relief_m) & (found.relief_m < found.relief_high_m)).mean() > 0.9
    known = np.isfinite(surface.estimate.values[surface.frame.water])
    true = with_intervals(made, dataclasses.replace(surface, realisations=truth[None, known])).relief_low_m
    inside = (found.relief_low_m <= true) & (true <= found.relief_high_m)
    assert inside.mean() > 0.7
    assert np.median((found.relief_high_m - found.relief_low_m) / found.relief_m) < 0.8


def test_the_same_readings_give_the_same_surfaces():
    "Drawn again, to the last bit; and a method that cannot draw says so."
    lake = rough_lake(2, 150.0, 100.0)
    obs, frame = survey(lake, 2, 40.0), lake.frame(10.0)
    once, again = (make_surface(obs, frame, GridSettings(method="field", realisations=25)) for _ in range(2))
    assert np.array_equal(once.realisations, again.realisations) and len(once.realisations) == 25
    other = make_surface(obs, frame, GridSettings(method="linear", realisations=25))
    assert other.realisations is None and any("--method field" in line for line in other.messages)


def test_a_large_lake_gets_fewer(monkeypatch):
    "Where so many would need too much memory, fewer are drawn, and that is said."
    monkeypatch.setattr("lakemap.grid.realise.MOST_VALUES", 3000)

    class Draws:
        name = "field"

        def sample(self, xy, n, seed):
            return np.full((n, len(xy)), float(seed))

    frame = rough_lake(2, 60.0, 50.0).frame(10.0)
    made, said = realise(Draws(), frame, frame.water, 100)
    assert len(made) == max(3000 // frame.water.sum(), 20) < 100
    assert "of 100 were drawn" in said[0]
    monkeypatch.setattr("lakemap.grid.realise.AT_ONCE_VALUES", 5 * frame.water.sum())
    parts = np.unique(realise(Draws(), frame, frame.water, 100)[0][:, 0], return_counts=True)[1]
    assert len(parts) == -(-len(made) // 5) and parts.max() == 5
