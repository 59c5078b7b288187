"""Wording of what readers have to say: counts with a first example."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from numpy.typing import NDArray


def first_of(lines: Sequence[int] | NDArray[Any]) -> str:
    """``line 7`` or ``line 7 + 12 more``; lines as numbers in the file."""
    return f"line {lines[0]}" + (f" + {len(lines) - 1} more" if len(lines) > 1 else "")
