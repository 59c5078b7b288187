"""Grids as the page carries them."""

import base64
import zlib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays

from lakemap.publish.html_map import packing
from lakemap.publish.html_map.packing import coarsening, coarser, pack


def unpacked(packed, shape):
    "The inverse written from the format's description: planes, folded signs, running sums; 0 is nothing."
    planes = np.frombuffer(zlib.decompress(base64.b64decode(packed["data"])), np.uint8).astype(np.int64)
    folded = planes[: len(planes) // 2] + 256 * planes[len(planes) // 2 :]
    steps = np.where(folded % 2, -(folded + 1) // 2, folded // 2).reshape(shape)
    codes = np.cumsum(np.cumsum(steps, axis=0), axis=1) % 65536
    return np.where(codes == 0, np.nan, packed["low"] + (codes - 1) * packed["quantum"])


@given(arrays(np.float32, array_shapes(min_dims=2, max_dims=2, max_side=12), elements=st.one_of(
    st.floats(-50, 1100, width=32), st.just(float("nan")))))
def test_values_come_back_within_half_a_quantum(values):
    "What is packed comes back to half a quantum, and nothing stays nothing."
    packed = pack(values, 0.02)
    back = unpacked(packed, values.shape)
    assert np.array_equal(np.isnan(back), np.isnan(values))
    there = np.isfinite(values)
    assert np.all(np.abs(back[there] - values[there]) <= packed["quantum"] / 2 + 1e-6)


def test_a_deep_lake_gets_a_coarser_quantum():
    "Values that 16 bits cannot hold at the quantum asked for double it, and say so."
    packed = pack(np.array([[0.0, 1640.0]]), 0.02)
    assert packed["quantum"] == 0.04
    assert np.allclose(unpacked(packed, (1, 2)), [[0, 1640]], atol=0.02)


def test_large_grids_are_averaged_over_what_is_there(monkeypatch):
    "A block's mean leaves nothing out but what is not there; an empty block stays empty."
    monkeypatch.setattr(packing, "MOST_PIXELS", 4)
    assert coarsening((4, 3)) == 2
    values = np.array([[1, 3, np.nan], [np.nan, 2, np.nan], [5, 5, 7], [5, 5, np.nan]])
    assert np.array_equal(coarser(values, 2), [[2, np.nan], [5, 7]], equal_nan=True)


@pytest.mark.parametrize("shape", [(1, 1), (2000, 2000), (1, 4_000_000)])
def test_grids_up_to_the_limit_stay_as_they_are(shape):
    "Four million pixels are carried whole."
    assert coarsening(shape) == 1
