"""``lakemap why``: what stands behind depth and bottom at one place of a map."""

from __future__ import annotations

from pathlib import Path

import click

from lakemap.publish.explain import explain
from lakemap.read.map_place import read_place


# a longitude in the west begins with a minus sign and is no option
@click.command(context_settings={"ignore_unknown_options": True})
@click.argument("folder", metavar="OUT", type=click.Path(path_type=Path))
@click.argument("lat", type=float)
@click.argument("lon", type=float)
def why(folder: Path, lat: float, lon: float) -> None:
    """Say why the map in OUT has this depth and this bottom at LAT LON (degrees): the readings near it, what was done
    to them, and what is in doubt."""
    for line in explain(read_place(folder, lat, lon)):
        click.echo(line)
