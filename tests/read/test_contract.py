"""The reader contract, run over every reader that is found; and what it says of bad ones."""

from __future__ import annotations

from typing import ClassVar

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from reader_samples import binary_samples, text_samples

from lakemap.errors import InputError
from lakemap.model.log_facts import LogFacts
from lakemap.model.soundings import Soundings
from lakemap.read.contract_check import broken_contract, mutants
from lakemap.read.plugins import find_readers
from lakemap.read.reader import SURE, Reader
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source

WITH_UNIT = ReadSettings(depth_unit="m")
TEXTS = text_samples()


@pytest.mark.parametrize("reader", find_readers(), ids=lambda reader: reader.name)
def test_every_reader_keeps_the_contract_on_its_own_files(reader, tmp_path):
    "Whole ones are read, twice the same; damaged ones raise nothing but one line."
    samples = [*TEXTS.get(reader.name, []), *binary_samples(tmp_path).get(reader.name, [])]
    if not samples:
        pytest.skip("no sample of its own in reader_samples.py; arbitrary bytes are tried below")
    assert broken_contract(reader, samples, tmp_path, WITH_UNIT, tries=20) == []


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(content=st.one_of(
    st.binary(min_size=1, max_size=300),
    st.builds(lambda sample, number: next(mutants(sample, 1, number)),
              st.sampled_from([text for texts in TEXTS.values() for text in texts]), st.integers(0, 10 ** 6)),
))
def test_arbitrary_bytes_raise_nothing_but_our_own_in_any_reader(tmp_path, content):
    "Also a file of another reader's format, whole or damaged: rows, or one line."
    path = tmp_path / "any.x"
    path.write_bytes(content or b" ")
    source = Source.of(path)
    for reader in find_readers():
        try:
            assert 0 <= reader.likelihood(source) <= 1
            reader.read(source, WITH_UNIT)
        except InputError as fault:
            assert "\n" not in str(fault), reader.name


class Good(Reader):
    "Depths a line, at one place: a reader as somebody might write it."

    name: ClassVar[str] = "depth words"
    role = "log"
    suffixes: ClassVar[tuple[str, ...]] = (".depths",)
    summary: ClassVar[str] = "for tests"

    def likelihood(self, source):
        "By the first word."
        return SURE if source.head.startswith(b"DEPTHS") else 0.0

    def read(self, source, settings):
        "A row a number."
        words = source.text().split()[1:]
        depth = [float(word) for word in words if word.replace(".", "", 1).isascii() and word.isdigit()]
        if not depth:
            raise InputError(f"{source.name}: no depth in it; write some")
        return Soundings.build(
            len(depth), [LogFacts(source.name, source.sha256, self.name, len(depth))], logged_depth_m=depth,
            time_s=np.arange(len(depth)), row=np.arange(len(depth)) + 1,
            lon_deg=np.full(len(depth), 13.0), lat_deg=np.full(len(depth), 46.0))


def bad(**parts):
    "The same with something broken."
    return type("Bad", (Good,), parts)()


@pytest.mark.parametrize("reader, words", [
    (Good(), []),
    (bad(read=lambda self, source, settings: 1 / 0), ["raises ZeroDivisionError"]),
    (bad(read=lambda self, source, settings: None), ["gave NoneType, not Soundings"]),
    (bad(read=lambda self, source, settings: Good.read(self, source, settings).with_columns(time_s=[np.nan] * 2)),
     ["time_s that is no number"]),
    (bad(read=lambda self, source, settings: Good.read(self, source, settings).with_columns(lon_deg=[400.0] * 2)),
     ["outside 180"]),
    (bad(likelihood=lambda self, source: 2.0), ["likelihood 2.0"]),
    (bad(likelihood=lambda self, source: float(source.path.name == "sample.x")), ["judges by the name"]),
    (bad(suffixes=("x",)), ["suffix without a dot"]),
    (bad(role="nothing"), ["role 'nothing'"]),
])
def test_the_check_finds_what_a_reader_does_wrong(tmp_path, reader, words):
    "Each fault as a sentence; a good one has none."
    found = broken_contract(reader, [b"DEPTHS 4 5"], tmp_path)
    assert bool(found) == bool(words), found
    assert all(any(word in text for text in found) for word in words), found
