"""How a long job tells where it is: a callable that is given a few words at the start of each stage."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[str], None]


def quiet(stage: str) -> None:
    """Says nothing."""
