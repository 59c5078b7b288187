"""Marks placed on the working CRS, as hits: put back by how late they were tapped, moved to where they were aimed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lakemap.echo.aim import Aim
from lakemap.echo.lag import LEAST_MARKS, Lag, fit_lag
from lakemap.echo.settings import EchoSettings
from lakemap.geo.crs import project
from lakemap.geo.way import Afloat, Way, ways_of
from lakemap.model.hits import FROM_MARK, Hits
from lakemap.model.marks import NOTHING, Marks
from lakemap.model.soundings import Soundings
from lakemap.model.spot_names import is_written
from lakemap.units import length_slot

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

MARK_CONFIDENCE = 0.9
"""Somebody saw it and noted it; one in ten is gone, mistaken or misplaced: own judgement, no source."""

CATCH = "catch"
TAP_LAGS_S, CATCH_LAGS_S = np.arange(-3.0, 20.01, 0.25), np.arange(0.0, 180.01, 1.5)
"""Lags that are tried: a mark is tapped within seconds (a clock may be off a little), a fish is fought for minutes."""


@dataclass(frozen=True)
class _Aboard:
    """Marks tapped aboard a boat that was logging: ``row`` (m,) of each among all, time [s since 1970] and its way."""

    row: Ints
    time_s: Floats
    ways: tuple[Way, ...]
    way: Ints

    def at(self, lag_s: float) -> Afloat:
        """The boat so long before each mark (m,)."""
        parts = [way.at(self.time_s - lag_s) for way in self.ways]
        picked = (np.choose(self.way, [getattr(part, name) for part in parts]) for name in Afloat.__dataclass_fields__)
        return Afloat(*picked)

    def some(self, chosen: Bools) -> _Aboard:
        """Part of them."""
        return _Aboard(self.row[chosen], self.time_s[chosen], self.ways, self.way[chosen])


def place_marks(
    marks: Marks, soundings: Soundings, settings: EchoSettings, shown: Hits | None = None
) -> tuple[Hits, tuple[str, ...]]:
    """Every mark with a finite place as a hit of its own kind, in the order given; and what is said of their lag.

    A mark tapped aboard a boat that was logging then lies where that boat was its lag before: one lag for each file
    (catches apart), found against the rises ``shown`` where they tell it; else the mark stays, and the way made in
    ``tap_lag_s`` counts as its error. A range with a bearing or an aim moves it to the side. The note joins the mark's
    name and its note. Depth and height are not known (NaN). No marks or no CRS: no hits.
    """
    crs = soundings.crs
    if len(marks) == 0 or crs is None:
        return Hits.empty(), ()
    xy = np.column_stack(project(crs, marks.lon_deg, marks.lat_deg))
    catch = np.array([kind == CATCH for kind in marks.kind])
    var = 2.0 * np.where(catch, settings.catch_sigma_m, settings.mark_sigma_m) ** 2
    heading, said = np.full(len(marks), np.nan), list[str]()
    aim = Aim.of(marks, crs)
    aboard = _aboard(xy, marks, soundings, settings)
    for source, caught in dict.fromkeys((marks.source[row], bool(catch[row])) for row in aboard.row):
        of_file = np.array([marks.source[row] == source and catch[row] == caught for row in aboard.row])
        some = aboard.some(of_file)
        lag = _lag(some, aim.take(some.row), settings, shown, CATCH_LAGS_S if caught else TAP_LAGS_S)
        then = some.at(lag.lag_s if lag.sure else 0.0)
        heading[some.row] = then.heading_deg
        var[some.row] = _variance(then, lag, caught, settings)
        if lag.sure:
            put = np.column_stack([then.x_m, then.y_m])
            xy[some.row] = np.where(np.isfinite(put), put, xy[some.row])
        said += _said(source, len(some.row), lag, caught)
    offset, more = aim.offset(heading, settings)
    looked = np.array([kind == NOTHING for kind in marks.kind]) & ~aim.directed
    # a look around has its range as its reach, not as its error
    hits = _as_hits(marks, xy + offset, np.sqrt((var + np.where(looked, 0.0, more)) / 2.0), settings)
    return hits.take(np.isfinite(hits.x_m) & np.isfinite(hits.y_m)), tuple(said)


def _aboard(xy: Floats, marks: Marks, soundings: Soundings, settings: EchoSettings) -> _Aboard:
    """Marks near where some log's boat was at their time, of several boats the nearest; no waypoints of ours."""
    tapped = np.array([not is_written(name) for name in marks.name], dtype=bool)
    dated = ~np.isnat(marks.time_utc) & tapped
    ways = tuple(ways_of(soundings)) if dated.any() else ()
    if not ways:
        return _Aboard(np.empty(0, np.int64), np.empty(0), (), np.empty(0, np.int64))
    time_s = np.where(dated, marks.time_utc.astype("datetime64[ms]").astype(np.int64) / 1000.0, np.nan)
    then = [way.at(time_s) for way in ways]
    away = np.array([np.hypot(one.x_m - xy[:, 0], one.y_m - xy[:, 1]) for one in then])
    away = np.where(np.isfinite(away), away, np.inf)
    row = np.flatnonzero(away.min(axis=0) <= settings.aboard_m)
    return _Aboard(row, time_s[row], ways, np.argmin(away[:, row], axis=0))


def _lag(some: _Aboard, aim: Aim, settings: EchoSettings, shown: Hits | None, tried_s: Floats) -> Lag:
    if shown is None or not len(shown) or len(some.row) < LEAST_MARKS:
        return Lag(0.0, np.inf, np.nan, False)

    def placed(lag_s: float) -> tuple[Floats, Floats]:
        then = some.at(lag_s)
        offset, var = aim.offset(then.heading_deg, settings)
        return np.column_stack([then.x_m, then.y_m]) + offset, var / 2.0

    return fit_lag(placed, np.column_stack([shown.x_m, shown.y_m]), tried_s)


def _variance(then: Afloat, lag: Lag, caught: bool, settings: EchoSettings) -> Floats:
    """Variance (m,) of the boat's place as the mark's, both axes together [m2]."""
    speed = np.nan_to_num(then.speed_mps)
    if lag.sure:
        return np.asarray(2.0 * lag.miss_m**2 + (speed * lag.sigma_s) ** 2)
    fix = np.nan_to_num(then.sigma_m, nan=settings.position_sigma_m)
    if caught:
        return np.full(len(speed), 2.0 * settings.catch_sigma_m**2)
    return np.asarray(2.0 * fix**2 + (speed * settings.tap_lag_s) ** 2)


def _said(source: str, count: int, lag: Lag, caught: bool) -> list[str]:
    what = "catches" if caught else "marks"
    if count < LEAST_MARKS:
        return []
    if not lag.sure:
        return [f"{source}: how late its {count} {what} made on the way were tapped does not show; they stay where the "
                "boat was then"]
    return [f"{source}: {count} {what} were tapped {lag.lag_s:.1f} s late (± {lag.sigma_s:.1f}), as what the sounder "
            f"showed tells; they lie that much earlier on the boat's way, to {length_slot(lag.miss_m)}"]


def _as_hits(marks: Marks, xy: Floats, sigma_m: Floats, settings: EchoSettings) -> Hits:
    n = len(marks)
    nan = np.full(n, np.nan)
    said = [": ".join(part for part in pair if part) for pair in zip(marks.name, marks.note, strict=True)]
    dated = marks.time_utc.astype("datetime64[ms]")
    seconds = np.where(np.isnat(dated), np.nan, dated.astype(np.int64) / 1000.0)
    around = np.where(np.isfinite(marks.range_m) & ~_directed(marks), marks.range_m, settings.looked_m)
    return Hits(
        kind=np.array(marks.kind, dtype=np.str_), origin=np.full(n, FROM_MARK, np.int8), x_m=xy[:, 0], y_m=xy[:, 1],
        position_sigma_m=sigma_m, depth_m=nan, height_m=nan.copy(),
        confidence=np.full(n, MARK_CONFIDENCE), pings=np.zeros(n, np.int32), pass_id=np.full(n, -1, np.int32),
        time_s=seconds, time_utc=dated, note=np.array(said, dtype=np.str_),
        noted_lon_deg=marks.lon_deg, noted_lat_deg=marks.lat_deg,
        reach_m=np.where(np.array(marks.kind) == NOTHING, around, np.nan),
    )


def _directed(marks: Marks) -> Bools:
    return np.isfinite(marks.bearing_deg) | np.isfinite(marks.aim_deg)
