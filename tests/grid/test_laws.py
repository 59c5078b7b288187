"""Laws that hold for any readings: shift, scale, order, rotation."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from rough_lake import ORIGIN_X, ORIGIN_Y, rough_lake, survey

from lakemap.grid import GridSettings, make_surface
from lakemap.grid.kriging import KrigingOptions, OrdinaryKriging
from lakemap.grid.variogram import Structure, Variogram
from lakemap.model.soundings import PassBias

LAKE = rough_lake(5, 150.0, 100.0)
OBS = survey(LAKE, 5)
FRAME = LAKE.frame(10.0)
MODEL = Variogram(0.01, (Structure("exponential", 0.3, 60.0), Structure("matern", 9.0, 200.0)))
AT = FRAME.water_xy()[::7]


def krige(obs, at=AT, model=MODEL):
    "Estimate and sigma from spread neighbourhoods, point by point."
    return OrdinaryKriging(model, KrigingOptions(24, 2, None, "noise")).fit(obs).predict(at)


@settings(max_examples=15, deadline=None)
@given(shift=st.floats(-50, 50))
def test_estimates_move_with_the_depths(shift):
    "A constant added to all depths is added to every estimate; sigma stays."
    plain, moved = krige(OBS), krige(dataclasses.replace(OBS, value=OBS.value + shift))
    assert_allclose(moved[0], plain[0] + shift, atol=1e-8)
    assert_allclose(moved[1], plain[1], atol=1e-10)


@settings(max_examples=15, deadline=None)
@given(factor=st.floats(0.1, 30))
def test_estimates_grow_with_the_unit(factor):
    "In another unit (values, errors and variogram alike) estimate and sigma are the same lengths."
    model = Variogram(
        MODEL.nugget * factor**2,
        tuple(dataclasses.replace(part, partial_sill=part.partial_sill * factor**2) for part in MODEL.structures),
    )
    plain = krige(OBS)
    scaled = krige(dataclasses.replace(OBS, value=OBS.value * factor, sigma=OBS.sigma * factor), model=model)
    assert_allclose(scaled[0], plain[0] * factor, rtol=1e-7, atol=1e-7)
    assert_allclose(scaled[1], plain[1] * factor, rtol=1e-6)


@settings(max_examples=10, deadline=None)
@given(turn=st.floats(0, 2 * np.pi))
def test_global_kriging_turns_with_the_map(turn):
    "Readings and places turned together give the same estimates."
    few = OBS.take(np.arange(0, len(OBS), 6))
    middle = np.array([ORIGIN_X, ORIGIN_Y])
    matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    turned = dataclasses.replace(few, xy=(few.xy - middle) @ matrix)
    plain = OrdinaryKriging(MODEL).fit(few).predict(AT)
    again = OrdinaryKriging(MODEL).fit(turned).predict((AT - middle) @ matrix)
    assert_allclose(again[0], plain[0], atol=1e-6)
    assert_allclose(again[1], plain[1], atol=1e-6)


@settings(max_examples=5, deadline=None)
@given(seed=st.integers(0, 10_000))
@pytest.mark.parametrize("method", ["kriging", "linear", "nearest"])
def test_order_of_readings_changes_no_byte(method, seed):
    "The whole surface has the same bytes whatever the order of the readings."
    order = np.random.default_rng(seed).permutation(len(OBS))
    first, second = (
        make_surface(obs, FRAME, GridSettings(method=method), PassBias.none()) for obs in (OBS, OBS.take(order))
    )
    assert first.estimate.values.tobytes() == second.estimate.values.tobytes()
    assert first.sigma.values.tobytes() == second.sigma.values.tobytes()
    assert first.left_out == second.left_out
