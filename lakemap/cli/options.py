"""Options that several commands share, and what they amount to: one Lake."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar

import click

from lakemap.cli.given import length_m
from lakemap.errors import UsageError
from lakemap.project import Lake, laid_over, read_settings_file, with_settings
from lakemap.read.find import roles_read
from lakemap.read.reader import OPTIONS, Role

Command = TypeVar("Command", bound=Callable[..., Any])

_READABLE = click.Path(path_type=Path)

_ROLE_HELP: Mapping[Role, str] = {
    "log": "A file that is a log, whatever it looks like.",
    "marks": "A file of marks: a table, GPX waypoints or points.",
    "shore": "Shoreline polygons; islands are holes.",
    "levels": "Level of the lake by time.",
    "profile": "Temperature of the water by depth.",
    "samples": "What the bottom is at places where it was felt or seen.",
    "check_depths": "Depths measured by hand, to check the sounder with.",
    "prior": "What is known of the depth already.",
    "hazards": "Dangers, with a distance to keep.",
    "closed": "Closed areas.",
    "catches": "Your log of catches, blanks too.",
    "edits": "Your own word on rows and spots.",
    "boat": "The boat and its sounders (TOML).",
}

_OPTIONS = (
    click.argument("files", nargs=-1, type=_READABLE),
    *(click.option(OPTIONS[role], role, multiple=True, type=_READABLE, help=_ROLE_HELP[role]) for role in roles_read()),
    click.option("--units", type=click.Choice(["ft", "m"]), help="Unit of lengths in the results."),
    click.option("--depth-unit", type=click.Choice(["ft", "m", "fathom"]), help="Unit of depths in tables without it."),
    click.option("--depth-from", type=click.Choice(["transducer", "surface", "keel"]),
                 help="What depths in tables count from."),
    click.option("--columns", metavar="lat=y,lon=x,depth=z", help="Names of columns in tables with odd headers."),
    click.option("--date", metavar="DATE", help="Day of the first row (UTC) of logs that tell times of day alone."),
    click.option("--settings", "settings_file", type=_READABLE, help="Settings file (TOML)."),
    click.option("--set", "assignments", multiple=True, metavar="KEY=VALUE",
                 help="One setting, such as clean.draft_m=0.4."),
    click.option("--area", type=_READABLE, help="Keep to these polygons."),
    click.option("--since", metavar="DATE", help="Keep to readings from this date or time on (UTC)."),
    click.option("--until", metavar="DATE", help="Keep to readings up to this date or time (UTC)."),
    click.option("--crs", help="CRS of the columns x and y of tables, such as EPSG:26915."),
    click.option("--quiet", is_flag=True, help="Say nothing but faults."),
)


def lake_options(command: Command) -> Command:
    """Adds the options that say which readings and how to take them."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


def lake_from(given: Mapping[str, Any], extra: Mapping[str, Any] | None = None, name: str = "") -> Lake:
    """The Lake that the options describe; ``extra`` settings by dotted key lie below what the user gave."""
    paths: Sequence[Path] = given["files"]
    if not (paths or given.get("log")):
        raise UsageError("no files given; name logs, tables or folders, or try: lakemap demo")
    tables = with_settings({}, [f"{key}={_toml(value)}" for key, value in (extra or {}).items()])
    if given["settings_file"]:
        tables = laid_over(tables, read_settings_file(given["settings_file"]))
    name = str(tables.pop("name", name))
    flags = {
        "publish.units": given["units"], "read.depth_unit": given["depth_unit"], "read.depth_from": given["depth_from"],
        "read.columns": given["columns"], "read.date": given.get("date"),
        "read.area": given.get("area"), "read.since": given.get("since"),
        "read.until": given.get("until"), "read.crs": given["crs"], "grid.pixel_m": given.get("pixel"),
        "grid.method": given.get("method"), "grid.realisations": given.get("realisations"),
        "publish.basemap": given.get("basemap"),
        "publish.contour_m": _contour_m(given.get("contour"), given["units"]),
    }
    short = [f"{key}={_toml(value)}" for key, value in flags.items() if value is not None]
    tables = with_settings(tables, [*short, *given["assignments"]])
    return Lake.from_files(
        paths, tables, roles={role: given[role] for role in roles_read() if given.get(role)}, name=name
    )


def _toml(value: Any) -> str:
    return repr(value) if isinstance(value, int | float) else json.dumps(str(value))


def _contour_m(text: str | None, units: str | None) -> float | None:
    return None if text is None else length_m("--contour", text, units or "m")
