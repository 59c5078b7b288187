"""Sure, fair, guess."""

import numpy as np
import pytest
from reference_tables import rows

from lakemap.publish.html_map.sureness import (
    FAIR_WITHIN,
    SURE_WITHIN,
    TWO_SIDED_95,
    how_sure,
    largest_error_m,
    shares,
)


@pytest.mark.parametrize("row", rows("s44_orders.csv"), ids=lambda row: f"{row['order']} {row['depth_m']:g} m")
def test_limits_are_the_published_ones(row):
    "The largest errors of sure and fair are those of the hydrographic standard's Order 1 and Order 2."
    within = SURE_WITHIN if row["order"] == "Order 1b" else FAIR_WITHIN
    assert largest_error_m(row["depth_m"], within) == pytest.approx(row["max_TVU_95_m"], abs=5e-5)


def test_words_follow_the_error():
    "Small, middling and large errors; a depth without an error is a guess; no depth is no word."
    depth = np.array([5.0, 5.0, 5.0, 5.0, np.nan])
    sigma = np.array([0.49, 0.52, 1.1, np.nan, 0.1]) / TWO_SIDED_95
    assert how_sure(depth, sigma).tolist() == [0, 1, 2, 2, -1]


def test_shares_are_of_what_is_drawn():
    "Land and water without an estimate do not count."
    assert shares(np.array([2.0, 2.0, 2.0, np.nan]), np.array([0.1, 0.1, np.nan, 0.1])) == [0.6667, 0, 0.3333]
    assert shares(np.full(3, np.nan), np.full(3, np.nan)) == [0, 0, 0]
