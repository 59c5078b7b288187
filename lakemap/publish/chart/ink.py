"""One page in millimetres from its lower left corner: lines, areas and text as PDF vectors."""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import lru_cache
from typing import Any

import matplotlib
import numpy as np
import shapely
from matplotlib.backends.backend_pdf import FigureCanvasPdf, PdfPages
from matplotlib.collections import LineCollection, PathCollection
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.path import Path
from matplotlib.textpath import TextToPath
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from lakemap.publish.html_map.colours import ramp
from lakemap.publish.letters import font_names, legible

Floats = NDArray[np.float64]

MM_PER_INCH, POINTS_PER_INCH = 25.4, 72.0
MM_PER_POINT = MM_PER_INCH / POINTS_PER_INCH

INK, PALE_INK, LAND = "#1d2529", "#66737a", "#efece4"
TINTS = ramp("depth", 33)[0:14:2]
"""The pale end of the page's depth colours: figures must be read on them."""
DANGER_INK = "#8a1f5c"
"""For what must not be missed; lines and words say it too, so no colour is needed (own choice)."""

_STYLE: Any = {"pdf.fonttype": 42, "pdf.compression": 6, "path.simplify": False, "text.parse_math": False,
               "text.usetex": False}


@lru_cache(maxsize=4096)
def text_size_mm(text: str, points: float, weight: str = "normal") -> tuple[float, float]:
    """Width and height of a line of text [mm]."""
    with matplotlib.rc_context(_STYLE):
        prop = FontProperties(family=list(font_names()), size=points, weight=weight)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            width, height, _ = TextToPath().get_text_width_height_descent(text, prop, False)
    return float(width) * MM_PER_POINT, float(height) * MM_PER_POINT


def cut_to(text: str, width_mm: float, points: float, weight: str = "normal") -> str:
    """Text that fits into a width, its end left out where it does not."""
    if text_size_mm(text, points, weight)[0] <= width_mm:
        return text
    fits, fails = 0, len(text)
    while fails - fits > 1:
        middle = (fits + fails) // 2
        if text_size_mm(text[:middle] + "…", points, weight)[0] <= width_mm:
            fits = middle
        else:
            fails = middle
    return text[:fits].rstrip() + "…"


def wrapped(text: str, width_mm: float, points: float, weight: str = "normal") -> list[str]:
    """Text as lines that fit into a width; a word that alone does not is cut."""
    lines: list[str] = []
    for word in legible(text).split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_size_mm(longer, points, weight)[0] <= width_mm:
            lines[-1] = longer
        else:
            lines.append(cut_to(word, width_mm, points, weight))
    return lines


class Page:
    """One page of a chart; coordinates and widths in millimetres, text sizes in points; what is drawn later lies over
    what was drawn before."""

    def __init__(self, width_mm: float, height_mm: float) -> None:
        self.size_mm = (width_mm, height_mm)
        self.figure = Figure(figsize=(width_mm / MM_PER_INCH, height_mm / MM_PER_INCH))
        FigureCanvasPdf(self.figure)
        self.axes = self.figure.add_axes((0, 0, 1, 1))
        self.axes.set(xlim=(0, width_mm), ylim=(0, height_mm))
        self.axes.set_axis_off()
        self._order = 1

    def _next(self) -> int:
        self._order += 1
        return self._order

    def lines(
        self, shapes: Sequence[BaseGeometry | Floats], width_mm: float, colour: str = INK, dash: Any = "-",
    ) -> None:
        """Lines, or outlines of areas, as shapes or as corners (n, 2)."""
        corners = [line for shape in shapes for line in _corners(shape)]
        if corners:
            self.axes.add_collection(LineCollection(
                corners, colors=colour, linewidths=width_mm / MM_PER_POINT, linestyles=dash, zorder=self._next(),
                capstyle="butt" if dash != "-" else "round", joinstyle="round"))

    def areas(self, shapes: Sequence[BaseGeometry], colour: str) -> None:
        """Filled polygons; holes stay open."""
        paths = [path for shape in shapes for path in _paths(shape)]
        if paths:
            self.axes.add_collection(PathCollection(paths, facecolors=colour, edgecolors="none", zorder=self._next()))

    def text(self, x_mm: float, y_mm: float, text: str, points: float = 7.0, **look: Any) -> None:
        """One line of text at its left end and base line, unless ``ha``, ``va``, ``rotation`` say otherwise."""
        look = {"color": INK, "ha": "left", "va": "baseline", "rotation_mode": "anchor"} | look
        self.axes.text(x_mm, y_mm, text, fontsize=points, fontfamily=list(font_names()), zorder=self._next(),
                       parse_math=False, **look)


def _corners(shape: BaseGeometry | Floats) -> list[Floats]:
    if isinstance(shape, np.ndarray):
        return [shape]
    parts = shapely.get_parts(shape)
    if len(parts) > 1 or shape.geom_type.startswith(("Multi", "GeometryCollection")):
        return [line for part in parts for line in _corners(part)]
    if shape.is_empty or shape.geom_type == "Point":
        return []
    if shape.geom_type == "Polygon":
        return [np.asarray(ring.coords)[:, :2] for ring in (shape.exterior, *shape.interiors)]
    return [np.asarray(shape.coords)[:, :2]]


def _paths(shape: BaseGeometry) -> Iterator[Path]:
    for part in shapely.get_parts(shape):
        if part.geom_type in ("MultiPolygon", "GeometryCollection"):
            yield from _paths(part)
        elif part.geom_type == "Polygon" and not part.is_empty:
            rings = [np.asarray(ring.coords)[:, :2] for ring in (part.exterior, *part.interiors)]
            codes = [np.r_[Path.MOVETO, np.full(len(ring) - 2, Path.LINETO), Path.CLOSEPOLY] for ring in rings]
            yield Path(np.concatenate(rings), np.concatenate(codes))


@contextmanager
def ready_to_draw() -> Iterator[None]:
    """Inside it pages are made and drawn with this module's settings, whatever the user's own are."""
    with matplotlib.rc_context({**matplotlib.rcParamsDefault, **_STYLE}), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message=".*[Gg]lyph.*")
        warnings.filterwarnings("ignore", message=".*Raqm.*")
        yield


def pdf_of(pages: Sequence[Page], title: str) -> bytes:
    """The pages as PDF: fonts embedded, no date, nothing of the machine; the same pages, the same bytes."""
    about: Mapping[str, Any] = {"Title": title, "CreationDate": None, "ModDate": None, "Producer": None,
                                "Creator": "lakemap"}
    out = io.BytesIO()
    with PdfPages(out, metadata=dict(about)) as pdf:
        for page in pages:
            pdf.savefig(page.figure)
    return out.getvalue()
