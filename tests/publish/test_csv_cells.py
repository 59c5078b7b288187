"""Every CSV that we write is safe in a spreadsheet: no text runs as a formula, and numbers stay numbers."""

from __future__ import annotations

import ast
import csv
import io
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import lakemap
from lakemap.publish.csv_cells import csv_text, safe_cell


@pytest.mark.parametrize("text", ["=1+1", "+cmd", "-x", "@SUM(A1)", "\tx", "\rx", "\n=1", " =1", '"=1', "-1_0", "+",
                                  "-", "--1", "=", "\u00a0=1", "-3.2 m"])
def test_a_text_that_could_start_a_formula_is_defused(text):
    "An apostrophe stands in front; the text itself is whole behind it."
    assert safe_cell(text) == "'" + text


@pytest.mark.parametrize("value", ["-3.2", "+4", "-1e5", "-.5", -3.2, 7, None, "", "weed", "a=b", "x-1", "stump 3"])
def test_numbers_and_plain_texts_stay(value):
    "A depth below zero or a shift in longitude is a number in the spreadsheet too."
    assert safe_cell(value) == value


@given(st.lists(st.lists(st.text(max_size=20) | st.floats(allow_nan=False), min_size=2, max_size=2), max_size=5))
def test_any_cells_come_back_and_none_is_a_formula(rows):
    "As many rows and columns as were put in, read by the standard library; texts begin with none of the signs."
    back = list(csv.reader(io.StringIO(csv_text(["a", "=b"], rows), newline="")))
    assert back[0] == ["a", "'=b"] and [len(row) for row in back[1:]] == [2] * len(rows)
    for row, cells in zip(rows, back[1:], strict=True):
        for value, cell in zip(row, cells, strict=True):
            if isinstance(value, float):
                assert float(cell) == value
            else:
                assert cell in (value, "'" + value)
                assert not cell.startswith(("=", "@", "\t", "\r"))
                assert not cell.startswith(("+", "-")) or float(cell) is not None


def test_every_csv_goes_through_the_same_door():
    "No other module that writes results makes CSV of its own."
    for path in Path(lakemap.__file__).parent.rglob("*.py"):
        if path.name != "csv_cells.py" and "read" not in path.parts:
            for node in ast.walk(ast.parse(path.read_text())):
                own = isinstance(node, ast.Attribute) and node.attr in ("writer", "DictWriter", "to_csv")
                assert not own, path.name
