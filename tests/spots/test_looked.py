"""Looked, nothing there: a mark that counts against what lies within its reach."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from floors import NORTH, WEST, hits, passes, surface
from scipy.special import expit, logit
from scipy.stats import multivariate_normal

from lakemap.spots import SpotSettings, find_spots
from lakemap.spots.looked import MISSED, looked_at
from lakemap.terrain import TerrainSettings, describe_terrain

LEVEL = surface(np.full((150, 150), 5.0))
TERRAIN = describe_terrain(LEVEL, TerrainSettings())


def spots_of(some, lines=(((0, -200), (290, -200)),)):
    "Spots of some hits over a level floor with passes, by default none of them near."
    return find_spots(some, TERRAIN, passes(lines), LEVEL, None, SpotSettings())


def look(x, y, reach=6.0, sigma=2.0, **more):
    "A mark of nothing."
    made = hits([{"x": x, "y": y, "kind": "nothing", "sigma": sigma} | more])
    return replace(made, reach_m=np.array([reach]))


def with_reach(rows, reach=6.0):
    "Hits, those of nothing with a reach."
    made = hits(rows)
    return replace(made, reach_m=np.where(made.kind == "nothing", reach, np.nan))


@pytest.mark.parametrize("away", [0.0, 4.0, 9.0])
def test_chance_that_a_look_covered_the_place(away):
    "Against a normal law in the plane summed numerically over the disc (scipy.stats)."
    found = looked_at(np.array([[WEST + away, NORTH]]), np.array([1.5]), look(0, 0, 5.0, 2.0), 0.02)
    step = 0.05
    east, north = np.meshgrid(np.arange(-5, 5, step) + step / 2, np.arange(-5, 5, step) + step / 2)
    inside = np.hypot(east, north) <= 5.0
    density = multivariate_normal([away, 0.0], np.eye(2) * (2.0**2 + 1.5**2)).pdf(np.stack([east, north], axis=-1))
    covered = float(density[inside].sum() * step**2)
    expected = np.log1p(-(1 - MISSED) * covered) - np.log1p(-0.02 * covered)
    assert found.log_odds[0] == pytest.approx(expected, abs=0.005)
    assert found.count[0] == (covered >= 0.5)


def test_a_look_over_it_lowers_a_spot_and_is_told():
    "A mark of a stump falls by the look's odds, says so and stays; a look 60 m off changes nothing and makes no spot."
    stump = {"x": 100, "y": -100, "kind": "stump", "confidence": 0.9}
    alone = spots_of(hits([stump]))
    far = spots_of(with_reach([stump, {"x": 160, "y": -100, "kind": "nothing"}]))
    over = spots_of(with_reach([stump, {"x": 100, "y": -100, "kind": "nothing", "sigma": 0.1}]))
    assert len(far) == len(over) == 1 and far.probability[0] == alone.probability[0]
    expected = logit(alone.probability[0]) + np.log(MISSED) - np.log1p(-0.02)
    assert over.probability[0] == pytest.approx(expit(expected), abs=1e-6)
    assert "Looked for here once and not found." in over.reasons[0]
    assert not any("Looked for" in said for said in (*alone.reasons[0], *far.reasons[0]))
    assert over.prob_low[0] < over.probability[0] < over.prob_high[0]


def test_a_rise_that_was_looked_for_in_vain_may_be_no_spot():
    "One pass showed something, two careful looks did not: it stays a hit."
    rise = {"x": 100, "y": -100, "pass": 0, "confidence": 0.8}
    looks = [{"x": 100, "y": -100, "kind": "nothing", "sigma": 1.0}] * 2
    assert len(spots_of(hits([rise]), lines=[((0, -100), (290, -100))])) == 1
    assert len(spots_of(with_reach([rise, *looks]), lines=[((0, -100), (290, -100))])) == 0


def test_names_come_from_the_noted_place():
    "A hit that a correction moved by 10 m keeps its spot's name; one that was noted elsewhere has another."
    rows = [{"x": 100, "y": -100, "kind": "stump"}]
    there = np.array([-93.0]), np.array([45.1])
    a, b = (spots_of(replace(hits([row]), noted_lon_deg=there[0], noted_lat_deg=there[1]))
            for row in (rows[0], rows[0] | {"x": 110}))
    assert a.name == b.name != spots_of(hits(rows)).name
