"""How far the surfaces can be trusted: figures of the interpolators that competed, and the curve of reliability."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from lakemap.publish.html_map.colours import ramp
from lakemap.publish.report_drawing import axes_of, svg_of
from lakemap.publish.report_markup import figure, table
from lakemap.publish.wording import length, spaced

_MARKERS = ("o", "s", "^", "D")


def rivals_table(surfaces: Mapping[str, Any], unit: str) -> str:
    """One row for each interpolator and surface of summary.json; nothing where the method was given."""
    rows = []
    for name, surface in surfaces.items():
        for one in surface["rivals"] if surface else ():
            shown = [length(one[key], unit) if surface["unit"] == "m" else _plain(one[key])
                     for key in ("rmse_m", "bias_m")]
            taken = "taken" if one["method"] == surface["method"] else ""
            rows.append((spaced(name), one["method"], *shown, f"{one['told']:.0%}", str(one["n"]), taken))
    if not rows:
        return ""
    heads = ("surface", "method", f"RMSE [{unit}]", f"bias [{unit}]", "told", "block means", "outcome")
    return table(
        "How the methods did on readings held back from them; the field (for hardness kriging) is taken unless another "
        "is clearly better",
        heads, rows, ("surface", "method", "outcome"))


def _plain(value: float | None) -> str:
    return "–" if value is None else f"{value:.3f}"


def reliability_figure(surfaces: Mapping[str, Any]) -> str:
    """Share of held-back readings within an interval of the stated error against the share that should lie in it, as a
    figure; ``""`` where nothing was held back."""
    curves = {name: one["left_out"]["reliability"] for name, one in surfaces.items() if one and one["left_out"]}
    curves = {name: curve for name, curve in curves.items() if curve}
    if not curves:
        return ""
    with axes_of(4.2, 4.0) as (drawing, (axes,)):
        axes.plot([0, 1], [0, 1], color="#8a949a", linewidth=1, linestyle="--")
        for k, (name, curve) in enumerate(curves.items()):
            axes.plot([pair[0] for pair in curve], [pair[1] for pair in curve], marker=_MARKERS[k % len(_MARKERS)],
                      color=ramp("depth", len(curves) + 2)[-1 - k], markersize=5, linewidth=1.5, label=spaced(name))
        axes.set(xlabel="share that should lie within", ylabel="share that does", xlim=(0, 1), ylim=(0, 1))
        axes.legend(frameon=False, loc="upper left")
        text = svg_of(drawing)
    return figure(
        text,
        "How true sigma is: readings held back, by the interval that should hold them. On the dashed line sigma is "
        "right; above it, it is too wide, below it too narrow.")
