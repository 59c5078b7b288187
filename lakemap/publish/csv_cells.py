"""CSV as we write it: no text in it can run as a spreadsheet's formula, and numbers stay numbers."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from typing import Any

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")
"""First characters that make a spreadsheet take a text for a formula; common practice of the trade. Blanks and quotes
before them are passed over by some."""
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")


def safe_cell(value: Any) -> Any:
    """A cell for CSV: a text that could start a formula gets an apostrophe in front; numbers, and texts that are plain
    numbers (``-3.2``), stay."""
    if not isinstance(value, str) or _NUMBER.fullmatch(value):
        return value
    bare = value.lstrip(" \"'\u00a0\ufeff")
    return "'" + value if value.startswith(_FORMULA_STARTS) or bare.startswith(_FORMULA_STARTS) else value


def csv_text(names: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """A header and rows of cells as RFC 4180 has them (lines end with CR LF), each cell safe."""
    out = io.StringIO()
    # with a bare \n the writer would leave a \r inside a text unquoted
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([safe_cell(name) for name in names])
    writer.writerows([safe_cell(cell) for cell in row] for row in rows)
    return out.getvalue()
