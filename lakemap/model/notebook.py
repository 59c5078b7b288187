"""How a surface and spots show themselves in a notebook: as short tables; every text in them is text."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import TYPE_CHECKING

import numpy as np

from lakemap.units import fill_lengths, plural

if TYPE_CHECKING:
    from lakemap.model.spots import Spots
    from lakemap.model.surface import Surface

MOST_ROWS, MOST_REASONS = 20, 2


def surface_table(surface: Surface) -> str:
    """What a surface is and how sure, as an HTML table; figures in the surface's own unit."""
    unit = "" if surface.estimate.unit == "1" else f" {surface.estimate.unit}"
    rows, columns = surface.frame.shape
    told = [
        ("made by", surface.method), ("pixels", f"{columns} × {rows}, {surface.frame.pixel_m:g} m each"),
        ("drawn", f"{surface.share_drawn:.0%} of the water"),
    ]
    for word, grid in (("values", surface.estimate), ("sigma", surface.sigma)):
        seen = grid.values[np.isfinite(grid.values)]
        if len(seen):
            low, middle, high = np.quantile(seen, (0.0, 0.5, 1.0))
            told.append((word, f"{low:.2f} to {high:.2f}{unit}, half of them below {middle:.2f}{unit}"))
    if (left := surface.left_out) is not None and np.isfinite(left.rmse):
        told.append(("held back", f"one {left.by} at a time: missed by {left.rmse:.2f}{unit} (root mean square), "
                                  f"{left.within_1_96:.0%} within what sigma says"))
    return _table(surface.estimate.name, ("", ""), told)


def spots_table(spots: Spots) -> str:
    """The best spots as an HTML table, lengths in metres; a longer list is cut and says so."""
    rows = [
        (spots.name[i], spots.kind[i], _number(spots.depth_m[i], ".1f"), _number(spots.probability[i], ".2f"),
         f"{spots.seen[i]} of {spots.could_see[i]}", _number(spots.score[i], ".2f"),
         fill_lengths(" ".join(spots.reasons[i][:MOST_REASONS]), "m") if spots.reasons else "")
        for i in range(min(len(spots), MOST_ROWS))
    ]
    cut = f", the first {MOST_ROWS} here" if len(spots) > MOST_ROWS else ""
    said = f"{plural(len(spots), 'spot')}{cut}"
    return _table(said, ("spot", "kind", "depth [m]", "probability", "seen", "score", "why"), rows)


def _number(value: float, form: str) -> str:
    return format(float(value), form) if np.isfinite(value) else "–"


def _table(caption: str, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    top = "".join(f'<th scope="col">{_text(head)}</th>' for head in heads)
    top = f"<thead><tr>{top}</tr></thead>" if any(heads) else ""
    body = "".join("<tr>" + "".join(f'<td dir="auto" style="text-align:start">{_text(cell)}</td>' for cell in row)
                   + "</tr>" for row in rows)
    return f"<table><caption>{_text(caption)}</caption>{top}<tbody>{body}</tbody></table>"


def _text(words: object) -> str:
    return escape(str(words).encode("utf-8", "replace").decode())
