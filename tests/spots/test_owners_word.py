"""The owner's word on spots: dropped, merged, looked at; said, and undone by taking the line out."""

from __future__ import annotations

import numpy as np
import pytest
from worlds import small_spots

from lakemap.model.lake_facts import Edit, Edits
from lakemap.spots import heed_owner
from lakemap.spots.looked import MISSED

NAN = float("nan")


def word(what, *spots, place=(NAN, NAN, NAN, NAN), why="seen at low water"):
    "One line of edits.csv as all of it."
    return Edits((Edit(what, why, NAN, NAN, *place, "", spots, 3, "edits.csv"),))


def test_a_spot_is_dropped_by_name():
    "The other stays as it was; a name that is not there is said and changes nothing."
    spots, said = heed_owner(small_spots(), word("drop_spot", "rock-1"))
    assert spots.name == ("brush-1",) and "rock-1 dropped (seen at low water)" in said[0]
    same, said = heed_owner(small_spots(), word("drop_spot", "wreck-9"))
    assert same.name == small_spots().name and "no spot is named wreck-9" in said[0]
    assert heed_owner(small_spots(), Edits())[1] == ()


def test_two_spots_become_one():
    "The first keeps its name, takes all hits, and lies between both, nearer to the surer one."
    before = small_spots()
    spots, said = heed_owner(before, word("merge_spots", "brush-1", "rock-1"))
    assert spots.name == ("brush-1",) and spots.hits[0].tolist() == [0, 1, 2, 3]
    assert before.x_m[0] < spots.x_m[0] < before.x_m.mean()
    assert spots.position_sigma_m[0] < before.position_sigma_m.min()
    assert "one with rock-1" in spots.reasons[0][-1] and "are one spot" in said[0]


def test_looked_and_found_nothing_lowers_the_chance_by_bayes():
    "0.93 against a look that misses one time in five: 0.93 * 0.2 / (0.93 * 0.2 + 0.07); one more could have seen it."
    before = small_spots()
    place = (float(before.lon_deg[0]) - 1e-5, float(before.lat_deg[0]) - 1e-5,
             float(before.lon_deg[0]) + 1e-5, float(before.lat_deg[0]) + 1e-5)
    spots, said = heed_owner(before, word("looked_nothing", place=place))
    assert spots.probability[0] == pytest.approx(0.93 * MISSED / (0.93 * MISSED + 0.07))
    assert spots.probability[1] == before.probability[1] and spots.could_see.tolist() == [4, 0]
    assert (spots.prob_low <= spots.probability).all() and (spots.probability <= spots.prob_high).all()
    assert "1 spots doubted" in said[0] and "found nothing" in spots.reasons[0][-1]
    named, _ = heed_owner(before, word("looked_nothing", "rock-1"))
    assert named.probability[1] < before.probability[1] and named.probability[0] == before.probability[0]


def test_words_on_rows_are_not_for_spots():
    "bad and restore change no spot."
    spots, said = heed_owner(small_spots(), word("bad"))
    assert said == () and np.array_equal(spots.probability, small_spots().probability)
