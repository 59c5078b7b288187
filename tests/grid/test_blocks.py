"""Block reduction keeps place, value and error, whatever the order of the soundings."""

from __future__ import annotations

import numpy as np
import pytest

from lakemap.grid.blocks import SHARED_VARIANCE, block_means
from lakemap.model.observations import Observations


def test_one_block_a_pass_and_square():
    "Two passes through one square stay apart, so that their biases can be told."
    obs = Observations.of("v", [[1, 1], [2, 2], [3, 3], [7, 1]], [1.0, 3.0, 10.0, 5.0], 0.1, [0, 0, 1, 1])
    blocks = block_means(obs, 5.0)
    assert blocks.pass_id.tolist() == [0, 1, 1]
    assert blocks.value.tolist() == pytest.approx([2.0, 10.0, 5.0])
    assert blocks.xy[0].tolist() == pytest.approx([1.5, 1.5])


def test_many_pings_do_not_average_down_to_nothing():
    "The error of a block falls with the number of pings, but not below what they share."
    def error(n):
        return block_means(Observations.of("v", np.full((n, 2), 1.0), np.full(n, 4.0), 0.2), 5.0).sigma[0]

    assert error(1) == pytest.approx(0.2)
    assert error(4) < error(1)
    assert error(10_000) == pytest.approx(0.2 * np.sqrt(SHARED_VARIANCE), rel=0.01)


def test_scatter_counts_where_it_exceeds_the_claim():
    "Soundings that scatter more than they claim make a block with a larger error."
    rng = np.random.default_rng(1)
    noisy = Observations.of("v", np.ones((20, 2)), rng.normal(5, 1, 20), 0.1)
    assert block_means(noisy, 5.0).sigma[0] > 5 * 0.1 * np.sqrt(SHARED_VARIANCE)


def test_wild_reading_stays_out():
    "One wild reading among plain ones does not move the block."
    value = np.array([4.0, 4.1, 3.9, 4.0, 12.0])
    assert block_means(Observations.of("v", np.ones((5, 2)), value, 0.1), 5.0).value[0] == pytest.approx(4.0, abs=0.05)


def test_rise_weighs_less():
    "Readings that may be cover hardly move the floor; a block of nothing else has a larger error."
    mixed = Observations.of("v", np.ones((4, 2)), [4.0, 4.0, 3.9, 3.9], 0.2)
    mixed = type(mixed)(**{**vars(mixed), "rise": np.array([False, False, True, True])})
    assert block_means(mixed, 5.0).value[0] > 3.98
    alone = type(mixed)(**{**vars(mixed), "rise": np.ones(4, bool)})
    assert block_means(alone, 5.0).sigma[0] > 1.4 * block_means(mixed, 5.0).sigma[0]
    assert block_means(alone, 5.0).rise[0]


def test_reading_without_an_error_gets_the_usual_one():
    "A NaN sigma is no fault: the median of the others stands in."
    obs = Observations.of("v", [[1, 1], [21, 1], [41, 1]], [1.0, 2.0, 3.0], [0.3, np.nan, 0.3])
    assert block_means(obs, 5.0).sigma.tolist() == pytest.approx([0.3, 0.3, 0.3])


def test_order_changes_no_byte():
    "Soundings in another order make the same bytes."
    rng = np.random.default_rng(5)
    obs = Observations.of(
        "v", rng.uniform(0, 60, (800, 2)), rng.normal(5, 1, 800), rng.uniform(0.1, 0.2, 800), rng.integers(0, 5, 800)
    )
    first, second = block_means(obs, 5.0), block_means(obs.take(rng.permutation(800)), 5.0)
    for name in ("xy", "value", "sigma", "pass_id"):
        assert getattr(first, name).tobytes() == getattr(second, name).tobytes()
