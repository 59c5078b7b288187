"""Reads the check values in tests/reference: first line says the source, second the columns."""

from __future__ import annotations

import csv
from pathlib import Path

FOLDER = Path(__file__).parent / "reference"


def rows(name):
    "Rows of a table as dicts; numbers as floats, empty fields left out."
    with (FOLDER / name).open(newline="") as file:
        source = file.readline()
        assert source.startswith("# source"), f"{name} does not say where its numbers come from"
        return [{key: _number(text) for key, text in row.items() if text} for row in csv.DictReader(file)]


def _number(text):
    try:
        return float(text)
    except ValueError:
        return text
