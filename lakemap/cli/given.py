"""Values of options as people write them: a fault names its option."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import click

from lakemap.errors import UsageError
from lakemap.units import parse_length_m, parse_speed_mps


class Number(click.FloatRange):
    """A number within limits; what counts as one and is none (nan) is refused."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """The number."""
        found = super().convert(value, param, ctx)
        if math.isnan(found):
            self.fail(f"{value!r} is no number", param, ctx)
        return found


def length_m(option: str, text: str, unit: str, least_m: float | None = None) -> float:
    """A length [m], bare numbers in ``unit``. Raises UsageError for another text, or where it is below ``least_m``."""
    found = _named(option, lambda: parse_length_m(text, unit))
    if least_m is not None and found < least_m:
        raise UsageError(f"{option} {text}: must be {least_m:g} or more")
    return found


def speed_mps(option: str, text: str) -> float:
    """A speed [m/s]. Raises UsageError for another text."""
    return _named(option, lambda: parse_speed_mps(text))


def named_as(option: str, file: Path, endings: Sequence[str]) -> Path:
    """The file, once its name ends as what is written into it does; UsageError else: no program would open it."""
    if file.suffix.lower() not in endings:
        raise UsageError(f"{option} {file}: the name must end in {' or '.join(endings)}")
    return file


def _named(option: str, parse: Callable[[], float]) -> float:
    try:
        return parse()
    except UsageError as fault:
        raise UsageError(f"{option}: {fault}") from None
