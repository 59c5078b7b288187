"""How the report's figures are drawn: one look for all, as SVG text that is the same each time."""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import matplotlib
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

from lakemap.publish.letters import font_names

STYLE: Any = {"font.family": list(font_names()),
              "svg.hashsalt": "lakemap", "svg.fonttype": "path", "font.size": 11, "path.simplify": False,
              "text.parse_math": False}
_NO_METADATA: dict[str, None] = {"Date": None, "Creator": None, "Format": None, "Type": None}

INK, PALE = "#1d2529", "#8a949a"


@contextmanager
def axes_of(width_in: float = 5.6, height_in: float = 3.2, panels: int = 1) -> Iterator[tuple[Figure, list[Axes]]]:
    """A drawing with ``panels`` axes side by side, open at the top and on the right."""
    with matplotlib.rc_context(STYLE):
        drawing = Figure(figsize=(width_in, height_in), layout="constrained")
        found = [drawing.add_subplot(1, panels, number + 1) for number in range(panels)]
        for axes in found:
            axes.spines[["top", "right"]].set_visible(False)
        yield drawing, found


def svg_of(drawing: Figure) -> str:
    """The drawing as an ``<svg>`` element."""
    out = io.StringIO()
    with matplotlib.rc_context(STYLE):
        FigureCanvasSVG(drawing).print_svg(out, metadata=_NO_METADATA)  # type: ignore[no-untyped-call]
    text = out.getvalue()
    return text[text.index("<svg"):].strip()
