"""The tracks coloured by what was flagged: as SVG or PNG, and as a small picture of letters for a terminal.

Colours are those of Okabe & Ito (2008, Color Universal Design), safe for colour-blind eyes; shapes and letters differ
too, so no colour is needed to read either picture.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lakemap.model.flags import Flag, first_fault
from lakemap.model.soundings import Soundings
from lakemap.units import from_metres

Bools = NDArray[np.bool_]

MOST_DOTS = 40_000
"""Rows drawn of each kind at most, evenly chosen; flagged rows are few and nearly always all drawn."""
WIDE, TALL_TO_WIDE = 72, 0.5
"""Characters across the terminal picture, and how much wider than tall a cell of letters is."""
_STYLE: Any = {"svg.hashsalt": "lakemap", "svg.fonttype": "path", "font.size": 11, "path.simplify": False}
_NO_METADATA: dict[str, None] = {"Date": None, "Creator": None, "Format": None, "Type": None}


@dataclass(frozen=True)
class Look:
    """How one kind of row is shown: its word, letter, colour, shape (matplotlib's marker) and flags."""

    word: str
    letter: str
    colour: str
    marker: str
    flags: tuple[Flag, ...]


USED = Look("used", "·", "#9aa3a8", ".", ())
LOOKS = (
    Look("may be cover", "^", "#009e73", "^", (Flag.rise,)),
    Look("other", "o", "#5b5b5b", "o", (Flag.duplicate, Flag.off_water, Flag.by_owner, Flag.bad_checksum_fix)),
    Look("far outlier", "F", "#e69f00", "D", (Flag.far_outlier,)),
    Look("spike", "!", "#cc79a7", "v", (Flag.spike,)),
    Look("lost bottom", "L", "#000000", "x", (Flag.lost_bottom, Flag.no_depth)),
    Look("layer lock", "W", "#56b4e9", "P", (Flag.layer_lock,)),
    Look("second echo", "2", "#0072b2", "s", (Flag.second_echo_lock,)),
    Look("position", "J", "#d55e00", "*", (Flag.position_jump, Flag.frozen_fix)),
)
"""From the kind drawn first to the one that covers others; each fault row has one kind, its first fault."""


def kinds_of_rows(soundings: Soundings) -> NDArray[np.int64]:
    """For each row (n,): its place in LOOKS, -1 in use without a word, -2 without a place."""
    kind = np.full(len(soundings), -1)
    first = first_fault(soundings.flags)
    for number, look in enumerate(LOOKS):
        for flag in look.flags:
            carried = soundings.has(flag) & soundings.usable() if flag is Flag.rise else first == flag.value
            kind[carried] = number
    return np.where(np.isfinite(soundings.x_m) & np.isfinite(soundings.y_m), kind, -2)


def track_picture(soundings: Soundings, unit: str, form: str) -> bytes:
    """The tracks as ``svg`` or ``png``; the same bytes for the same rows."""
    import matplotlib
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    kind = kinds_of_rows(soundings)
    near = _frame(soundings, kind)
    with matplotlib.rc_context(_STYLE):
        drawing = Figure(figsize=(9, 7), layout="constrained")
        (FigureCanvasSVG if form == "svg" else FigureCanvasAgg)(drawing)
        axes = drawing.add_subplot()
        for number, look in [(-1, USED), *enumerate(LOOKS)]:
            rows = _thinned(np.flatnonzero((kind == number) & near))
            if len(rows):
                x, y = (from_metres(v[rows] - v[near].min(), unit) for v in (soundings.x_m, soundings.y_m))
                axes.scatter(x, y, s=2 if number < 0 else 26, c=look.colour, marker=look.marker, linewidths=1 if
                             look.marker == "x" else 0, label=f"{look.word} ({np.count_nonzero(kind == number)})",
                             zorder=3 + number)
        axes.set_aspect("equal")
        axes.set_xlabel(f"east [{unit}]")
        axes.set_ylabel(f"north [{unit}]")
        axes.set_title("Soundings by what was flagged", loc="left")
        axes.legend(loc="center left", bbox_to_anchor=(1.0, 0.5), frameon=False, markerscale=1.4)
        out = io.BytesIO()
        nothing: Any = _NO_METADATA if form == "svg" else {"Software": None}
        drawing.savefig(out, format=form, dpi=120, bbox_inches="tight", metadata=nothing)
    return out.getvalue()


def _frame(soundings: Soundings, kind: NDArray[np.int64]) -> Bools:
    """Rows within the picture: those within the used rows' reach and a tenth more, so that one jump far away does not
    shrink the lake to a dot."""
    placed, used = kind > -2, soundings.usable() & (kind > -2)
    if not used.any():
        return placed
    inside = placed.copy()
    for values in (soundings.x_m, soundings.y_m):
        low, high = float(values[used].min()), float(values[used].max())
        spare = 0.1 * (high - low) + 20.0
        with np.errstate(invalid="ignore"):
            inside &= (values >= low - spare) & (values <= high + spare)
    return inside


def _thinned(rows: NDArray[np.int64]) -> NDArray[np.int64]:
    return rows[:: -(-len(rows) // MOST_DOTS)] if len(rows) else rows


def letters_picture(soundings: Soundings) -> list[str]:
    """The tracks as lines of letters, north up: in each cell the kind of row that covers the others."""
    kind = kinds_of_rows(soundings)
    near = _frame(soundings, kind) & (kind > -2)
    if not near.any():
        return []
    x, y, kind = soundings.x_m[near] - soundings.x_m[near].min(), soundings.y_m[near], kind[near]
    y = y.max() - y
    cell = max(float(x.max()) / (WIDE - 1), float(y.max()) * TALL_TO_WIDE / (WIDE / 2), 1.0)
    column, line = (x / cell).astype(np.int64), (y * TALL_TO_WIDE / cell).astype(np.int64)
    cells = np.full((int(line.max()) + 1, int(column.max()) + 1), -2)
    np.maximum.at(cells, (line, column), kind)
    letters = {-2: " ", -1: USED.letter} | {number: look.letter for number, look in enumerate(LOOKS)}
    return ["".join(letters[int(value)] for value in row).rstrip() for row in cells]


def letters_met(soundings: Soundings) -> list[Look]:
    """The kinds of rows that the pictures show, in the order of LOOKS."""
    kind = kinds_of_rows(soundings)
    return [USED, *(look for number, look in enumerate(LOOKS) if (kind == number).any())]
