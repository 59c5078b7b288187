"""NMEA 0183: one line of fixes out of all position sentences, and the place at any time between them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

GAP_S = 10.0
"""Nothing is interpolated across a longer gap: a boat at 2 m/s has gone 20 m and may have turned."""
GAP_IN_FIX_INTERVALS = 3.0
"""Recorders that keep few fixes may leave this many intervals between two ..."""
LONGEST_GAP_S = 60.0
"""... but never more than this."""


@dataclass(frozen=True)
class FixLine:
    """Fixes by time: ``time_s``, ``lon_deg`` (unwrapped, may pass 180), ``lat_deg``, all (f,), times rising;
    ``gap_s`` the longest gap that is interpolated across, ``interval_s`` the usual one."""

    time_s: Floats
    lon_deg: Floats
    lat_deg: Floats
    gap_s: float
    interval_s: float

    def places(self, time_s: Floats) -> tuple[Floats, Floats]:
        """Longitude and latitude at times (n,), straight between fixes; NaN in gaps and beyond one interval
        outside the first and last fix."""
        if len(self.time_s) == 0:
            return np.full(len(time_s), np.nan), np.full(len(time_s), np.nan)
        last = len(self.time_s) - 1
        right = np.clip(np.searchsorted(self.time_s, time_s), min(1, last), last)
        left = np.maximum(right - 1, 0)
        gap = self.time_s[right] - self.time_s[left]
        share = np.divide(time_s - self.time_s[left], gap, out=np.zeros(len(time_s)), where=gap > 0)
        outside = np.maximum(self.time_s[0] - time_s, time_s - self.time_s[-1])
        on_fix = (share == 0) | (share == 1)
        known = (on_fix | (gap <= self.gap_s)) & (outside <= self.interval_s)
        lon, lat = (
            np.where(known, values[left] + (values[right] - values[left]) * share, np.nan)
            for values in (self.lon_deg, self.lat_deg)
        )
        return (lon + 180.0) % 360.0 - 180.0, lat


def fix_line(
    time_s: Floats, kind: NDArray[np.int64], lon_deg: Floats, lat_deg: Floats, gap_s: float = GAP_S
) -> FixLine:
    """One fix a moment, of the sentence kind that most fixes came in; other kinds only fill its gaps.

    Two receivers on one boat differ by metres: taking turns between them would put that into the track.
    """
    if len(time_s) == 0:
        return FixLine(time_s, lon_deg, lat_deg, gap_s, 1.0)
    order = np.lexsort((np.arange(len(time_s)), time_s))
    time_s, kind, lon_deg, lat_deg = time_s[order], kind[order], lon_deg[order], lat_deg[order]
    chief = kind == np.bincount(kind).argmax()
    interval = _interval(time_s[chief])
    longest = max(gap_s, min(GAP_IN_FIX_INTERVALS * interval, LONGEST_GAP_S))
    keep = chief | _in_gaps(time_s, time_s[chief], longest)
    time_s, lon_deg, lat_deg = time_s[keep], lon_deg[keep], lat_deg[keep]
    first = np.append(True, np.diff(time_s) > 0)
    return FixLine(
        time_s[first], np.unwrap(lon_deg[first], period=360.0), lat_deg[first], longest, min(interval, longest)
    )


def _interval(time_s: Floats) -> float:
    steps = np.diff(time_s)
    steps = steps[steps > 0]
    return float(np.median(steps)) if len(steps) else 1.0


def _in_gaps(time_s: Floats, chief_s: Floats, longest: float) -> NDArray[np.bool_]:
    """Which times lie farther from the chief fixes around them than these may lie apart."""
    edged = np.concatenate([[-np.inf], chief_s, [np.inf]])
    right = np.searchsorted(edged, time_s)
    exact = edged[np.minimum(right, len(edged) - 1)] == time_s
    return np.asarray(~exact & (edged[right] - edged[right - 1] > longest))
