"""Bottom samples: place, word, how it was felt."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lakemap.errors import InputError
from lakemap.read.bottom_words import BOTTOM_WORDS, felt_sigma_phi, grain_of_words
from lakemap.read.find import sort_files
from lakemap.read.load import read_samples
from lakemap.read.samples import SamplesReader
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source

TABLE = """lat,lon,bottom,felt,time
61.5001,23.7001,Sand,pole,2025-06-01T10:00:00Z
61.5002,23.7002,silty sand,weight,
61.5003,23.7003,weed,hook,
61.5004,23.7004,blorp,pole,
,23.7005,mud,pole,
61.5006,23.7006,,pole,
61.5007,23.7007,sand and gravel,seen at low water,
"""


def samples(tmp_path, text, name="felt.csv"):
    "The samples of one file, found by its content."
    (tmp_path / name).write_text(text)
    files = sort_files([tmp_path / name])
    return read_samples(files.of("samples"), ReadSettings())


def test_a_table_of_samples_is_known_by_its_content_and_read(tmp_path):
    "Rows with place and known word; the grain size of each, with the error of word and way of feeling."
    found = samples(tmp_path, TABLE)
    assert found.word == ("sand", "silty sand", "weed", "sand and gravel")
    assert found.phi[0] == pytest.approx(1.5) and np.isnan(found.phi[2])
    assert 1.5 < found.phi[1] < 5.5 and found.phi[3] == pytest.approx(-0.5)
    assert found.phi_sigma[3] > found.phi_sigma[0] * 0.9
    assert found.use.tolist() == [True, True, False, True]
    assert found.line.tolist() == [2, 3, 4, 8]


def test_what_is_wrong_is_one_line_each(tmp_path):
    "An unknown word with its line and what to write; rows without place or word by line."
    said = samples(tmp_path, TABLE).messages
    assert any("'blorp' is no bottom known here (line 5)" in text and "write rock, gravel" in text for text in said)
    assert any("no place or no bottom in line 6 + 1 more" in text for text in said)


def test_a_file_without_any_known_word_is_left_out_and_said(tmp_path):
    "Nothing usable: a message, no fault; alone it is one line."
    text = "lat,lon,bottom\n61.5,23.7,blorp\n"
    found = samples(tmp_path, text)
    assert len(found) == 0 and any("left out: felt.csv: no row with a place and a known bottom word" in t
                                   for t in found.messages)
    with pytest.raises(InputError, match="leave the file out"):
        SamplesReader().read(Source.of(tmp_path / "felt.csv"), ReadSettings())


@pytest.mark.parametrize(("coarse", "fine"), [
    ("boulders", "gravel"), ("gravel", "coarse sand"), ("coarse sand", "fine sand"), ("fine sand", "silt"),
    ("silt", "mud"), ("mud", "clay"), ("gravelly sand", "sand"), ("sand", "muddy sand"), ("Stones", "PEBBLES ,  sand"),
])
def test_words_keep_their_order(coarse, fine):
    "Whatever the case, number and adjectives."
    assert grain_of_words(coarse)[0] < grain_of_words(fine)[0]


def test_two_words_are_wider_than_one():
    "Rock and mud at one place: anything between."
    assert grain_of_words("rock, mud")[1] > 5.0
    assert grain_of_words("rock")[1] < 2.0


@given(st.text(max_size=40))
def test_any_text_is_a_bottom_or_none(text):
    "No text is a fault."
    grain = grain_of_words(text)
    assert grain is None or np.isnan(grain[0]) or (-12 < grain[0] < 12 and grain[1] > 0)
    assert 0 < felt_sigma_phi(text) < 2


def test_every_word_of_the_list_is_understood():
    "Alone and in the plural."
    for word, grain in BOTTOM_WORDS.items():
        for form in (word, word + "s"):
            assert grain_of_words(form) == pytest.approx(grain, nan_ok=True)


def test_a_grab_is_surer_than_a_hook():
    "And an unknown way is the usual one."
    assert felt_sigma_phi("grab sample") < felt_sigma_phi("with the pole") < felt_sigma_phi("hook")
    assert felt_sigma_phi("") == felt_sigma_phi("a sense of doom")
