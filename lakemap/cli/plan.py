"""``lakemap plan``: a day over the spots of a map, and the lines to drive next."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypeVar

import click
import numpy as np

from lakemap.cli.given import Number, length_m, named_as, speed_mps
from lakemap.cli.plans import show_lines, show_trip
from lakemap.cli.terminal import faults_in
from lakemap.errors import UsageError
from lakemap.planning import AIMS, LinesPlan, LinesWishes, first_lines, lines_after, trip_over
from lakemap.publish.commit import write_whole
from lakemap.publish.gpx_lines import MOST_POINTS, ways_gpx
from lakemap.publish.routes import line_ways, lines_gpx, trip_gpx, trip_way
from lakemap.read import read_keep_out, read_shore
from lakemap.read.find import sort_files
from lakemap.read.outputs import read_summary
from lakemap.read.reader import Role
from lakemap.read.settings import ReadSettings
from lakemap.trips.closed import KeepOut
from lakemap.trips.trip import Wishes
from lakemap.trips.water import Boat

Command = TypeVar("Command", bound=Callable[..., Any])

_PATH = click.Path(path_type=Path)

_OPTIONS = (
    click.option("--hours", type=Number(0, 24, min_open=True), required=True, help="Time there is."),
    click.option("--speed", default="5mph", show_default=True, help="Speed, such as 5mph, 8km/h or 4kn."),
    click.option("--draft", default="0.5m", show_default=True, help="How deep the boat goes, such as 2ft."),
    click.option("--margin", default="0.3m", show_default=True, help="Water to keep below the boat."),
    click.option("--lower", default="0m", show_default=True,
                 help="How far the lake stands lower today than when it was surveyed."),
    click.option("--hazards", multiple=True, type=_PATH, help="Dangers, with the distance to keep."),
    click.option("--closed", multiple=True, type=_PATH, help="Closed areas."),
    click.option("--start", metavar="TIME",
                 help="When the boat starts, UTC, such as 2026-06-01T14:00. No clock is read."),
    click.option("--to", "file", type=_PATH, metavar="FILE", help="Write the plan as GPX: routes."),
    click.option("--tracks", is_flag=True, help="Tracks instead, for plotters that take no routes."),
    click.option("--most-points", type=click.IntRange(2), default=MOST_POINTS, show_default=True, metavar="N",
                 help="Longer tracks are split."),
    click.option("--quiet", is_flag=True, help="Say nothing but faults."),
)


def _plan_options(command: Command) -> Command:
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


@click.group()
def plan() -> None:
    """Plan a day over the spots of a map, or the lines to drive next. Not for navigation."""


@plan.command(short_help="Choose spots to stop at, and their order, home before the sun sets.")
@click.argument("folder", metavar="OUT", type=_PATH)
@click.option("--from", "place", required=True, metavar="LAT,LON", help="Where the boat starts and comes home to.")
@click.option("--stay", default=15.0, show_default=True, type=Number(0), help="Minutes at each spot.")
@click.option("--reach", metavar="20km", help="How far fuel or battery last: metres, feet or km.")
@click.option("--open-water", is_flag=True, help="Also through water nobody drove, where the map is deep enough.")
@click.option("--after-sunset", is_flag=True, help="Allow to come home in the dark.")
@_plan_options
def trip(folder: Path, place: str, stay: float, reach: str | None, open_water: bool, after_sunset: bool,
         file: Path | None, quiet: bool, **given: Any) -> None:
    """Choose spots of the map in OUT and their order: the most worth for the time, home before the sun sets.

    Ways keep to water that the boat has driven already, at a level no lower than then. Not for navigation.
    """
    lat, lon = _place(place)
    start = _moment(given["start"])
    _gpx(file)
    wishes = Wishes(lon, lat, given["hours"] * 3600, speed_mps("--speed", given["speed"]), stay * 60, _reach_m(reach),
                    start, not after_sunset)
    unit = str(read_summary(folder)["units"])
    with faults_in(unit):
        found = trip_over(folder, wishes, _boat(given, unit), _keep_out(given, start), open_water)
    if file is not None:
        tracks = ways_gpx(trip_way(found), given["most_points"]) if given["tracks"] else None
        write_whole(file, tracks or trip_gpx(found, unit))
    if not quiet:
        show_trip(found, unit)
        _written(file)


@plan.command(short_help="Choose the lines to drive next, those that tell most.")
@click.argument("folder", metavar="[OUT]", type=_PATH, required=False)
@click.option("--shore", multiple=True, type=_PATH, help="Before any log exists: the lake's outline alone.")
@click.option("--for", "aim", type=click.Choice(AIMS), default="depth", show_default=True,
              help="What they are to tell more of: depth, hardness, or spots that are unsure.")
@click.option("--from", "place", metavar="LAT,LON", help="Where the boat starts and comes home to.")
@_plan_options
def lines(folder: Path | None, shore: tuple[Path, ...], aim: str, place: str | None, file: Path | None, quiet: bool,
          **given: Any) -> None:
    """Choose lines that take the most error out of the map in OUT, in the order to drive them. Not for navigation."""
    start = _moment(given["start"])
    _gpx(file)
    lat, lon = _place(place) if place else (None, None)
    wishes = LinesWishes(given["hours"] * 3600, speed_mps("--speed", given["speed"]), lon, lat, aim)
    unit = str(read_summary(folder)["units"]) if folder else "m"
    with faults_in(unit):
        found = _lines(folder, shore, wishes, _boat(given, unit), _keep_out(given, start))
    if file is not None:
        ends = [(line.start, line.end) for line in found.plan.lines]
        tracks = ways_gpx(line_ways(ends, found.frame), given["most_points"]) if given["tracks"] else None
        write_whole(file, tracks or lines_gpx(ends, found.frame))
    if not quiet:
        show_lines(found, unit)
        _written(file)


def _gpx(file: Path | None) -> None:
    if file is not None:
        named_as("--to", file, [".gpx"])


def _written(file: Path | None) -> None:
    if file is not None:
        click.echo(f"Written to {file}")


def _lines(
    folder: Path | None, shore: tuple[Path, ...], wishes: LinesWishes, boat: Boat, keep_out: KeepOut
) -> LinesPlan:
    if shore and (folder is not None or wishes.aim != "depth"):
        raise UsageError("--shore is for the first survey of a lake without a map, for its depths: leave out "
                         f"{'OUT' if folder is not None else '--for'}, or --shore")
    if folder is not None:
        after: LinesPlan = lines_after(folder, wishes, boat, keep_out)
        return after
    if not shore:
        raise UsageError("nothing to plan for; name the folder of a map, or the lake's outline with --shore")
    files = sort_files(list(shore), {path: ["shore"] for path in shore})
    outline = read_shore(files.of("shore"), ReadSettings())
    if outline is None:
        raise UsageError(f"{shore[0]}: no outline in it; give the lake as polygons")
    first: LinesPlan = first_lines(outline, wishes, keep_out)
    return first


def _boat(given: dict[str, Any], unit: str) -> Boat:
    # below 0 ways would lead where the boat grounds; only the lake itself may stand higher
    draft, margin = (length_m(f"--{name}", given[name], unit, least_m=0.0) for name in ("draft", "margin"))
    lower = length_m("--lower", given["lower"], unit)
    return Boat(draft, margin, lower)


def _keep_out(given: dict[str, Any], start: np.datetime64 | None) -> KeepOut:
    roles: tuple[Role, ...] = ("hazards", "closed")
    forced: dict[Path, list[Role]] = {path: [role] for role in roles for path in given[role]}
    if not forced:
        return KeepOut(start=start, lasts_s=given["hours"] * 3600)
    return KeepOut(*read_keep_out(sort_files(list(forced), forced), ReadSettings()), start, given["hours"] * 3600)


def _place(text: str) -> tuple[float, float]:
    try:
        lat, lon = (float(part) for part in text.split(","))
    except ValueError:
        raise UsageError(f"--from {text}: write it as LAT,LON in degrees, such as 45.123,-93.456") from None
    if not (abs(lat) <= 90 and abs(lon) <= 360):
        raise UsageError(f"--from {text}: latitude first, then longitude, in degrees")
    return lat, lon


def _moment(text: str | None) -> np.datetime64 | None:
    if text is None:
        return None
    try:
        when = datetime.fromisoformat(text)
    except ValueError:
        raise UsageError(f"--start {text}: write it as 2026-06-01T14:00, in UTC") from None
    if len(text.strip()) <= len("2026-06-01"):
        raise UsageError(f"--start {text}: a day alone says not when the boat starts; write 2026-06-01T14:00, in UTC")
    return np.datetime64((when.astimezone(UTC) if when.tzinfo else when).replace(tzinfo=None), "s")


def _reach_m(text: str | None) -> float:
    if text is None:
        return float("inf")
    if text.lower().endswith("km"):
        return length_m("--reach", text[:-2], "m", least_m=0.0) * 1000.0
    return length_m("--reach", text, "m", least_m=0.0)
