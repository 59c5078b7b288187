"""What the bottom is made of, in figures: for summary.json and the report."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from lakemap.model.bottom import Bottom
from lakemap.publish.letters import letters_missing
from lakemap.publish.report_charts import calibration_figure
from lakemap.publish.report_markup import figure, paragraph, section, table
from lakemap.publish.wording import about
from lakemap.units import from_metres

IN_DOUBT = 0.05
"""Half a difference between kinds of evidence, in hardness, from which a pixel counts as in doubt (own choice)."""
SURE = 0.8


def bottom_figures(bottom: Bottom | None) -> dict[str, Any] | None:
    """Scale, classes with their share of the pixels drawn and of those surely so, edges; None without hardness."""
    if bottom is None:
        return None
    likeliest, drawn = bottom.likeliest(), max(int((bottom.likeliest() >= 0).sum()), 1)
    classes = {
        name: {"share": float((likeliest == k).sum() / drawn),
               "surely": float((np.nan_to_num(grid.values) >= SURE).sum() / drawn)}
        for k, (name, grid) in enumerate(zip(bottom.classes, bottom.probability, strict=True))
    }
    return {
        "scale": bottom.scale, "samples": bottom.calibrated, "samples_told_right": bottom.accuracy, "classes": classes,
        "in_doubt": float((np.nan_to_num(bottom.doubt.values) > IN_DOUBT).sum() / drawn),
        "edges": {"n": len(bottom.edges), "length_m": float(bottom.edges.length_m.sum())},
    }


def bottom_section(summary: Mapping[str, Any], unit: str, bottom: Bottom | None = None) -> str:
    """The report's part on the bottom; empty where no reading speaks of it."""
    told = summary["bottom"]
    if told is None:
        return ""
    rows = [(name, f"{one['share']:.0%}", f"{one['surely']:.0%}") for name, one in told["classes"].items()]
    right = told["samples_told_right"]
    skill = "" if right is None else f" Left out one at a time, {right:.0%} of the samples are given their own class."
    edges = told["edges"]
    return section(
        "What the bottom is made of",
        paragraph(_plainly(told)),
        paragraph(f"The scale is {told['scale']}.{skill}"),
        figure(calibration_figure(bottom), "Bottom samples against the hardness read beside them: the nearer the "
               "dashed line, the better the sounder's hardness tells what is down there."),
        paragraph(letters_missing(bottom.sample_words) if bottom is not None else ""),
        paragraph(f"Kinds of evidence disagree on {told['in_doubt']:.0%} of the pixels; there sigma is wide and no "
                  "class is clear. bottom_classes.tif has the probability of each class."),
        table(f"Classes, softest first; surely: with a probability of {SURE:.0%} or more",
              ("class", "share of what is drawn", "surely so"), rows, ("class",)),
        paragraph(f"{edges['n']} edges of hard floor, {about(from_metres(edges['length_m'], unit))} {unit} in all, lie "
                  "in the layer edges of lake.gpkg."),
    )


def _plainly(told: Mapping[str, Any]) -> str:
    if not told["samples"]:
        return ("How hard the floor is, is judged by how much of a ping comes back. Without samples of the bottom that "
                "orders the floors of this lake and says of none what it is.")
    return ("How hard the floor is, is judged by how much of a ping comes back; your samples of the bottom tie that to "
            "words.")
