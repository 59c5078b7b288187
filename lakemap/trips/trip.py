"""A trip: which spots, in which order, by which water, home in time."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS

from lakemap.errors import NothingUsable
from lakemap.geo.crs import project, unproject
from lakemap.geo.directions import direction_word
from lakemap.model.trip import Stop, Trip
from lakemap.physics.sun import sunrise_utc, sunset_utc
from lakemap.trips.start import away_said
from lakemap.trips.task import Task
from lakemap.trips.tour import best_tour
from lakemap.trips.ways import Waterways, Ways, ways_between
from lakemap.units import length_slot

Floats = NDArray[np.float64]

OFF_M = 5.0
"""What lies so far from where the boat stops is said to lie beside it (some errors of a fix; own choice)."""
SLACK = 0.05
"""Share of the driving time kept in hand: a way on the water is never driven as drawn (own choice)."""


@dataclass(frozen=True)
class Candidates:
    """k spots that a trip may visit: name, kind, place, depth and worth (their score); ``barred`` (k,): why one is
    no stop, though driven water may lie beside it; empty words, or left out, where it may be."""

    name: tuple[str, ...]
    kind: tuple[str, ...]
    lon_deg: Floats
    lat_deg: Floats
    depth_m: Floats
    worth: Floats
    barred: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.name)


@dataclass(frozen=True)
class Wishes:
    """``start_lon_deg, start_lat_deg``: where the boat is put in, and comes home to; ``time_s`` there is;
    ``speed_mps`` between spots; ``stay_s`` at each; ``reach_m`` of fuel or battery; ``start``: UTC, None where no clock
    matters; ``by_sunset``: be home before the sun sets; ``snap_m``: how far a spot may lie from driven water."""

    start_lon_deg: float
    start_lat_deg: float
    time_s: float
    speed_mps: float
    stay_s: float = 900.0
    reach_m: float = np.inf
    start: np.datetime64 | None = None
    by_sunset: bool = True
    snap_m: float = 40.0


def plan_trip(spots: Candidates, water: Waterways, wishes: Wishes) -> Trip:
    """The best trip over the spots. Raises NothingUsable where the start lies off the water that may be driven."""
    frame = water.frame
    at = _places(frame.crs, wishes, spots)
    ways = ways_between(water, at, wishes.snap_m)
    if not len(water.xy):
        raise NothingUsable("no water that may be driven: all of it is too shallow for the boat or kept out of; lessen "
                            "the draft or the margin, or allow open water")
    if ways.at[0] < 0:
        told = away_said(frame.crs, water.xy, wishes.start_lon_deg, wishes.start_lat_deg)
        raise NothingUsable(
            f"start {wishes.start_lat_deg:.5f},{wishes.start_lon_deg:.5f}: {told}, and a start "
            f"may lie {length_slot(wishes.snap_m, 0)} from it; start where the boat has been and nothing is "
            "closed or a danger, or allow open water")
    time_s, ends_by = _time(wishes)
    leg_s = ways.length_m * (1 + SLACK) / wishes.speed_mps
    task = Task(spots.worth, np.full(len(spots), wishes.stay_s), leg_s, ways.length_m, time_s, wishes.reach_m)
    order = best_tour(task)
    return _trip(spots, task, order, ways, wishes, ends_by)


def _places(crs: CRS, wishes: Wishes, spots: Candidates) -> Floats:
    lon = np.concatenate([[wishes.start_lon_deg], spots.lon_deg])
    lat = np.concatenate([[wishes.start_lat_deg], spots.lat_deg])
    xy = np.column_stack(project(crs, lon, lat))
    for i, why in enumerate(spots.barred):
        if why:
            xy[i + 1] = np.nan
    return xy


def _time(wishes: Wishes) -> tuple[float, np.datetime64]:
    """Time there is [s], and the moment by which the boat must be home (NaT without a start)."""
    if wishes.start is None:
        return wishes.time_s, np.datetime64("NaT", "s")
    start = wishes.start.astype("datetime64[s]")
    end = start + np.timedelta64(int(wishes.time_s), "s")
    sunset = sunset_utc(_local_day(wishes), wishes.start_lon_deg, wishes.start_lat_deg)
    if wishes.by_sunset and sunset is not None and sunset < end:
        end = sunset
    if end <= start:
        raise NothingUsable(f"start {start}Z: the sun has set (at {sunset}Z); start earlier, or plan for the night")
    return float((end - start) / np.timedelta64(1, "s")), end


def _local_day(wishes: Wishes) -> np.datetime64:
    local = _moment(wishes) + np.timedelta64(round(wishes.start_lon_deg / 15 * 3600), "s")
    return np.datetime64(local.astype("datetime64[D]"))


def _trip(
    spots: Candidates, task: Task, order: list[int], ways: Ways, wishes: Wishes, ends_by: np.datetime64
) -> Trip:
    crs: CRS = ways.water.frame.crs
    numbers = [0, *(i + 1 for i in order), 0] if order else [0]
    legs = list(pairwise(numbers))
    clock, stops = 0.0, []
    for (start, end), spot in zip(legs[:-1], order, strict=True):
        clock += float(task.leg_s[start, end])
        stops.append(_stop(spots, spot, wishes.stay_s, clock, ways.off(spot + 1)))
        clock += wishes.stay_s
    drawn = [ways.line(a, b) for a, b in legs]
    lines = [np.column_stack(unproject(crs, *line.T)) for line in drawn]
    # what is drawn, not the way over pixels that it straightens, which takes up to 3 % more and keeps its time
    lengths = np.array([float(np.hypot(*np.diff(line, axis=0).T).sum()) for line in drawn])
    return Trip(
        stops, lines, lengths, task.duration_s(order), float(task.worth[order].sum()),
        _left_out(spots, task, order, ways), _moment(wishes), ends_by, _said(order, wishes, ends_by, ways.off(0)))


def _stop(spots: Candidates, i: int, stay_s: float, clock_s: float, off: Floats) -> Stop:
    away_m = float(np.hypot(*off))
    beside = (away_m, direction_word(*off)) if away_m >= OFF_M else (0.0, "")
    return Stop(spots.name[i], spots.kind[i], float(spots.lon_deg[i]), float(spots.lat_deg[i]),
                float(spots.depth_m[i]), float(spots.worth[i]), stay_s, clock_s, *beside)


def _left_out(spots: Candidates, task: Task, order: list[int], ways: Ways) -> list[tuple[str, str]]:
    """Each spot that is not in, and why."""
    told = []
    for i in sorted(set(range(len(spots))) - set(order)):
        there_s, there_m = 2 * task.leg_s[0, i + 1] + task.stay_s[i], 2 * task.leg_m[0, i + 1]
        if spots.barred and spots.barred[i]:
            why = spots.barred[i]
        elif ways.at[i + 1] < 0:
            why = "lies off the water that may be driven"
        elif not np.isfinite(there_s):
            why = "no way to it through water that may be driven"
        elif there_s > task.time_s:
            why = f"too far for the time: {there_s / 60:.0f} minutes with the stay, there and back"
        elif there_m > task.reach_m:
            why = f"too far for the reach: {length_slot(float(there_m))} there and back"
        else:
            why = "others are worth more for the time"
        told.append((spots.name[i], why))
    return told


def _moment(wishes: Wishes) -> np.datetime64:
    return np.datetime64("NaT", "s") if wishes.start is None else wishes.start.astype("datetime64[s]")


def _said(order: list[int], wishes: Wishes, ends_by: np.datetime64, off: Floats) -> tuple[str, ...]:
    told = []
    away_m = float(np.hypot(*off))
    if away_m >= OFF_M:
        told.append("the start lies in no water that may be driven (never driven, closed, too shallow, a danger near): "
                    f"the trip begins {length_slot(away_m, 0)} to the {direction_word(*-off)} of it")
    sunrise = None if wishes.start is None else sunrise_utc(
        _local_day(wishes), wishes.start_lon_deg, wishes.start_lat_deg)
    if sunrise is not None and _moment(wishes) < sunrise:
        told.append(f"the start is before sunrise, {sunrise}Z")
    dusk = bool(ends_by < _moment(wishes) + np.timedelta64(int(wishes.time_s), "s"))
    if not order:
        dark = ", coming home in the dark" if dusk else ""
        told.append("no spot can be reached in time; allow more hours, speed or reach, a shorter stay"
                    f"{dark}, or open water")
    if dusk:
        told.append(f"the trip ends by sunset, {ends_by}Z")
    return tuple(told)


