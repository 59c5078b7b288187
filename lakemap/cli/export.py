"""``lakemap export``: readings of a map in forms that others take."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from lakemap.errors import UsageError
from lakemap.model.b12 import B12About
from lakemap.publish.b12 import b12_readings, write_b12
from lakemap.read.outputs import read_soundings

_PATH = click.Path(path_type=Path)
ASKED = {
    "convention": "--convention 3.0 or 3.1", "organisation": "--organisation (who hands the readings on)",
    "email": "--email (their contact)", "platform_id": "--platform-id (the boat's identifier there)",
    "platform_name": "--platform-name (the boat's name)", "licence": "--licence 'CC0 1.0'",
    "logger": "--logger (what recorded)", "logger_version": "--logger-version",
}


@click.command()
@click.argument("folder", metavar="OUT", type=_PATH)
@click.option("--b12", "file", type=_PATH, metavar="FILE",
              help="Timed readings as IHO B-12 (.geojson, or .csv with its metadata beside it).")
@click.option("--convention", type=click.Choice(["3.0", "3.1"]), help="Version of the format that the receiver takes.")
@click.option("--organisation", help="Who hands the readings on: the trusted node's name.")
@click.option("--email", help="Contact there.")
@click.option("--platform-id", help="The boat's identifier there: the node's prefix, a hyphen and a UUID.")
@click.option("--platform-name", help="The boat's name.")
@click.option("--licence", help="Must be 'CC0 1.0', the one that the standard takes.")
@click.option("--logger", help="Device or program that recorded the logs.")
@click.option("--logger-version", help="Its version.")
@click.option("--depth-from", type=click.Choice(["transducer", "surface", "keel"]),
              help="Which logs, where some count from another reference.")
@click.option("--quiet", is_flag=True, help="Say nothing but faults.")
def export(folder: Path, file: Path | None, depth_from: str | None, quiet: bool, **asked: Any) -> None:
    """Write readings of the map in OUT for others, as they were logged."""
    if file is None:
        raise UsageError(f"nothing to export from {folder}; say what, such as --b12 readings.geojson")
    if missing := [text for name, text in ASKED.items() if not (asked[name] or "").strip()]:
        raise UsageError(f"--b12 needs {', '.join(missing)}; the standard asks for them and nothing is made up")
    about = B12About(**asked)
    readings = b12_readings(read_soundings(folder), depth_from)
    write_b12(readings, about, file)
    if not quiet:
        left = "".join(f"; {count} rows left out: {reason}" for reason, count in readings.left_out.items())
        click.echo(f"{len(readings.depth_m)} readings below the {readings.reference} written to {file}{left}")
