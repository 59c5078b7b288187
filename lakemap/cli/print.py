"""``lakemap print``: a chart on paper, or cards of the spots, from a finished map."""

from __future__ import annotations

from pathlib import Path

import click

from lakemap.cli.given import Number, length_m, named_as
from lakemap.errors import UsageError
from lakemap.publish.chart.cards import cards_pdf
from lakemap.publish.chart.chart import chart_pdf
from lakemap.publish.chart.settings import ChartSettings
from lakemap.publish.chart.sheets import parse_scale
from lakemap.publish.commit import write_whole
from lakemap.publish.letters import letters_missing
from lakemap.read.finished_map import read_finished_map

CHART, CARDS = "chart.pdf", "spot_cards.pdf"
_PATH = click.Path(path_type=Path)


@click.command(name="print")
@click.argument("folder", metavar="OUT", type=_PATH)
@click.option("--to", "file", type=_PATH, metavar="FILE",
              help="The PDF to write; left out, chart.pdf or spot_cards.pdf in OUT.")
@click.option("--cards", is_flag=True,
              help="Cards instead of a chart: half a sheet (A5) a spot, with bearings from the shore.")
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="Size of a sheet.")
@click.option("--scale", metavar="1:N", help="Such as 1:2500; left out, a round scale that suits.")
@click.option("--units", "--unit", type=click.Choice(["m", "ft"]), help="Unit of depths; left out, the map's own.")
@click.option("--contour", metavar="LENGTH", help="Depth between lines, such as 5ft; left out, what the scale allows.")
@click.option("--spots", "most_spots", type=click.IntRange(0, 500), default=60, show_default=True,
              help="How many spots at most, best first.")
@click.option("--year", type=Number(2025, 2030), metavar="YEAR",
              help="Year of the magnetic variation, 2025 to 2030; left out, the soundings'.")
@click.option("--quiet", is_flag=True, help="Say nothing but faults.")
def print_(
    folder: Path, file: Path | None, cards: bool, paper: str, scale: str | None, units: str | None,
    contour: str | None, most_spots: int, year: float | None, quiet: bool,
) -> None:
    """Make a PDF of the map in OUT to print: a chart in as many sheets as its scale takes, and a table of the spots; or
    cards of the spots."""
    if file is not None:
        named_as("--to", file, [".pdf"])
    lake = read_finished_map(folder)
    step_m = length_m("--contour", contour, units or lake.unit) if contour else None
    if step_m is not None and step_m <= 0:
        raise UsageError(f"--contour {contour}: must be above 0; left out, it is what the scale allows")
    settings = ChartSettings(
        paper=paper, units=units, scale=parse_scale(scale) if scale else None, most_spots=most_spots, year=year,
        contour_m=step_m,
    )
    file = file or folder / (CARDS if cards else CHART)
    write_whole(file, cards_pdf(lake, settings) if cards else chart_pdf(lake, settings))
    if not quiet:
        click.echo(f"{'cards' if cards else 'chart'} written to {file}; print at 100 %, not fitted to the page")
        if lacking := letters_missing(lake.words):
            click.echo(lacking)
