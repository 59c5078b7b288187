"""Time zones: a fixed offset or an IANA name, and local times as UTC."""

from __future__ import annotations

import re
from dataclasses import dataclass
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from lakemap.errors import SettingError

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_OFFSET = re.compile(r"(?:utc|gmt)?\s*([+-])(\d{1,2})(?::?(\d{2}))?", re.IGNORECASE)
FARTHEST_OFFSET_S = 14 * 3600
"""No zone lies farther from UTC (Line Islands, +14:00)."""
WENT_BACK_S = 1800.0
"""A local clock that drops by more than this within its repeated hour has been put back."""


@dataclass(frozen=True)
class Zone:
    """A fixed offset from UTC [s], or a zone of the IANA data base; ``text`` as it was written."""

    text: str
    offset_s: float = 0.0
    name: str = ""

    def utc_s(self, local_s: Floats) -> tuple[Floats, Bools]:
        """Seconds since 1970 on the local clock (n,) as UTC, and which lie in the hour that the clock repeats.

        A repeated time is the first of its two until the clock drops within that hour, then the second; a time that
        the clock skipped counts as the moment after the gap.
        """
        if not self.name:
            return local_s - self.offset_s, np.zeros(len(local_s), dtype=bool)
        first, second = (self._localized(local_s, summer) for summer in (True, False))
        twice = np.isfinite(first) & (first != second)
        fell = np.concatenate([[False], np.diff(local_s) < -WENT_BACK_S]) & twice
        return np.where(np.maximum.accumulate(fell) & twice, second, first), twice

    def _localized(self, local_s: Floats, summer: bool) -> Floats:
        known = np.isfinite(local_s)
        micros = np.where(known, np.round(np.where(known, local_s, 0.0) * 1e6), 0.0).astype(np.int64)
        clock = pd.DatetimeIndex(micros.astype("datetime64[us]")).tz_localize(
            ZoneInfo(self.name), ambiguous=np.full(len(micros), summer), nonexistent="shift_forward"
        )
        utc = clock.tz_convert("UTC").tz_localize(None).to_numpy().astype("datetime64[us]").astype(np.int64)
        return np.where(known, utc / 1e6, np.nan)


UTC = Zone("UTC")


def zone_of(text: str) -> Zone:
    """``+02:00``, ``UTC-5``, ``UTC`` or an IANA name. Raises SettingError for anything else."""
    plain = text.strip() if isinstance(text, str) else ""
    if plain.lower() in ("utc", "gmt", "z"):
        return Zone(plain)
    if found := _OFFSET.fullmatch(plain):
        seconds = int(found[2]) * 3600 + int(found[3] or 0) * 60
        if seconds <= FARTHEST_OFFSET_S and int(found[3] or 0) < 60:
            return Zone(plain, float(-seconds if found[1] == "-" else seconds))
    try:
        return Zone(plain, name=ZoneInfo(plain).key)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise SettingError(
            f"[read] timezone = {text!r}: must be an offset from UTC such as +02:00, or a name such as Europe/Berlin"
        ) from None
