"""Laws that the field holds to, and what its error is where few passes stand."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
import shapely
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from pyproj import CRS
from rough_lake import rough_lake, survey

from lakemap.geo.shore import water_mask
from lakemap.grid import GridSettings, make_surface
from lakemap.grid import field as field_module
from lakemap.grid.blocks import block_means
from lakemap.grid.field import FieldInterpolator
from lakemap.grid.field_model import FieldParameters
from lakemap.grid.shore_distance import calibrated
from lakemap.model.frame import GridFrame
from lakemap.model.observations import Observations
from lakemap.model.shoreline import Shore
from lakemap.model.soundings import PassBias

LAKE = rough_lake(5, 150.0, 100.0)
OBS = survey(LAKE, 5)
FEW = OBS.take(np.arange(0, len(OBS), 5))
FRAME = LAKE.frame(10.0)
AT = FRAME.water_xy()[::5]
PARAMETERS = FieldParameters(3.0, 300.0, 0.3, 40.0, 0.05, 30.0)
IN_UNITS = ("rough_sd", "detail_sd", "noise", "bias_sd", "middle_sd")


def told(obs, parameters=PARAMETERS, frame=FRAME, at=AT):
    "Estimate and sigma from few readings without biases."
    return FieldInterpolator(10.0, False, False, parameters).on_frame(frame).fit(obs).predict(at)


def named(name, obs=FEW):
    "The same readings of something else."
    return dataclasses.replace(obs, name=name)


@settings(max_examples=3, deadline=None)
@given(shift=st.floats(-40, 40))
def test_other_readings_move_with_a_constant(shift):
    "A constant added to a reading that is no depth is added to the surface; parameters are learnt each time."
    few = named("water_temperature")
    plain, moved = told(few, None), told(dataclasses.replace(few, value=few.value + shift), None)
    assert_allclose(moved[0], plain[0] + shift, atol=2e-3 * np.std(few.value))
    assert_allclose(moved[1], plain[1], rtol=2e-2)


@settings(max_examples=3, deadline=None)
@given(factor=st.floats(0.1, 30))
@pytest.mark.parametrize("name", ["depth_m", "water_temperature"])
def test_the_surface_grows_with_the_unit(name, factor):
    "Values, errors and parameters in another unit give the same surface in that unit."
    few = named(name)
    scaled = dataclasses.replace(few, value=few.value * factor, sigma=few.sigma * factor)
    grown = dataclasses.replace(PARAMETERS, **{key: factor * getattr(PARAMETERS, key) for key in IN_UNITS})
    plain, again = told(few), told(scaled, grown)
    assert_allclose(again[0], plain[0] * factor, atol=1e-6 * factor)
    assert_allclose(again[1], plain[1] * factor, rtol=1e-5)


def test_the_surface_turns_with_the_map():
    "Readings and places turned by 90 degrees: the lattice's own corners move estimates by under a tenth of sigma."
    few, turn = named("water_temperature"), np.array([[0.0, 1.0], [-1.0, 0.0]])
    plain = told(few, frame=None)
    again = told(dataclasses.replace(few, xy=few.xy @ turn), frame=None, at=AT @ turn)
    assert np.abs((again[0] - plain[0]) / plain[1]).max() < 0.1
    assert_allclose(again[1], plain[1], rtol=0.05)


@settings(max_examples=3, deadline=None)
@given(angle_deg=st.floats(0, 360))
def test_a_turn_by_any_angle_fades_with_a_finer_lattice(angle_deg):
    "On sixteen steps a range estimates differ by under a fifth of sigma RMS, on the usual four by up to a whole one."
    few, angle = named("water_temperature"), np.radians(angle_deg)
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    usual = field_module.STEPS_A_DETAIL
    field_module.STEPS_A_DETAIL = 16.0
    try:
        plain, again = (
            FieldInterpolator(2.0, False, False, PARAMETERS).fit(dataclasses.replace(few, xy=few.xy @ way)).predict(
                AT @ way) for way in (np.eye(2), turn)
        )
    finally:
        field_module.STEPS_A_DETAIL = usual
    assert np.sqrt(np.mean(((again[0] - plain[0]) / plain[1]) ** 2)) < 0.2
    assert_allclose(np.median(again[1] / plain[1]), 1.0, rtol=0.05)


@settings(max_examples=3, deadline=None)
@given(number=st.integers(0, 1000))
def test_the_order_of_readings_changes_nothing(number):
    "But for the last bits of sums."
    plain, again = told(FEW), told(FEW.take(np.random.default_rng(number).permutation(len(FEW))))
    assert_allclose(again[0], plain[0], atol=1e-6)
    assert_allclose(again[1], plain[1], rtol=1e-6)


@settings(max_examples=3, deadline=None)
@given(times=st.integers(2, 6))
def test_readings_said_again_teach_little(times):
    "Sigma falls, if at all, by less than the root of how often each reading is said."
    plain, again = told(FEW), told(FEW.take(np.repeat(np.arange(len(FEW)), times)))
    assert (again[1] <= plain[1] * (1 + 1e-6)).all()
    assert (again[1] >= plain[1] / np.sqrt(times)).all()
    assert np.median(again[1] / plain[1]) > 0.9


def test_a_pass_along_the_bank_teaches_no_slope():
    "Distances that differ by errors of place are one distance; those that truly differ stay."
    rng, along = np.random.default_rng(1), np.arange(0.0, 1000.0, 5.0)
    xy, one = np.column_stack([along, np.zeros_like(along)]), np.zeros(len(along), np.int32)
    level = calibrated(40.0 + rng.normal(0, 1, len(along)), xy, one)
    assert np.std(level) < 0.3
    truly = 40.0 + 0.3 * along
    assert_allclose(calibrated(truly, xy, one), truly, atol=8.0)
    two = calibrated(np.where(np.arange(len(along)) % 2, 20.0, 60.0), xy, (np.arange(len(along)) % 2).astype(np.int32))
    assert_allclose(two[:2], [60.0, 20.0])


def test_one_pass_round_the_lake_says_how_little_it_knows():
    "A lake of three lobes sounded 40 m off its bank alone: most of the truth lies within 1.96 sigma."
    radius, deep, pixel = 250.0, 15.0, 10.0
    circle = shapely.Point(0, 0).buffer(radius, quad_segs=64)
    transform, shape = Affine(pixel, 0, -260, 0, -pixel, 260), (52, 52)
    frame = GridFrame(shape, transform, CRS.from_epsg(32632), water_mask(circle, shape, transform), True,
                      shore=Shore(circle, shapely.MultiLineString([])))

    def bowl(xy):
        r = np.hypot(*xy.T) / radius
        lobes = 1 + 0.25 * r * np.sin(3 * np.arctan2(xy[:, 1], xy[:, 0]))
        return deep * (1 - np.exp(-(radius - np.hypot(*xy.T)) / 60)) * lobes

    rng = np.random.default_rng(3)
    angle = np.arange(0, 2 * np.pi, 2.5 / (radius - 40))
    true = (radius - 40) * np.column_stack([np.cos(angle), np.sin(angle)])
    depth = bowl(true) + rng.normal(0, 0.05, len(angle))
    obs = Observations.of("depth_m", true + rng.normal(0, 0.7, true.shape), depth, 0.08, np.zeros(len(angle), np.int32))
    surface = make_surface(obs, frame, GridSettings(method="field", pixel_m=pixel), PassBias.none())
    xy = frame.water_xy()
    miss = surface.estimate.values[frame.water] - bowl(xy)
    within = float(np.mean(np.abs(miss) <= 1.96 * surface.sigma.values[frame.water]))
    assert within > 0.8


def test_nothing_leaks_through_a_causeway():
    "A basin of 5 m and one of 15 m, 12 m of land between them: beside it each is as it would be by itself."
    water = shapely.union_all([shapely.box(0, 0, 394, 500), shapely.box(406, 0, 800, 500),
                               shapely.box(394, 460, 406, 500)])
    transform, shape = Affine(10.0, 0, -10, 0, -10.0, 510), (52, 82)
    frame = GridFrame(shape, transform, CRS.from_epsg(32632), water_mask(water, shape, transform), True,
                      shore=Shore(water, shapely.MultiLineString([])))
    rng, y = np.random.default_rng(1), np.arange(15.0, 485.0, 4.0)
    x = np.concatenate([np.arange(20.0, 394.0, 40.0), np.arange(420.0, 800.0, 40.0)])
    xy = np.array([(a, b) for a in x for b in y])

    def basins(at):
        off_bank = np.minimum.reduce([at[:, 0], np.abs(at[:, 0] - 400) - 6, 800 - at[:, 0], at[:, 1], 500 - at[:, 1]])
        return np.where(at[:, 0] < 400, 5.0, 15.0) * (1 - np.exp(-np.maximum(off_bank, 0) / 40))

    value = basins(xy) + rng.normal(0, 0.07, len(xy))
    obs = Observations.of("depth_m", xy, value, 0.08, np.repeat(np.arange(20), len(y)))
    surface = make_surface(obs, frame, GridSettings(method="field", pixel_m=10.0), PassBias.none())
    at = frame.water_xy()
    miss = surface.estimate.values[frame.water] - basins(at)
    west = (at[:, 0] > 340) & (at[:, 0] < 394) & (at[:, 1] < 440)
    assert abs(miss[west].mean()) < 0.6


SPARSE_LAKE = rough_lake(2, 220.0, 150.0)
SPARSE_FRAME = SPARSE_LAKE.frame(10.0)
SPARSE = block_means(survey(SPARSE_LAKE, 2, 70.0, ties=1, ping_m=8.0), 10.0)


def learnt(window, monkeypatch):
    "Share of sparse, parameters' logarithms and distances to the bank, sparse from the one lag to the other."
    monkeypatch.setattr(field_module, "FAR_FROM_M", window)
    field = FieldInterpolator(10.0, False, True).on_frame(SPARSE_FRAME).fit(SPARSE)
    return field._sparse, np.maximum(field.parameters.logs(), np.log(0.02)), field._away(SPARSE), field._lag_m


def test_a_survey_turns_sparse_without_a_jump(monkeypatch):
    "At both ends of the change parameters, and distances to the bank, are those of the dense and of the sparse survey."
    dense, sparse = learnt((1e3, 2e3), monkeypatch), learnt((0.0, 1e-3), monkeypatch)
    lag = dense[3]
    begins, ends = (learnt(window, monkeypatch) for window in ((lag - 0.01, lag + 9.99), (lag - 9.99, lag + 0.01)))
    assert [one[0] for one in (dense, begins, ends, sparse)] == pytest.approx([0.0, 1e-3, 0.999, 1.0])
    assert np.abs(dense[1] - sparse[1]).max() > 0.3
    for one, other in ((dense, begins), (sparse, ends)):
        assert_allclose(other[1], one[1], atol=0.1)
        assert_allclose(other[2], one[2], atol=0.05)
