"""Hardness read off the screen."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lakemap.hardness import HardnessSettings, add_hardness
from lakemap.hardness.screen import hardness_of_gap
from lakemap.model.log_facts import LogFacts
from lakemap.model.soundings import SECOND_SEEN
from lakemap.physics.reflection import BOTTOM_CLASSES, bottom_class

PLAIN = HardnessSettings()
FROM_TRANSDUCER = LogFacts("log.csv", depth_reference="transducer", draft_m=0.5)


def seen(*words):
    "Codes of what was noted."
    return np.array([SECOND_SEEN.index(word) if word else -1 for word in words])


def classes(soundings):
    "Class of each row in words; None where nothing was observed."
    return [BOTTOM_CLASSES[code] if code >= 0 else None for code in bottom_class(soundings.hardness)]


def test_practice_order(rows):
    "A second bottom close under the first is hard, farther medium, half the depth or more below it soft."
    found = add_hardness(rows(np.full(4, 8.0), second_bottom_m=[9.0, 11.0, 12.5, 14.0]), PLAIN)
    assert classes(found) == ["hard", "medium", "soft", "soft"]
    assert np.all(found.hardness_sigma >= 0.2)
    assert any("no source" in text for text in found.messages)


@given(st.floats(0.001, 3), st.floats(0.001, 3))
def test_a_wider_gap_is_never_harder(one, other):
    "Hardness falls, or stays on its step, as the gap widens."
    near, far = hardness_of_gap(np.sort(np.array([one, other])), PLAIN)
    assert near >= far


def test_the_tail_of_the_first_echo_narrows_the_gap(rows):
    "From 8 m to 11 m is 0.38 of the depth; from a tail that ends at 9.5 m it is 0.19."
    found = add_hardness(rows(np.full(2, 8.0), second_bottom_m=11.0, first_echo_end_m=[np.nan, 9.5]), PLAIN)
    assert classes(found) == ["medium", "hard"]


def test_words_order_floors(rows):
    "None is softer than faint, faint than strong, strong than a third bottom."
    words = seen("none", "faint", "strong", "third")
    found = add_hardness(rows(np.full(4, 8.0), second_seen=words, display_range_m=30.0), PLAIN)
    assert np.all(np.diff(found.hardness) > 0)
    assert classes(found) == ["soft", "medium", "hard", "hard"]


def test_units_do_not_matter(rows):
    "The same screen at ten times the depth reads the same."
    shallow = add_hardness(rows(np.full(3, 3.0), second_bottom_m=[3.5, 4.2, 5.0]), PLAIN)
    deep = add_hardness(rows(np.full(3, 30.0), second_bottom_m=[35.0, 42.0, 50.0]), PLAIN)
    assert np.array_equal(shallow.hardness, deep.hardness)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(depth=st.floats(1, 40), off=st.floats(-0.025, 0.025), word=st.sampled_from(["faint", "strong", "third"]))
def test_place_of_the_geometric_echo_says_nothing(rows, depth, off, word):
    "At twice the depth only what was noted counts: the reading is that of the word alone."
    both = rows([depth, depth], second_seen=seen(word, word), second_bottom_m=[2 * depth * (1 + off), np.nan])
    found = add_hardness(both, PLAIN)
    assert found.hardness[0] == found.hardness[1]
    assert found.hardness_sigma[0] == found.hardness_sigma[1]
    assert any("1 second bottoms stand at twice the depth" in text for text in found.messages)


def test_a_geometric_echo_without_a_word_is_at_least_not_soft(rows):
    "It shows, so the floor is not soft: a lower bound and a wide sigma."
    found = add_hardness(rows(8.0, second_bottom_m=16.0), PLAIN)
    assert bottom_class(found.hardness_low)[0] >= 1
    assert found.hardness_low[0] < found.hardness[0]
    assert found.hardness_sigma[0] > PLAIN.screen_sigma


def test_geometric_place_counts_from_where_the_log_counts(rows):
    "8 m below a transducer 0.5 m deep: echo at 16.5 m; 8.5 m from the surface: at 17 m; 7.7 m from a keel: at 16.2 m."
    keel = LogFacts("log.csv", depth_reference="keel", draft_m=0.5, datum_offset_m=-0.3)
    narrow = HardnessSettings(geometric_share=0.005, pulse_ms=0.05)
    surface = LogFacts("log.csv")
    for facts, shown, place in ((FROM_TRANSDUCER, 8.0, 16.5), (surface, 8.5, 17.0), (keel, 7.7, 16.2)):
        for off, expected in ((0.0, True), (0.3, False), (-0.3, False)):
            lake = rows(8.5, facts, logged_depth_m=shown, second_bottom_m=place + off)
            found = add_hardness(lake, narrow)
            assert any("at twice the depth, where" in text for text in found.messages) is expected


def test_a_long_pulse_widens_the_geometric_place(rows):
    "1 m depth, pulse of 1 ms: 0.72 m are one echo, so a second bottom at 2.5 m is the geometric one."
    facts = LogFacts("log.csv", pulse_ms=1.0)
    found = add_hardness(rows(1.0, facts, second_bottom_m=2.5), PLAIN)
    assert any("at twice the depth" in text for text in found.messages)


def test_an_unknown_draft_widens_it_too(rows):
    "Depth from a transducer of unknown draft: 0.3 m either way are the geometric echo still."
    unknown = LogFacts("log.csv", depth_reference="transducer")
    known = LogFacts("log.csv", depth_reference="transducer", draft_m=0.0)
    told = [add_hardness(rows(4.0, facts, second_bottom_m=8.5), PLAIN).messages for facts in (unknown, known)]
    assert [any("at twice the depth, where" in text for text in texts) for texts in told] == [True, False]


def test_where_place_and_word_differ_there_is_doubt(rows):
    "Close under the first but faint: between the two, with more sigma than either."
    found = add_hardness(rows(np.full(2, 8.0), second_bottom_m=9.0, second_seen=seen("faint", "strong")), PLAIN)
    assert found.hardness_sigma[0] > found.hardness_sigma[1]
    assert found.hardness[0] < found.hardness[1]


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(depth=st.floats(0.5, 50), share=st.floats(0.1, 2.0))
def test_none_on_a_short_range_is_never_soft(rows, depth, share):
    "A screen that ends before twice the depth could not show it: not observed."
    found = add_hardness(rows(depth, second_seen=seen("none"), display_range_m=share * depth), PLAIN)
    assert np.isnan(found.hardness[0]) and np.isnan(found.hardness_high[0])
    assert any("too short" in text for text in found.messages)


def test_none_on_an_unknown_range_is_not_observed(rows):
    "Nobody said how far the screen went."
    found = add_hardness(rows(8.0, second_seen=seen("none")), PLAIN)
    assert np.isnan(found.hardness[0])
    assert any("display range is not known" in text for text in found.messages)


def test_none_on_a_long_range_is_soft_and_at_most_medium(rows):
    "It could have shown and did not: soft, with an upper bound short of hard and a wide sigma."
    found = add_hardness(rows(8.0, second_seen=seen("none"), display_range_m=25.0), PLAIN)
    assert classes(found) == ["soft"]
    assert found.hardness_high[0] == pytest.approx((25 - 10.5) / 22)
    assert found.hardness_sigma[0] >= 0.2


def test_a_short_range_does_not_spoil_what_was_seen(rows):
    "A second bottom that was seen counts whatever the range says."
    assert classes(add_hardness(rows(8.0, second_seen=seen("strong"), display_range_m=10.0), PLAIN)) == ["hard"]


@pytest.mark.parametrize(
    ("columns", "why"),
    [
        ({"second_bottom_m": 7.0}, "not below the end of the first"),
        ({"second_bottom_m": 8.0, "second_seen": 2}, "not below the end of the first"),
        ({"second_bottom_m": 10.0, "first_echo_end_m": 11.0}, "not below the end of the first"),
        ({"second_bottom_m": 10.0, "second_seen": 0, "display_range_m": 40.0}, "noted as none"),
    ],
)
def test_impossible_notes_are_counted_and_left_out(rows, columns, why):
    "A second bottom above the first, or given a depth and called none: said, not mapped."
    found = add_hardness(rows(8.0, **columns), PLAIN)
    assert np.isnan(found.hardness[0])
    assert any(why in text for text in found.messages)


def test_nothing_noted_is_nothing(rows):
    "Empty cells are neither soft nor counted."
    found = add_hardness(rows(np.full(3, 8.0), display_range_m=40.0), PLAIN)
    assert np.isnan(found.hardness).all()
    assert found.messages == ("no reading of the second bottom: no hardness",)
