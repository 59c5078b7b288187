"""``lakemap check``: how good are these readings? Nothing is written but the picture that is asked for."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click
from rich.console import Console
from rich.text import Text

from lakemap.cli.options import lake_from, lake_options
from lakemap.cli.terminal import progress_bar, show_corrections, show_readings
from lakemap.errors import UsageError
from lakemap.model.soundings import Soundings
from lakemap.pipeline import check_lake
from lakemap.publish.commit import write_whole
from lakemap.publish.summary import choose_unit, summary_head
from lakemap.publish.track_picture import letters_met, letters_picture, track_picture
from lakemap.publish.wording import s44_line
from lakemap.units import format_length

FORMS = {".svg": "svg", ".png": "png"}


@click.command()
@lake_options
@click.option("--picture", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE.svg|png",
              help="Write a picture of the tracks, coloured by what was flagged.")
@click.option("--json", "as_json", is_flag=True, help="Print the head of summary.json instead.")
def check(as_json: bool, picture: Path | None, **given: Any) -> None:
    """Read and clean FILES and say how good they are; nothing is written but the picture that is asked for."""
    if picture is not None and picture.suffix.lower() not in FORMS:
        raise UsageError(f"--picture {picture.name}: name a file that ends in .svg or .png")
    lake = lake_from(given)
    with progress_bar(given["quiet"] or as_json) as progress:
        checked = check_lake(lake, progress)
    unit = choose_unit(checked.soundings, lake.settings.publish)
    head = summary_head(checked.soundings, checked.crossovers, unit, lake.messages)
    if picture is not None:
        write_whole(picture, track_picture(checked.soundings, unit, FORMS[picture.suffix.lower()]))
    if as_json:
        click.echo(json.dumps(head, indent=1))
    elif not given["quiet"]:
        _show(head, checked.soundings, unit, Console())


def _show(head: dict[str, Any], soundings: Soundings, unit: str, console: Console) -> None:
    """The page: in short, by file, what was corrected, how well passes agree, where what was flagged lies."""
    console.print(Text(_in_short(head)), soft_wrap=True)
    show_readings(head, console, most_messages=len(head["messages"]))
    show_corrections(head, console)
    for text in _agreement(head, unit):
        console.print(Text(text), soft_wrap=True)
    console.print()
    for line in letters_picture(soundings):
        console.print(Text(line), soft_wrap=True)
    console.print(Text("   ".join(f"{look.letter} {look.word}" for look in letters_met(soundings))), soft_wrap=True)


def _in_short(head: dict[str, Any]) -> str:
    rows = head["rows"]
    noted = sum(log["notes"].get("rise", 0) for log in head["logs"])
    share = rows["used"] / rows["in"] if rows["in"] else 0.0
    text = f"{rows['in']} rows in {len(head['logs'])} files: {share:.1%} are used, {rows['flagged']} are held out."
    rise = f" {noted} of those in use stand up from the floor and may be cover; they weigh less."
    return text + (rise if noted else "")


def _agreement(head: dict[str, Any], unit: str) -> list[str]:
    met = head["crossovers"]
    if not met["n"]:
        return [f"{head['passes']} passes, none crosses another: a line across would show how well they agree"]
    before, after = (format_length(met[key]["median_abs_m"], unit, 2) for key in ("before_bias", "after_bias"))
    return [
        f"{head['passes']} passes cross {met['n']} times; there their depths differ by {before} (median), and by "
        f"{after} once each pass's constant error is taken off.", s44_line(met),
    ]
