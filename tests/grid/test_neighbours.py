"""Neighbourhoods: near, but not all from one pass or one side, and some from farther."""

from __future__ import annotations

import numpy as np

from lakemap.grid.neighbours import Neighbourhood

ALONG = np.arange(-100.0, 100.0, 2.0)
XY = np.concatenate([np.column_stack([ALONG, np.full(100, y)]) for y in (-45.0, -15.0, 0.0, 15.0, 45.0)])
PASSES = np.repeat(np.arange(5, dtype=np.int32), 100)
AT = np.array([[1.0, 1.0], [30.0, -7.0]])


def test_nearest_without_a_cap():
    "Without a cap the readings are the nearest ones."
    rows = Neighbourhood(XY, PASSES, 12).rows(AT)
    lag = np.hypot(*(XY[None] - AT[:, None]).transpose(2, 0, 1))
    assert np.allclose(np.sort(np.take_along_axis(lag, rows, 1)), np.sort(lag)[:, :12])


def test_cap_brings_in_other_passes():
    "With a cap of two a pass gives at most two to a quadrant, while the nearest ones would all be its own."
    rows = Neighbourhood(XY, PASSES, 12, cap=2).rows(AT)
    for place, found in zip(AT, rows, strict=True):
        quadrant = 2 * (XY[found, 0] >= place[0]) + (XY[found, 1] >= place[1])
        assert np.unique(np.column_stack([PASSES[found], quadrant]), axis=0, return_counts=True)[1].max() <= 2
        assert len(np.unique(PASSES[found])) >= 3


def test_thinned_readings_reach_farther():
    "A share of thinned readings widens the neighbourhood; no reading comes twice."
    near, wide = (Neighbourhood(XY, PASSES, 16, 2, thin_m).rows(AT) for thin_m in (0.0, 20.0))
    assert all(len(np.unique(found)) == 16 for found in wide)
    reach = [np.abs(XY[rows[0]] - AT[0]).max() for rows in (near, wide)]
    assert reach[1] > reach[0] + 10


def test_few_readings_are_all_taken():
    "With fewer readings than wanted all of them speak."
    assert Neighbourhood(XY[:5], PASSES[:5], 12, 2, 20.0).rows(AT).tolist() == [[0, 1, 2, 3, 4]] * 2
