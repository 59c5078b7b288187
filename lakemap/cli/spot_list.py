"""What a search for spots says on the screen."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table
from rich.text import Text

from lakemap.model.outputs import CAUTION
from lakemap.model.spots import Spots
from lakemap.spots.search import Found
from lakemap.units import fill_lengths, format_length

MOST_SHOWN = 30


def show_spots(spots: Spots, known: int, found: Found, unit: str, water_said: str | None = None) -> None:
    """A row a spot with its sentences; where none is left, which filter emptied the list; the caution. ``water_said``:
    how long a filter by the water holds."""
    console = Console()
    if len(spots):
        console.print(_table(spots, unit))
    shown = min(len(spots), MOST_SHOWN)
    more = f"; {shown} shown here" if shown < len(spots) else ""
    console.print(f"{len(spots)} of {known} spots{more}.")
    if found.emptied_by is not None:
        for said, alone, left in found.steps:
            console.print(Text(f"  {fill_lengths(said, unit)}: passes {alone} of {known} alone, {left} left after it"))
        console.print(Text(f"Emptied by: {fill_lengths(found.emptied_by, unit)}."))
    if water_said:
        console.print(Text(water_said))
    console.print(Text(CAUTION))


def _sure(spots: Spots, i: int) -> str:
    """Chance that something is there, and between what it lies 19 times in 20."""
    chance, low, high = (_percent(float(share[i])) for share in (spots.probability, spots.prob_low, spots.prob_high))
    return f"{chance}%" + (f" ({low}–{high})" if low != high else "")


def _percent(share: float) -> str:
    """A share that is nearly one is never said to be all."""
    return ">99" if share >= 0.995 else f"{100 * share:.0f}"


def _table(spots: Spots, unit: str) -> Table:
    table = Table(box=None, pad_edge=False)
    for title in ("spot", "kind", "depth", "sure", "seen", "score", "why"):
        table.add_column(title, justify="left" if title in ("spot", "kind", "why") else "right",
                         no_wrap=title not in ("why", "kind"))
    for i in range(min(len(spots), MOST_SHOWN)):
        table.add_row(
            Text(spots.name[i]), Text(spots.kind[i]), format_length(float(spots.depth_m[i]), unit),
            _sure(spots, i), f"{spots.seen[i]}/{spots.could_see[i]}", f"{spots.score[i]:.2f}",
            Text(fill_lengths(" ".join(spots.reasons[i]), unit)),
        )
    return table
