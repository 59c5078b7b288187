"""``lakemap check``: how good are these readings? Nothing is written."""

from __future__ import annotations

import json
from typing import Any

import click
from rich.console import Console

from lakemap.cli.options import lake_from, lake_options
from lakemap.cli.terminal import progress_bar, show_corrections, show_readings
from lakemap.pipeline import check_lake
from lakemap.publish.summary import choose_unit, summary_head
from lakemap.units import format_length


@click.command()
@lake_options
@click.option("--json", "as_json", is_flag=True, help="Print the head of summary.json instead.")
def check(as_json: bool, **given: Any) -> None:
    """Read and clean FILES and say how good they are; nothing is written."""
    lake = lake_from(given)
    with progress_bar(given["quiet"] or as_json) as progress:
        checked = check_lake(lake, progress)
    unit = choose_unit(checked.soundings, lake.settings.publish)
    head = summary_head(checked.soundings, checked.crossovers, unit, lake.messages)
    if as_json:
        click.echo(json.dumps(head, indent=1))
    elif not given["quiet"]:
        console = Console()
        show_readings(head, console)
        show_corrections(head, console)
        console.print(_crossover_line(head, unit))


def _crossover_line(head: dict[str, Any], unit: str) -> str:
    met = head["crossovers"]
    if not met["n"]:
        return f"{head['passes']} passes, none crosses another: a line across the others would show how well they agree"
    median = format_length(met["median_abs_m"], unit, 2)
    return f"{head['passes']} passes cross {met['n']} times; there their depths differ by {median} (median)"
