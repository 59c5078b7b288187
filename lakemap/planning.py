"""Plans from a finished map, as stories: a day over its spots, and the lines to drive next."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from lakemap.errors import InputError, NothingUsable
from lakemap.geo.crs import convergence_deg, project, unproject, utm_crs
from lakemap.geo.shore import water_polygon
from lakemap.model.frame import Grid, GridFrame
from lakemap.model.keep_out import ClosedAreas, Hazards
from lakemap.model.marks import MOVING_KINDS, OTHER_KINDS
from lakemap.model.outputs import DEPTH, DEPTH_SIGMA, HARDNESS
from lakemap.model.shoreline import Shoreline
from lakemap.model.soundings import Soundings
from lakemap.model.terrain import FEATURE_KINDS
from lakemap.model.trip import Trip
from lakemap.physics.beam import footprint_diameter_m
from lakemap.read.map_keep_out import read_map_keep_out
from lakemap.read.map_rasters import read_grid, read_spot_fields
from lakemap.read.outputs import read_soundings, read_summary
from lakemap.spots.settings import SpotSettings
from lakemap.trips.closed import KeepOut
from lakemap.trips.doubt import DoubtField, doubt_field, lines_over_spots
from lakemap.trips.error_field import Variability, error_field
from lakemap.trips.lines import candidate_lines
from lakemap.trips.of_map import (
    PASS_NOISE_HARDNESS,
    follow_at,
    outline_frame,
    slope_axis,
    unknown_lake,
    variability,
)
from lakemap.trips.route import Outing
from lakemap.trips.start import away_said
from lakemap.trips.survey import SurveyPlan, plan_lines
from lakemap.trips.trip import Candidates, Wishes, plan_trip
from lakemap.trips.water import Boat, driven_water, open_water
from lakemap.trips.ways import waterways

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

AIMS = ("depth", "hardness", "spots")
"""What next lines may be for."""
SURE = 0.95
"""Spots surer than this need no other look (own choice)."""
CORRIDOR_M = 8.0
"""Half width of water that counts as driven: some errors of a fix on either side (own choice)."""


@dataclass(frozen=True)
class FinishedMap:
    """What plans need of the folder of a map."""

    summary: Mapping[str, Any]
    depth: Grid
    sigma: Grid
    soundings: Soundings
    hazards: Hazards
    closed: ClosedAreas

    @classmethod
    def of(cls, folder: Path, boat: Boat) -> FinishedMap:
        """What it says to a boat. Raises InputError where there is no finished map."""
        summary = read_summary(folder)
        depth = read_grid(folder, summary, DEPTH)
        return cls(summary, depth, read_grid(folder, summary, DEPTH_SIGMA), read_soundings(folder),
                   *read_map_keep_out(folder, summary, depth.frame.crs, boat.needs_m))

    @property
    def depth_m(self) -> Floats:
        """Depths (rows, columns) [m]."""
        return self.depth.values.astype(np.float64)

    @property
    def sigma_m(self) -> Floats:
        """Their standard errors (rows, columns) [m]."""
        return self.sigma.values.astype(np.float64)

    @property
    def common_m(self) -> float:
        """Error that all depths share [m]."""
        return float(self.summary["common_error"]["offset_m"])


# one thread: the last bits of a product depend on how threads share it
@threadpool_limits.wrap(limits=1)  # type: ignore
def trip_over(folder: Path, wishes: Wishes, boat: Boat, keep_out: KeepOut, through_open_water: bool = False) -> Trip:
    """A trip over the spots of a map, by water that the boat has driven; by choice through open water that is surely
    deep enough. Raises InputError without a finished map, NothingUsable without spots or a start on the water."""
    told = FinishedMap.of(folder, boat)
    spots = _candidates(read_spot_fields(folder, told.summary), boat.lower_m)
    # single readings open no way: a hole in the ice, a pole from the shore and a casting tell of no boat
    used = told.soundings.usable() & np.isfinite(told.soundings.x_m) & np.isfinite(told.soundings.depth_m)
    driven = told.soundings.take(used & (told.soundings.per_log("single", 0.0) == 0.0))
    open_ = driven_water(told.depth.frame, np.column_stack([driven.x_m, driven.y_m]), driven.depth_m, CORRIDOR_M, boat)
    if through_open_water:
        open_ |= open_water(told.depth.frame, told.depth_m, told.sigma_m, told.common_m, boat)
    frame, keep = told.depth.frame, keep_out.joined(told.hazards, told.closed)
    # a marked stump is a danger and a stop too: the boat keeps its distance and stops beside it
    closed = replace(keep, hazards=Hazards()).on(frame)
    trip = plan_trip(_barred(spots, frame, closed), waterways(frame, open_ & ~keep.on(frame)), wishes)
    return replace(trip, messages=(*keep_out.said(frame), *trip.messages))


def _barred(spots: Candidates, frame: GridFrame, closed: Mask) -> Candidates:
    """The spots, those in closed pixels or without water over them today barred: driven water beside would else make
    them stops."""
    row, column, inside = frame.pixel_of(*project(frame.crs, spots.lon_deg, spots.lat_deg))
    shut = np.zeros(len(spots), dtype=bool)
    shut[inside] = closed[row[inside], column[inside]]
    return replace(spots, barred=tuple(
        "lies in a closed area" if no_entry else "falls dry at that level" if depth_m <= 0.0 else ""
        for no_entry, depth_m in zip(shut.tolist(), spots.depth_m.tolist(), strict=True)))


def _candidates(rows: list[dict[str, Any]], lower_m: float) -> Candidates:
    """The spots, their depths those of today."""
    if not rows:
        raise NothingUsable("the map has no spots, so there is nothing to plan a trip over")
    columns = {name: np.array([_number(row.get(name)) for row in rows])
               for name in ("lon_deg", "lat_deg", "depth_m", "score")}
    return Candidates(tuple(str(row["name"]) for row in rows), tuple(str(row["kind"]) for row in rows),
                      columns["lon_deg"], columns["lat_deg"], columns["depth_m"] - lower_m,
                      np.nan_to_num(columns["score"]))


def _number(value: Any) -> float:
    return float("nan") if value is None else float(value)


@dataclass(frozen=True)
class LinesWishes:
    """``time_s`` there is, ``speed_mps`` on lines and between, where the boat starts and ends (None: the place of
    the first sounding, or the lake's edge), and what the lines are for: a word of AIMS."""

    time_s: float
    speed_mps: float
    start_lon_deg: float | None = None
    start_lat_deg: float | None = None
    aim: str = "depth"


@dataclass(frozen=True)
class LinesPlan:
    """Lines to drive, on ``frame``'s CRS, and what they are for: a word of AIMS, or ``outline``: errors are shares of
    the lake's own spread, not metres. ``messages`` for people."""

    plan: SurveyPlan[Any]
    frame: GridFrame
    aim: str
    messages: tuple[str, ...] = ()

    @property
    def bearings_deg(self) -> Floats:
        """Direction of each line (k,), clockwise from true north."""
        middle = np.array([(line.start + line.end) / 2 for line in self.plan.lines]).reshape(-1, 2)
        grid = np.array([line.bearing_deg for line in self.plan.lines])
        turn = convergence_deg(self.frame.crs, *unproject(self.frame.crs, middle[:, 0], middle[:, 1]))
        return np.asarray((grid + turn) % 360.0)


@threadpool_limits.wrap(limits=1)  # type: ignore
def lines_after(folder: Path, wishes: LinesWishes, boat: Boat, keep_out: KeepOut) -> LinesPlan:
    """Where new passes take the most error out of a map, or the most doubt out of its spots.

    Raises InputError without a finished map, NothingUsable where the map has nothing of what the lines are for.
    """
    told = FinishedMap.of(folder, boat)
    frame, rows = told.depth.frame, told.soundings.usable() & np.isfinite(told.soundings.x_m)
    drivable = frame.water & (told.depth.values >= boat.needs_m) & ~keep_out.joined(told.hazards, told.closed).on(frame)
    outing = _outing(wishes, frame, _places(told, rows)[:1], slope_axis(told.depth_m))
    if wishes.aim == "spots":
        doubt = _doubt(told, read_spot_fields(folder, told.summary))
        outing = replace(outing, slope_axis=None, crossed=False)
        by_doubt = plan_lines(doubt, lines_over_spots(frame, drivable, doubt), outing)
        return _lines(by_doubt, frame, drivable, wishes, keep_out)
    nodes, step_m = follow_at(frame, frame.water)
    if wishes.aim == "hardness":
        driven, floor = _places(told, rows & np.isfinite(told.soundings.hardness)), _hardness(folder, told)
    else:
        driven, floor = _places(told, rows), variability(told.summary["surfaces"]["depth"]["model"], told.depth_m)
    before = error_field(nodes, step_m, floor, driven)
    plan = plan_lines(before, candidate_lines(frame, drivable, before, driven), outing)
    return _lines(plan, frame, drivable, wishes, keep_out)


def _lines(plan: SurveyPlan[Any], frame: GridFrame, drivable: Mask, wishes: LinesWishes, given: KeepOut) -> LinesPlan:
    """The plan with what it is for. Raises NothingUsable where not one line fits."""
    if plan.lines:
        return LinesPlan(plan, frame, wishes.aim, given.said(frame))
    if not drivable.any():
        raise NothingUsable("no water of the map may be driven: all of it is too shallow for the boat or kept out of; "
                            "lessen --draft or --margin, or look through hazards and closed areas")
    told = ""
    if wishes.start_lon_deg is not None and wishes.start_lat_deg is not None:
        xy = replace(frame, water=drivable).water_xy()
        told = f": from the start {away_said(frame.crs, xy, wishes.start_lon_deg, wishes.start_lat_deg)}"
    raise NothingUsable(f"no line fits into {wishes.time_s / 60:.3g} minutes with the way there and home{told}; "
                        "allow more --hours or --speed, or start nearer")


def _places(told: FinishedMap, rows: NDArray[np.bool_]) -> Floats:
    return np.column_stack([told.soundings.x_m[rows], told.soundings.y_m[rows]])


def _hardness(folder: Path, told: FinishedMap) -> Variability:
    if HARDNESS not in told.summary["files"]:
        raise NothingUsable("the map has no hardness, so there is nothing to reduce its error from; plan for depth")
    drawn = read_grid(folder, told.summary, HARDNESS).values.astype(np.float64)
    return variability(told.summary["surfaces"]["hardness"]["model"], drawn, PASS_NOISE_HARDNESS)


def _doubt(told: FinishedMap, rows: list[dict[str, Any]]) -> DoubtField:
    """The doubt about things that stand on the floor: its own shapes and what swims are not told by another look."""
    others = (*FEATURE_KINDS, *MOVING_KINDS, *OTHER_KINDS)
    unsure = [row for row in rows if row["kind"] not in others and _number(row["probability"]) < SURE]
    if not unsure:
        raise NothingUsable(f"no thing on the floor of the map is less sure than {SURE:.0%}; plan for depth")
    lon, lat, sigma, probability, depth = (
        np.array([_number(row.get(name)) for row in unsure])
        for name in ("lon_deg", "lat_deg", "position_sigma_m", "probability", "depth_m"))
    settings = SpotSettings.from_mapping(told.summary.get("settings", {}).get("spots", {}))
    radius = footprint_diameter_m(np.nan_to_num(depth, nan=float(np.nanmedian(told.depth_m))), settings.beam_deg) / 2
    xy = np.column_stack(project(told.depth.frame.crs, lon, lat))
    return doubt_field(xy, sigma, probability, radius, settings.detection, settings.false_alarm)


@threadpool_limits.wrap(limits=1)  # type: ignore
def first_lines(shore: Shoreline, wishes: LinesWishes, keep_out: KeepOut) -> LinesPlan:
    """The first survey of a lake of which only the outline is known."""
    if shore.water.is_empty:
        raise InputError(f"{shore.source}: no water in it; give the lake as polygons")
    centre = shore.water.representative_point()
    crs = utm_crs(centre.x, centre.y)
    frame = outline_frame(water_polygon(shore, crs), crs)
    nodes, step_m = follow_at(frame, frame.water)
    before = error_field(nodes, step_m, unknown_lake(nodes), np.empty((0, 2)))
    drivable = frame.water & ~keep_out.on(frame)
    edge = frame.water_xy()[:1]
    plan = plan_lines(before, candidate_lines(frame, drivable, before), _outing(wishes, frame, edge, None))
    return _lines(plan, frame, drivable, replace(wishes, aim="outline"), keep_out)


def _outing(wishes: LinesWishes, frame: GridFrame, usual: NDArray[np.float64], axis: float | None) -> Outing:
    home = usual[0]
    if wishes.start_lon_deg is not None:
        home = np.ravel(project(frame.crs, wishes.start_lon_deg, wishes.start_lat_deg))
    return Outing(np.asarray(home, np.float64), wishes.time_s, wishes.speed_mps, axis)

