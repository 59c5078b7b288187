"""The report's curves: what was held out, corrections, crossovers, variogram, readings held back, volume, calibration.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from matplotlib.ticker import NullFormatter
from numpy.typing import NDArray

from lakemap.model.bottom import Bottom
from lakemap.model.surface import Surface
from lakemap.model.terrain import DepthAreaVolume
from lakemap.publish.html_map.colours import ramp
from lakemap.publish.letters import legible
from lakemap.publish.report_drawing import INK, PALE, axes_of, svg_of
from lakemap.publish.wording import spaced
from lakemap.units import M2_PER_ACRE, M3_PER_ACRE_FOOT, M_PER_UNIT, from_metres

Floats = NDArray[np.float64]

DARK, MIDDLE, LIGHT = ramp("depth")[26], ramp("depth")[18], ramp("depth")[9]
MOST_DOTS = 700
"""Readings drawn of those held back, evenly chosen."""
LONGEST_WORD = 30
"""Letters of a word in a legend: a longer one would push the drawing out of its own figure."""
WIDEST = 0.985
"""Share of the differences that a histogram's width holds; the others stand in its end bars."""


def flags_figure(by_flag: Mapping[str, int], rows_in: int) -> str:
    """Bars of the rows held out by reason, largest first; ``""`` where none was."""
    counted = sorted(((count, name) for name, count in by_flag.items() if count), reverse=True)
    if not counted:
        return ""
    with axes_of(height_in=0.7 + 0.28 * len(counted)) as (drawing, (axes,)):
        axes.barh([spaced(name) for _, name in counted], [count for count, _ in counted], color=MIDDLE)
        for row, (count, _) in enumerate(counted):
            axes.text(count, row, f" {count} ({count / max(rows_in, 1):.2%})", va="center", fontsize=9)
        axes.invert_yaxis()
        axes.set(xlabel="rows held out", xlim=(0, 1.25 * counted[0][0]))
        return svg_of(drawing)


def corrections_figure(corrections: Sequence[Mapping[str, Any]], unit: str) -> str:
    """For each correction that can be judged, what passes disagree by before and after it; ``""`` without one."""
    judged = [one for one in corrections if one["before_m"] is not None and one["after_m"] is not None]
    if not judged:
        return ""
    with axes_of(height_in=0.9 + 0.42 * len(judged)) as (drawing, (axes,)):
        for row, one in enumerate(judged):
            before, after = (from_metres(float(one[key]), unit) for key in ("before_m", "after_m"))
            axes.plot([before, after], [row, row], color=PALE, linewidth=1.5, zorder=1)
            words = ("before", "after") if row == 0 else ("", "")
            axes.plot([before], [row], "o", markerfacecolor="white", markeredgecolor=INK, label=words[0])
            axes.plot([after], [row], "o", color=DARK, label=words[1])
        axes.set_yticks(range(len(judged)), [str(one["name"])[:40] for one in judged])
        axes.invert_yaxis()
        axes.set(xlabel=f"median disagreement [{unit}]")
        axes.set_xlim(left=0)
        axes.margins(y=0.2)
        axes.legend(frameon=False, loc="best")
        return svg_of(drawing)


def crossovers_figure(before_m: Floats, after_m: Floats, unit: str) -> str:
    """Histograms of the differences where passes cross, before and after their constant errors are taken off."""
    if not len(after_m):
        return ""
    before, after = from_metres(before_m, unit), from_metres(after_m, unit)
    reach = max(float(np.quantile(np.abs(before), WIDEST)), 1e-3)
    edges = np.linspace(-reach, reach, 41).tolist()
    with axes_of(height_in=2.9) as (drawing, (axes,)):
        axes.hist(np.clip(before, -reach, reach), edges, color=LIGHT, label="before")
        axes.hist(np.clip(after, -reach, reach), edges, histtype="step", color=DARK, linewidth=1.6, label="after")
        axes.axvline(0.0, color=PALE, linewidth=1)
        axes.set(xlabel=f"difference of two depths at one place [{unit}]", ylabel="crossings")
        axes.legend(frameon=False)
        return svg_of(drawing)


def variogram_figure(surface: Surface, unit: str) -> str:
    """Half the mean squared difference of readings by distance, and what the model expects; ``""`` where not known."""
    told = surface.variogram
    if told is None:
        return ""
    word = _unit_word(surface, unit)
    square = M_PER_UNIT[unit] ** 2 if word == unit else 1.0
    with axes_of(height_in=3.2) as (drawing, (axes,)):
        axes.plot(from_metres(told.lag_m, unit), told.gamma / square, "o", color=DARK, markersize=5, label="readings")
        if np.isfinite(told.expected).any():
            axes.plot(from_metres(told.lag_m, unit), told.expected / square, color=INK, linewidth=1.5,
                      label="expected by the model")
        axes.set(xscale="log", yscale="log", xlabel=f"distance between two readings [{unit}]",
                 ylabel="half their mean squared\ndifference" + (f" [{word}²]" if word else ""))
        for axis in (axes.xaxis, axes.yaxis):
            axis.set_major_formatter("{x:g}")
            axis.set_minor_formatter(NullFormatter())
        axes.legend(frameon=False, loc="upper left")
        return svg_of(drawing)


def held_back_figure(surface: Surface, name: str, unit: str) -> str:
    """Readings held back against what the others told of them; ``""`` where none were."""
    told = surface.left_out
    if told is None or told.reading is None or told.estimate is None:
        return ""
    word = _unit_word(surface, unit)
    reading, estimate = (_thinned(from_metres(values, unit) if word == unit else values)
                         for values in (told.reading, told.estimate))
    ends = [float(min(reading.min(), estimate.min())), float(max(reading.max(), estimate.max()))]
    with axes_of(3.2, 3.4) as (drawing, (axes,)):
        axes.plot(ends, ends, color=PALE, linewidth=1, linestyle="--")
        axes.plot(reading, estimate, ".", color=DARK, markersize=3, alpha=0.6)
        axes.set(title=f"{name} [{word}]" if word else name, xlabel="as read", ylabel="told by the others",
                 aspect="equal")
        return svg_of(drawing)


def _unit_word(surface: Surface, unit: str) -> str:
    return {"m": unit, "degC": "°C"}.get(surface.estimate.unit, "")


def _thinned(values: Floats) -> Floats:
    return np.asarray(values[:: -(-len(values) // MOST_DOTS)])


def volume_figure(table: DepthAreaVolume, unit: str) -> str:
    """Area at least so deep and volume below it against depth, depth downwards, with their intervals where drawn."""
    if len(table.depth_m) < 2:
        return ""
    depth, ends = from_metres(table.depth_m, unit), table.intervals
    area_unit, per_area = ("acres", M2_PER_ACRE) if unit == "ft" else ("hectares", 1e4)
    volume_unit, per_volume = ("acre-feet", M3_PER_ACRE_FOOT) if unit == "ft" else ("million m³", 1e6)
    low_high = [None, None] if ends is None else [(ends.area_low_m2, ends.area_high_m2),
                                                  (ends.volume_low_m3, ends.volume_high_m3)]
    curves = ((table.area_m2, low_high[0], per_area, f"area so deep [{area_unit}]"),
              (table.volume_m3, low_high[1], per_volume, f"volume below [{volume_unit}]"))
    with axes_of(height_in=3.2, panels=2) as (drawing, panels):
        for axes, (values, interval, per, word) in zip(panels, curves, strict=True):
            axes.fill_betweenx(depth, 0, values / per, color=LIGHT, linewidth=0)
            axes.plot(values / per, depth, color=DARK, linewidth=1.5)
            if interval is not None:
                axes.fill_betweenx(depth, interval[0] / per, interval[1] / per, color=MIDDLE, alpha=0.5, linewidth=0)
            axes.set(xlabel=word, ylabel=f"depth [{unit}]", ylim=(float(depth[-1]), 0.0))
            axes.set_xlim(left=0)
        return svg_of(drawing)


def calibration_figure(bottom: Bottom | None) -> str:
    """What bottom samples say against the hardness read beside them, a mark a word; ``""`` without samples."""
    if bottom is None or not len(bottom.sample_told):
        return ""
    words = list(dict.fromkeys(bottom.sample_words))
    with axes_of(4.6, 3.8) as (drawing, (axes,)):
        axes.plot([0, 1], [0, 1], color=PALE, linewidth=1, linestyle="--")
        for number, word in enumerate(words):
            mine = np.array([one == word for one in bottom.sample_words])
            axes.plot(bottom.sample_told[mine], bottom.sample_read[mine], "os^Dv<>P*X"[number % 10], markersize=5,
                      color=ramp("hardness", len(words) + 3)[number + 2], label=legible(word)[:LONGEST_WORD],
                      linestyle="none")
        axes.set(xlabel="hardness by the sample's word", ylabel="hardness read beside it", xlim=(-0.03, 1.03))
        axes.legend(frameon=False, loc="upper left", bbox_to_anchor=(1.0, 1.0), fontsize=9)
        return svg_of(drawing)
