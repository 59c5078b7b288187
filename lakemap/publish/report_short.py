"""The report's first words: what the map is worth, for somebody who reads no further."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from lakemap.model.lake_map import LakeMap
from lakemap.publish.html_map.sureness import TWO_SIDED_95, shares
from lakemap.publish.report_markup import bullets, section
from lakemap.units import format_length, plural


def in_short(lake_map: LakeMap, summary: Mapping[str, Any], unit: str) -> str:
    """A sentence for each thing that matters, numbers rounded; the sections below have the rest."""
    return section("In short", bullets([
        said for said in (_rows(summary), _sure(lake_map), _away(summary, unit), _agree(summary, unit),
                          _shared(summary, unit), _bottom(summary), _spots(lake_map)) if said
    ]))


def _rows(summary: Mapping[str, Any]) -> str:
    rows, files = summary["rows"], len(summary["logs"])
    share = rows["used"] / rows["in"] if rows["in"] else 0.0
    return (f"The map rests on {rows['used']} soundings in {summary['passes']} passes, {share:.0%} of what "
            f"{plural(files, 'file')} held; the others are held out, each for a reason given below.")


def _sure(lake_map: LakeMap) -> str:
    sure, fair, guess = shares(lake_map.depth.estimate.values, lake_map.depth.sigma.values)
    if sure + fair + guess <= 0:
        return "No depth could be drawn."
    return (f"Of the water that is drawn, {sure:.0%} is sure, {fair:.0%} is fair and {guess:.0%} is a guess; "
            "the map shows first of all where.")


def _away(summary: Mapping[str, Any], unit: str) -> str:
    told = (summary["surfaces"]["depth"] or {}).get("left_out")
    if not told or told["rmse_m"] is None:
        return ""
    return (f"Where the boat has not been, a depth told by the passes around is usually within "
            f"{format_length(TWO_SIDED_95 * told['rmse_m'], unit)} of what a sounder shows there: that came out when "
            f"one {told['by']} after the other was held back and told from the rest.")


def _agree(summary: Mapping[str, Any], unit: str) -> str:
    met = summary["crossovers"]
    if not met["n"]:
        return "No two passes cross, so nothing shows how well the sounder agrees with itself."
    return (f"Where passes cross ({met['n']} times), half of them agree within "
            f"{format_length(met['median_abs_m'], unit, 2)}.")


def _shared(summary: Mapping[str, Any], unit: str) -> str:
    common = summary["common_error"]
    offset, scale = (common[key] or 0.0 for key in ("offset_m", "scale"))
    if not offset and not scale:
        return ""
    return (f"All depths may be off together by {format_length(TWO_SIDED_95 * offset, unit, 2)} and "
            f"{TWO_SIDED_95 * 100 * scale:.2g} % of the depth; a few depths measured by hand would show it.")


def _bottom(summary: Mapping[str, Any]) -> str:
    told = summary["bottom"]
    if told is None:
        return "Nothing that was recorded speaks of how hard the bottom is."
    if not told["samples"]:
        return "The bottom's hardness orders the floors of this lake, from softest to hardest; it names none of them."
    return f"The bottom's hardness is {told['scale']}."


def _spots(lake_map: LakeMap) -> str:
    count = len(lake_map.spots)
    return f"{plural(count, 'spot')} found, each with its reasons." if count else ""
