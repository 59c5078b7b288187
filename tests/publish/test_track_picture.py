"""The pictures of the tracks show what was flagged, and where."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest
from sailed import flat, sounded

from lakemap.model.flags import Flag
from lakemap.publish.track_picture import LOOKS, kinds_of_rows, letters_met, letters_picture, track_picture


def flagged():
    "Four passes over a flat floor with a spike, a jump far away and a rise."
    soundings = sounded(flat)
    at = np.arange(len(soundings))
    x = np.where(at == 500, soundings.x_m + 90_000.0, soundings.x_m)
    soundings = soundings.with_columns(x_m=x).with_flag(Flag.spike, at == 200).with_flag(Flag.position_jump, at == 500)
    return soundings.with_flag(Flag.rise, (at == 700) | (at == 200))


def test_a_row_has_one_kind_and_faults_come_before_notes():
    "The spike that also carries the note `rise` is a spike."
    kind = kinds_of_rows(flagged())
    assert [LOOKS[kind[row]].word for row in (200, 500, 700)] == ["spike", "position", "may be cover"]
    assert np.count_nonzero(kind >= 0) == 3


def test_letters_show_the_lake_though_one_fix_lies_far_away():
    "A jump of 90 km does not shrink the passes to a dot; each kind in the picture is told."
    lines = letters_picture(flagged())
    text = "\n".join(lines)
    assert 40 <= max(map(len, lines)) <= 73 and text.count("!") == 1 and text.count("^") == 1
    assert [look.word for look in letters_met(flagged())] == ["used", "may be cover", "spike", "position"]


@pytest.mark.parametrize("form, head", [("svg", b"<?xml"), ("png", b"\x89PNG")])
def test_the_picture_is_the_same_bytes_each_time(form, head):
    "No date, no chance in it."
    made = track_picture(flagged(), "m", form)
    assert made.startswith(head) and made == track_picture(flagged(), "m", form)
    if form == "svg":
        assert ElementTree.fromstring(made).tag.endswith("svg")


def test_every_kind_differs_in_letter_colour_and_shape():
    "Nobody needs to tell colours apart."
    for part in ("letter", "colour", "marker", "word"):
        assert len({getattr(look, part) for look in LOOKS}) == len(LOOKS)
