"""Single moments as people write them in settings and edits: a date, or a date with a time; UTC unless it says else."""

from __future__ import annotations

import datetime
import math

from lakemap.errors import UsageError

DAY_S = 86_400.0


def moment_s(value: object, what: str, *, end: bool = False) -> float:
    """Seconds since 1970 of a TOML date or time or of ISO 8601 text; a bare date is its first moment, or its last one
    where ``end``. Raises UsageError, which names ``what``, for anything else.
    """
    if isinstance(value, str):
        value = _from_text(value)
    if isinstance(value, datetime.datetime):
        aware = value if value.tzinfo else value.replace(tzinfo=datetime.UTC)
        return aware.timestamp()
    if isinstance(value, datetime.date):
        first = datetime.datetime(value.year, value.month, value.day, tzinfo=datetime.UTC).timestamp()
        return first + DAY_S - 0.001 if end else first
    raise UsageError(f"{what} = {value!r}: no date or time; write it as 2025-06-01 or 2025-06-01T14:30:00Z")


def moment_or_nan(text: str, what: str, *, end: bool = False) -> float:
    """Like moment_s; NaN for an empty text."""
    return moment_s(text, what, end=end) if text else math.nan


def _from_text(text: str) -> object:
    for read in (datetime.date.fromisoformat, datetime.datetime.fromisoformat):
        try:
            return read(text.strip())
        except ValueError:
            continue
    return text
