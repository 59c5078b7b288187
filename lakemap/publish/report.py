"""report.html: what was read, what was done to it, how sure the result is."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from lakemap.geo.agreement import with_bias
from lakemap.model.flags import SENTENCES, Flag
from lakemap.model.lake_map import LakeMap
from lakemap.model.outputs import CAUTION
from lakemap.model.surface import Surface
from lakemap.publish.bottom_figures import bottom_section
from lakemap.publish.error_table import budget_section
from lakemap.publish.passes import pass_lines
from lakemap.publish.report_charts import (
    corrections_figure,
    crossovers_figure,
    flags_figure,
    held_back_figure,
    variogram_figure,
    volume_figure,
)
from lakemap.publish.report_figures import surface_figure
from lakemap.publish.report_markup import beside, bullets, figure, page, paragraph, section, table
from lakemap.publish.report_short import in_short
from lakemap.publish.settings import PublishSettings
from lakemap.publish.spot_rows import reasons, spot_rows
from lakemap.publish.summary import summary_of_map
from lakemap.publish.table import table_columns
from lakemap.publish.trust import reliability_figure, rivals_table
from lakemap.publish.wording import about, common_error, depth_label, length, s44_line, spaced
from lakemap.units import format_length

MOST_DEPTHS, MOST_PASSES, MOST_SPOTS = 30, 12, 40
"""Longer tables are thinned evenly (depths) or cut, and say so; the files hold all rows."""

_VOLUME_SAYS = ("Left: area of water at least so deep. Right: volume that lies below each depth. Darker bands, where "
                "they are drawn, are where the readings leave it.")

_WATER_HEADS = {
    "m": {"depth_m": "depth [m]", "area_m2": "area [m²]", "area_low_m2": "from", "area_high_m2": "to",
          "volume_m3": "volume [m³]", "volume_low_m3": "from", "volume_high_m3": "to"},
    "ft": {"depth_ft": "depth [ft]", "area_acre": "area [acres]", "area_low_acre": "from", "area_high_acre": "to",
           "volume_acre_ft": "volume [acre-feet]", "volume_low_acre_ft": "from", "volume_high_acre_ft": "to"},
}


def report_page(lake_map: LakeMap, unit: str, settings: PublishSettings) -> str:
    """The whole report as HTML text, lengths in ``unit``; all its numbers are those of summary.json."""
    summary = summary_of_map(lake_map, unit, {})
    return page(f"{lake_map.name}: how this map was made", [
        paragraph(CAUTION, "caution"),
        in_short(lake_map, summary, unit),
        _read(summary),
        _corrections(summary, unit),
        _crossovers(lake_map, summary, unit),
        _how_sure(lake_map, summary, unit, settings),
        budget_section(lake_map.soundings, unit),
        _surfaces(lake_map, summary, unit),
        bottom_section(summary, unit, lake_map.bottom),
        _water(lake_map, unit),
        _spots(lake_map, unit),
        section("Messages", bullets(summary["messages"])),
        _made_with(summary),
    ])


def _read(summary: Mapping[str, Any]) -> str:
    heads = ("file", "read as", "rows in", "used", "held out", "why held out", "noted")
    rows = [
        (log["name"], log["reader"], log["rows_in"], log["rows_used"], sum(log["flagged"].values()),
         _counts(log["flagged"]), _counts(log["notes"]))
        for log in summary["logs"]
    ]
    total = summary["rows"]
    words = [f"{spaced(name)}: {SENTENCES[Flag[name]]}." for name in _names_met(summary)]
    return section(
        "What was read",
        paragraph(f"{total['in']} rows came in: {total['used']} are used and {total['flagged']} are held out, each "
                  "under its first reason. None is lost: soundings.parquet holds them all. The rows in use make "
                  f"{summary['passes']} passes."),
        figure(flags_figure(total["by_flag"], total["in"]), "Rows held out, by the first reason of each."),
        table("Rows by file", heads, rows, ("file", "read as", "why held out", "noted")), bullets(words),
    )


def _names_met(summary: Mapping[str, Any]) -> list[str]:
    met = {name for log in summary["logs"] for name in (*log["flagged"], *log["notes"])}
    return [name for name in Flag.__members__ if name in met]


def _counts(counted: Mapping[str, int]) -> str:
    return ", ".join(f"{count} {spaced(name)}" for name, count in counted.items()) or "–"


def _corrections(summary: Mapping[str, Any], unit: str) -> str:
    done = summary["corrections"]
    rows = [
        (one["name"], one.get("measure", "crossovers"), length(one.get("shift_m"), unit), length(one["before_m"], unit),
         length(one["after_m"], unit)) for one in done
    ]
    heads = ("correction", "judged by", f"moved depths by [{unit}]", f"before [{unit}]", f"after [{unit}]")
    off = summary["settings"].get("clean", {}).get("off") or ()
    return section(
        "Corrections",
        paragraph("A sounder shows what it takes for the depth. What is known of the boat, the water and the clock is "
                  "put right here; where passes disagree less afterwards, it helped. What moves all depths alike "
                  "cannot show there.") if rows else "",
        figure(corrections_figure(done, unit), "What passes disagree by, before (open) and after (filled) "
               "each correction."),
        table("Each applied once, in this order: mean shift, and the median disagreement before and after it", heads,
              rows, ("correction", "judged by")),
        paragraph(f"Switched off by the owner: {', '.join(off)}.") if off else "",
        "" if rows else paragraph("None was applied: nothing is known of the sounder, the water and the lake's level."),
    )


def _crossovers(lake_map: LakeMap, summary: Mapping[str, Any], unit: str) -> str:
    met = summary["crossovers"]
    if not met["n"]:
        return section("Where passes meet", paragraph(
            "No two passes cross, so nothing shows how well they agree. A line across the others would."
        ))
    after = lake_map.crossovers
    before = with_bias(after, lake_map.depth.pass_bias)
    return section("Where passes meet", paragraph(
        "Two passes over one place should read one depth. What they differ by there is the plainest sign of how good "
        "the readings are; each pass's own constant error, found from its crossings, is taken off."
    ), figure(crossovers_figure(before.difference_m, after.difference_m, unit),
              "Differences where passes cross, before (pale) and after (line) the passes' constant errors are taken "
              "off; the end bars hold all that is farther out."), paragraph(
        f"Passes cross {met['n']} times. After their biases are taken off, their depths differ there by "
        f"{format_length(met['median_abs_m'], unit, 2)} (median) and {format_length(met['rms_m'], unit, 2)} "
        f"(root mean square); before, by {format_length(met['before_bias']['median_abs_m'], unit, 2)} and "
        f"{format_length(met['before_bias']['rms_m'], unit, 2)}."
    ), paragraph(s44_line(met)))


def _how_sure(lake_map: LakeMap, summary: Mapping[str, Any], unit: str, settings: PublishSettings) -> str:
    sigma = lake_map.depth.sigma
    passes = [one.line for one in pass_lines(lake_map.soundings, settings.pass_tolerance_m)]
    return section(
        "How sure it is",
        paragraph(f"Sigma is what varies within the map. The common error comes on top: "
                  f"{common_error(lake_map.soundings, unit)}."),
        table("Readings held back and told from the others", ("surface", "held back", "RMSE", "bias",
              "within 1.96 sigma", "block means"), _left_out_rows(summary, unit), ("surface", "held back")),
        paragraph("One pass after the other was held back and told from the rest, as if the boat had not driven it. "
                  "What is missed then is what the map misses where nobody has been; and how often the stated error "
                  "holds shows whether it can be believed."),
        beside([figure(held_back_figure(one, name, unit), f"Readings of {name} held back, against what the others told "
                       "of them; on the dashed line both agree.") for name, one in _surfaces_of(lake_map).items()]),
        reliability_figure(summary["surfaces"]),
        figure(surface_figure(sigma, "sure", f"sigma of depth [{unit}]", passes, unit),
               f"Standard error of the depth in {unit}, with the passes: darker is surer."),
        _pass_bias(summary, unit),
    )


def _surfaces_of(lake_map: LakeMap) -> dict[str, Surface]:
    warm = lake_map.temperature
    there = {"depth": lake_map.depth, "hardness": lake_map.hardness,
             "water temperature": None if warm is None else warm.surface}
    return {name: one for name, one in there.items() if one is not None}


def _left_out_rows(summary: Mapping[str, Any], unit: str) -> list[tuple[str, ...]]:
    rows = []
    for name, surface in summary["surfaces"].items():
        told = surface and surface["left_out"]
        if told:
            shown = {"m": unit, "degC": "°C"}.get(surface["unit"], "")
            figures = [_in_unit(told[key], surface["unit"], unit) for key in ("rmse_m", "bias_m")]
            share = "–" if told["within_1_96"] is None else f"{told['within_1_96']:.1%}"
            rows.append((spaced(name), f"one {told['by']} at a time", *(f"{text} {shown}".strip() for text in figures),
                         share, str(told["n"])))
    return rows


def _in_unit(value: float | None, own: str, unit: str) -> str:
    if value is None:
        return "–"
    return length(value, unit) if own == "m" else f"{round(value, 2) + 0.0:.2f}"


def _pass_bias(summary: Mapping[str, Any], unit: str) -> str:
    solved = sorted(summary["pass_bias"], key=lambda one: (-abs(one["bias_m"]), one["pass_id"]))
    rows = [(one["pass_id"], length(one["bias_m"], unit), length(one["sigma_m"], unit)) for one in solved[:MOST_PASSES]]
    cut = f"the {MOST_PASSES} largest of {len(solved)}, all are in summary.json"
    shown = cut if len(solved) > MOST_PASSES else "largest first"
    heads = ("pass", f"bias taken off [{unit}]", f"sigma [{unit}]")
    return table(f"Constant error of each pass, {shown}", heads, rows, ())


def _surfaces(lake_map: LakeMap, summary: Mapping[str, Any], unit: str) -> str:
    rows = []
    for name, surface in summary["surfaces"].items():
        if surface:
            model = ", ".join(f"{spaced(key)} {about(value) if isinstance(value, float) else value}"
                              for key, value in surface["model"].items())
            rows.append((spaced(name), surface["method"], f"{surface['pixel_m']:g} m", f"{surface['share_drawn']:.0%}",
                         model))
    heads = ("surface", "method", "pixel", "water drawn", "model fitted (SI units)")
    step = depth_label(lake_map.terrain.contours.step_m, unit)
    hardness, drawn = lake_map.hardness, lake_map.terrain.contours
    return section(
        "The surfaces",
        table("How each was made", heads, rows, ("surface", "method", "model fitted (SI units)")),
        rivals_table(summary["surfaces"], unit),
        *_variograms(lake_map, unit),
        figure(surface_figure(lake_map.depth.estimate, "depth", f"depth [{unit}]", drawn.lines, unit),
               f"Mean depth of each pixel in {unit}, darker is deeper; a line each {step}. Grey: not observed."),
        paragraph("No reading speaks of hardness: there is no map of it.") if hardness is None else
        figure(surface_figure(hardness.estimate, "hardness", "hardness", unit=unit, limits=(0.0, 1.0)),
               "Hardness from 0 (softest) to 1 (hardest), darker is harder. Grey: not observed."),
        _temperature(lake_map),
    )


def _temperature(lake_map: LakeMap) -> str:
    warm = lake_map.temperature
    if warm is None:
        return ""
    return figure(
        surface_figure(warm.surface.estimate, "warm", "temperature [°C]", unit="m"),
        f"Temperature of the water at the sensor, near the surface, in {warm.period}. All of it may be off together "
        f"by {warm.common_c:g} °C (standard error). Grey: not observed.")


def _variograms(lake_map: LakeMap, unit: str) -> list[str]:
    """A figure for each surface that tells how its readings vary, behind one sentence on what that is."""
    drawn = [(name, variogram_figure(one, unit)) for name, one in _surfaces_of(lake_map).items()]
    made = [figure(svg, f"Variogram of {name}: dots are pairs of readings, the line is what the fitted model expects "
                   "of them. A line above the dots makes the map less sure than it could be, one below them too sure.")
            for name, svg in drawn if svg]
    said = paragraph("Two readings close together differ less than two far apart. How fast that grows tells how much a "
                     "reading says of the water around it.")
    return [said, *made] if made else []


def _water(lake_map: LakeMap, unit: str) -> str:
    told = lake_map.terrain.table
    made = table_columns(told, unit)
    columns = {name: made[name] for name in _WATER_HEADS[unit] if name in made}
    every = -(-max(len(told.depth_m), 1) // MOST_DEPTHS)
    rows = [[_depth_or_amount(name, values[i]) for name, (values, _) in columns.items()]
            for i in range(0, len(told.depth_m), every)]
    missing = "" if told.area_lake_m2 is None or told.area_drawn_m2 >= told.area_lake_m2 else paragraph(
        f"The depth surface covers {told.area_drawn_m2 / told.area_lake_m2:.0%} of the lake; the figures speak of that "
        "part only."
    )
    heads = [_WATER_HEADS[unit][name] for name in columns]
    ends = told.intervals
    drawn = "" if ends is None else paragraph(
        f"From and to: {ends.share:.0%} of {ends.realisations} surfaces, each as likely as the readings leave it, lie "
        "between. The common error comes on top."
    )
    thinned = "" if every == 1 else f" (one row in {every}; depth_area_volume.csv has all)"
    return section(
        "How much water", missing, figure(volume_figure(told, unit), _VOLUME_SAYS), drawn,
        table(f"Area at least so deep, and volume below that depth{thinned}", heads, rows, ()),
    )


def _depth_or_amount(name: str, value: float) -> str:
    return f"{round(float(value), 2):g}" if name.startswith("depth") else about(float(value))


def _spots(lake_map: LakeMap, unit: str) -> str:
    spots = lake_map.spots
    heads = ("spot", "kind", f"depth [{unit}]", "why", "probability", "seen", "score", "latitude, longitude",
             f"give or take [{unit}]")
    rows = [
        (row["name"], row["kind"], length(row["depth_m"], unit, 1), " ".join(reasons(spots, i, unit)),
         _share(row, "probability"), f"{row['seen']} of {row['could_see']}", f"{spots.score[i]:.2f}",
         f"{row['lat_deg']:.6f}, {row['lon_deg']:.6f}", length(row["position_sigma_m"], unit, 1))
        for i, row in enumerate(spot_rows(spots, unit)[:MOST_SPOTS])
    ]
    if not rows:
        return section("Spots", paragraph("Nothing stood up from the floor clearly enough, and no marks were given."))
    cut = f"The best {MOST_SPOTS} of {len(spots)}, all are in waypoints.csv"
    shown = cut if len(spots) > MOST_SPOTS else "Best first"
    caption = f"{shown}; give or take is one standard error of the position"
    return section("Spots", table(caption, heads, rows, ("spot", "kind", "why", "latitude, longitude")))


def _share(row: Mapping[str, Any], name: str) -> str:
    return "–" if row[name] is None else f"{row[name]:.2f}"


def _made_with(summary: Mapping[str, Any]) -> str:
    used = [f"{table_name}.{key} = {_setting(value)}" for table_name, settings in summary["settings"].items()
            for key, value in settings.items() if value is not None and value != ""]
    sources = [f"{name}: SHA-256 {digest}" for name, digest in summary["inputs"].items()]
    return section("Made with", paragraph(f"lakemap {summary['version']}"), bullets(sources), bullets(used, "fine"))


def _setting(value: Any) -> str:
    if isinstance(value, Mapping):
        return ", ".join(f"{name} {part}" for name, part in value.items())
    return ", ".join(map(str, value)) or "none" if isinstance(value, list | tuple) else str(value)
