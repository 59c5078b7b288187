"""``lakemap map``: the job."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click
from rich.console import Console
from rich.text import Text

from lakemap.cli.options import lake_from, lake_options
from lakemap.cli.terminal import progress_bar, show_readings
from lakemap.model.outputs import MAP, REPORT, SUMMARY
from lakemap.pipeline import map_lake
from lakemap.project import Lake
from lakemap.publish import publish
from lakemap.units import format_length


@click.command(name="map")
@lake_options
@click.option("--out", "folder", required=True, type=click.Path(path_type=Path, file_okay=False),
              help="Folder for results.")
@click.option("--pixel", type=float, metavar="M", help="Side of a pixel in metres; else chosen from the readings.")
@click.option("--contour", metavar="5ft", help="Step between contours.")
@click.option("--basemap", metavar="URL", help="Background of map.html, as https://HOST/{z}/{x}/{y}.png: looking at "
              "the page then asks that host for each place; without it nothing is ever asked.")
@click.option("--method", type=click.Choice(["auto", "field", "kriging", "linear", "nearest"]),
              help="How depths are joined; auto lets them compete on passes held back.")
@click.option("--realisations", type=click.IntRange(0, 1000), metavar="N",
              help="Draw N equally likely surfaces, for intervals of area and volume.")
def map_(folder: Path, **given: Any) -> None:
    """Make the map of one lake from FILES: logs, tables, marks, a shoreline, or folders of them."""
    make_map(lake_from(given), folder, given["quiet"])


def make_map(lake: Lake, folder: Path, silent: bool) -> None:
    """Make one map, write it to ``folder`` and say what came out."""
    console = Console()
    if folder.is_dir() and (folder / MAP).exists() and not (folder / SUMMARY).exists() and not silent:
        console.print(Text(f"{folder} holds an unfinished map (no {SUMMARY}); it is made anew"))
    with progress_bar(silent) as progress:
        summary = publish(map_lake(lake, progress), folder, lake.settings.publish, progress)
    if not silent:
        show_readings(summary, console)
        _show_result(summary, folder, console)


def _show_result(summary: Mapping[str, Any], folder: Path, console: Console) -> None:
    unit, depth = summary["units"], summary["surfaces"]["depth"]
    left_out = depth["left_out"]
    if left_out and left_out["rmse_m"] is not None:
        error = format_length(left_out["rmse_m"], unit, 2)
        console.print(f"Depth of passes held back is told within {error} (RMSE), "
                      f"{left_out['within_1_96']:.0%} of them inside the stated error.")
    console.print(f"{summary['spots']} spots. Open {folder / MAP}; how it was made: {folder / REPORT}", soft_wrap=True)
