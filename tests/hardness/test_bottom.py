"""Classes of the bottom, doubt, and edges of hard floors."""

from __future__ import annotations

import numpy as np
import pytest
from affine import Affine
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS

from lakemap.hardness import HardnessSettings, classify_bottom
from lakemap.hardness.bottom import standard_classes, with_doubt
from lakemap.hardness.calibrate import calibrate
from lakemap.hardness.edges import find_edges
from lakemap.hardness.floors import STEPS, Floors
from lakemap.hardness.reading import Reading
from lakemap.model.frame import Grid, GridFrame
from lakemap.model.hardness_notes import HardnessNote
from lakemap.model.samples import BottomSamples
from lakemap.model.soundings import Soundings
from lakemap.model.surface import Surface

PLAIN = HardnessSettings()
LIMITS = (5.0 / 22.0, 14.5 / 22.0)
FRAME = GridFrame((40, 60), Affine(5, 0, 0, 0, -5, 200), CRS.from_epsg(32632), np.ones((40, 60), dtype=bool), True)


def surface(value, sigma=0.05):
    "A hardness surface on FRAME."
    values = np.broadcast_to(value, FRAME.shape).astype(np.float32)
    spread = np.where(np.isfinite(values), sigma, np.nan).astype(np.float32)
    return Surface(Grid(FRAME, values, "hardness", "1"), Grid(FRAME, spread, "hardness_sigma", "1"), "kriging", {}, 1.0)


def readings(value, low=np.nan, high=np.nan, note=0):
    "One reading in the middle of every pixel."
    x, y = np.meshgrid(*FRAME.centres())
    n = x.size

    def spread(column):
        return np.broadcast_to(column, FRAME.shape).ravel()

    return Soundings.build(n, x_m=x.ravel(), y_m=y.ravel(), hardness=spread(value), hardness_sigma=np.full(n, 0.05),
                           hardness_low=spread(low), hardness_high=spread(high), hardness_notes=np.full(n, note))


def relative():
    "The scale without samples."
    return calibrate(Reading.blank(0), np.empty((0, 2)), BottomSamples.none(), PLAIN)


def classified(value, **more):
    "Bottom of a surface whose readings say the same."
    return classify_bottom(surface(value), readings(value, **more), relative(), PLAIN)


def test_probabilities_sum_to_one_where_there_is_a_hardness():
    "And are not there where there is none."
    value = np.linspace(0, 1, 60)[None, :] * np.ones((40, 1))
    value[5:9, 20:30] = np.nan
    bottom, _ = classified(value)
    total = np.sum([grid.values for grid in bottom.probability], axis=0)
    assert bottom.classes == ("soft", "medium", "hard")
    assert total[np.isfinite(value)] == pytest.approx(1.0, abs=1e-5)
    assert np.isnan(total[np.isnan(value)]).all()
    assert np.all(bottom.likeliest()[:5, 0] == 0) and np.all(bottom.likeliest()[:5, -1] == 2)


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0), st.floats(0.02, 0.3))
def test_harder_is_never_less_likely_hard(one, other, sigma):
    "Each class limit is crossed in one direction."
    soft, hard = np.sort([one, other])
    chance = standard_classes(np.array([soft, hard]), np.full(2, sigma), LIMITS)
    assert chance[2, 0] <= chance[2, 1] + 1e-12 and chance[0, 0] >= chance[0, 1] - 1e-12
    assert chance.sum(axis=0) == pytest.approx(1.0)


def test_what_the_lake_has_much_of_decides_between():
    "An unsure 0.6 on a lake of sand (0.8) and mud (0.1) is rather sand; on one of 0.55 throughout it is medium."
    sure = standard_classes(STEPS, np.full(111, 0.03), LIMITS)
    rng = np.random.default_rng(1)
    two = Floors.of(Soundings.build(800, hardness=np.append(rng.normal(0.8, 0.05, 400), rng.normal(0.1, 0.05, 400)),
                                    hardness_sigma=np.full(800, 0.05)))
    one = Floors.of(Soundings.build(800, hardness=rng.normal(0.55, 0.05, 800), hardness_sigma=np.full(800, 0.05)))
    at, wide = np.array([0.6]), np.array([0.15])
    assert two.classes(at, wide, sure)[2, 0] > 0.7
    assert one.classes(at, wide, sure)[1, 0] > 0.9


def test_doubt_widens_sigma_and_leaves_no_class_clear():
    "Readings that may be soft or hard, a thousand of them, do not average to medium."
    value = np.full(FRAME.shape, 0.5)
    bottom, widened = classified(value, low=0.1, high=0.9, note=HardnessNote.gas.value)
    assert widened.sigma.values == pytest.approx(np.hypot(0.05, 0.4), abs=0.01)
    assert max(float(grid.values.max()) for grid in bottom.probability) < 0.75
    assert any("in doubt" in text for text in bottom.messages)
    plain, same = classified(value)
    assert same.sigma.values == pytest.approx(0.05)
    assert float(plain.probability[1].values.min()) > 0.9


def test_doubt_stays_where_it_is():
    "A pixel beyond the joining distance is not touched by it."
    notes = np.zeros(FRAME.shape, dtype=int)
    notes[:, :10] = HardnessNote.scatter.value
    rows = readings(0.5, low=0.1, high=0.9).with_columns(hardness_notes=notes.ravel())
    _, doubt = with_doubt(surface(0.5), rows, PLAIN)
    assert doubt.values[20, 5] == pytest.approx(0.4, abs=0.01)
    assert doubt.values[20, 16:].max() == 0.0


def test_an_edge_of_hard_floor_is_a_line_where_it_lies():
    "Rock to the west of x = 150 m, mud to the east: one line down the lake, with its contrast and width."
    x_m, _ = FRAME.centres()
    value = (0.1 + 0.8 / (1 + np.exp((x_m - 150.0) / 3.0)))[None, :] * np.ones((40, 1))
    bottom, _ = classified(value)
    assert len(bottom.edges) == 1
    places = np.array(bottom.edges.lines[0].coords)
    assert places[:, 0] == pytest.approx(150.0, abs=6.0)
    assert bottom.edges.length_m[0] > 180.0 and bottom.edges.contrast[0] == pytest.approx(0.75, abs=0.1)
    assert bottom.edges.width_m[0] < 30.0 and bottom.edges.probability[0] > 0.99


def test_a_slow_change_is_no_edge():
    "From mud to rock over the whole length of the lake: a limit is crossed, but nowhere is there an edge."
    value = np.linspace(0.3, 0.9, 60)[None, :] * np.ones((40, 1))
    assert len(classified(value)[0].edges) == 0


def test_an_unsure_edge_is_left_out():
    "A step that sigma swallows is none."
    value = np.where(np.arange(60) < 30, 0.75, 0.55)[None, :] * np.ones((40, 1))
    hard = np.where(value > 0.66, 0.9, 0.1)
    assert len(find_edges(value, np.full(FRAME.shape, 0.03), hard, FRAME)) == 1
    assert len(find_edges(value, np.full(FRAME.shape, 0.4), hard, FRAME)) == 0


def test_a_small_step_is_no_edge_however_sure():
    "Two floors half a class apart: less than most grain-size classes differ by."
    value = np.where(np.arange(60) < 30, 0.70, 0.62)[None, :] * np.ones((40, 1))
    hard = np.where(value > 0.66, 0.9, 0.1)
    assert len(find_edges(value, np.full(FRAME.shape, 0.005), hard, FRAME)) == 0


def test_without_a_hardness_there_is_nothing_to_find():
    "A surface of nothing has no classes' pixels and no edges."
    bottom, _ = classified(np.full(FRAME.shape, np.nan))
    assert len(bottom.edges) == 0 and np.all(bottom.likeliest() == -1)
