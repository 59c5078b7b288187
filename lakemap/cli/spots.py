"""``lakemap spots``: the spots of a map that pass all filters."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click
import numpy as np

from lakemap.cli.given import Number, length_m, named_as
from lakemap.cli.spot_list import show_spots
from lakemap.errors import UsageError
from lakemap.model.marks import KINDS
from lakemap.model.outputs import DEPTH
from lakemap.model.spots import Spots
from lakemap.model.terrain import FEATURE_KINDS
from lakemap.publish.commit import write_whole
from lakemap.publish.waypoints import waypoints_csv, waypoints_gpx, waypoints_kml
from lakemap.read.map_rasters import read_grid
from lakemap.read.outputs import read_summary
from lakemap.read.spots_back import read_features, read_spots
from lakemap.spots.search import (
    BOTTOM_WORDS,
    SORTS,
    Filter,
    above,
    at_least,
    bottom_is,
    depth_between,
    in_order,
    near,
    of_kind,
    search,
    seen_since,
)
from lakemap.units import UNIT_WORDS, plural

WRITERS = {
    ".gpx": lambda spots, unit: waypoints_gpx(spots, unit), ".kml": lambda spots, unit: waypoints_kml(spots, unit),
    ".csv": lambda spots, unit: waypoints_csv(spots, unit).encode(),
}

_PATH = click.Path(path_type=Path)


@click.command()
@click.argument("folder", metavar="OUT", type=_PATH)
@click.option("--depth", metavar="8-15ft", help="Depth of the floor, from-to.")
@click.option("--bottom", multiple=True, type=click.Choice(BOTTOM_WORDS), help="What the bottom is; any of several.")
@click.option("--kind", "kinds", multiple=True, metavar="KIND", help="Kind of spot, such as stump or hump.")
@click.option("--within", metavar="50ft", help="How far from what --of names.")
@click.option("--of", "feature", metavar="KIND", help="A feature: drop-off, hump, point, channel, edge ...")
@click.option("--above-thermocline", is_flag=True, help="Floor above the thermocline of the map's profile.")
@click.option("--fishable", is_flag=True, help="Floor in water that suits what was sought.")
@click.option("--min-probability", type=Number(0, 1), metavar="0.7", help="How sure it must be.")
@click.option("--min-score", type=Number(0, 1), metavar="0.5", help="How good it must be.")
@click.option("--seen-since", metavar="DATE", help="Last seen on this day or later.")
@click.option("--sort", default="score", show_default=True, type=click.Choice(SORTS), help="Order of the list.")
@click.option("--most", type=click.IntRange(1), metavar="N", help="Only the first so many.")
@click.option("--to", "file", type=_PATH, metavar="FILE", help="Write them as .gpx, .csv or .kml.")
@click.option("--quiet", is_flag=True, help="Say nothing but faults.")
def spots(folder: Path, file: Path | None, quiet: bool, **given: Any) -> None:
    """List the spots of the map in OUT that pass all filters given, and say which filter left none."""
    if file is not None:
        named_as("--to", file, list(WRITERS))
    summary = read_summary(folder)
    unit = str(summary["units"])
    known = read_spots(folder, summary, read_grid(folder, summary, DEPTH).frame.crs)
    found = search(known, list(_filters(given, folder, summary, known)))
    kept = in_order(found.spots, given["sort"])
    kept = kept.take(np.arange(len(kept))[: given["most"]])
    if file is not None:
        write_whole(file, WRITERS[file.suffix.lower()](kept, unit))
    if not quiet:
        show_spots(kept, len(known), found, unit, _water_said(given, summary))
        if file is not None:
            click.echo(f"{plural(len(kept), 'spot')} written to {file}")


def _filters(given: dict[str, Any], folder: Path, summary: dict[str, Any], known: Spots) -> Iterator[Filter]:
    """The filters in the order of the options."""
    if given["depth"]:
        yield depth_between(*depth_range_m(given["depth"], str(summary["units"])))
    if given["bottom"]:
        yield bottom_is(*given["bottom"])
    if given["kinds"]:
        yield of_kind(_kinds(given["kinds"], known))
    if given["within"] or given["feature"]:
        yield _near(given, folder, summary)
    if given["above_thermocline"]:
        yield _above_thermocline(summary)
    if given["fishable"]:
        yield _fishable(summary)
    for field in ("probability", "score"):
        if given[f"min_{field}"] is not None:
            yield at_least(field, given[f"min_{field}"])
    if given["seen_since"]:
        yield seen_since(_day(given["seen_since"]))


def depth_range_m(text: str, unit: str) -> tuple[float, float]:
    """``8-15ft``, ``2.5m-15ft`` or ``8-15`` in ``unit``, as metres. Raises UsageError for another text."""
    parts = text.split("-")
    if len(parts) != 2 or not all(part.strip() for part in parts):
        raise UsageError(f"--depth {text}: write it from-to, such as 8-15ft")
    ending = parts[1].strip().lstrip("0123456789. ").lower()
    shared = UNIT_WORDS.get(ending) or unit
    ends = length_m("--depth", parts[0], shared), length_m("--depth", parts[1], unit)
    if ends[0] > ends[1]:
        raise UsageError(f"--depth {text}: the shallower depth comes first, such as 8-15ft")
    return ends


def _kinds(words: tuple[str, ...], known: Spots) -> tuple[str, ...]:
    """The words, once each may be a kind of spot: a slip of the pen should not read as a lake without stumps."""
    there = sorted(set(known.kind))
    for word in words:
        if word not in {*there, *KINDS, *FEATURE_KINDS}:
            raise UsageError(f"--kind {word}: no such kind of spot; the map has {', '.join(there) or 'none at all'}")
    return words


def _near(given: dict[str, Any], folder: Path, summary: dict[str, Any]) -> Filter:
    if not (given["within"] and given["feature"]):
        raise UsageError("--within and --of go together: --within 50ft --of drop-off")
    found = read_features(folder, summary)
    if given["feature"] not in found:
        there = ", ".join(sorted(found)) or "none at all"
        raise UsageError(f"--of {given['feature']}: the map has no such feature; it has {there}")
    within_m = length_m("--within", given["within"], str(summary["units"]), least_m=0.0)
    return near(given["feature"], found[given["feature"]], within_m)


def _above_thermocline(summary: dict[str, Any]) -> Filter:
    water = summary.get("water")
    if water is None:
        raise UsageError("--above-thermocline: the map knows nothing of the water; make it with --profile FILE")
    if water["thermocline_m"] is None:
        raise UsageError("--above-thermocline: the profile has no thermocline, its water was mixed or nearly so; "
                         "leave it out")
    _refuse_run_out("--above-thermocline", water)
    dated = f" of {water['day']}, which counts until {water['until']}" if water["until"] else ""
    return above(float(water["thermocline_m"]), f"the thermocline{dated}")


def _refuse_run_out(option: str, water: dict[str, Any]) -> None:
    """Raises UsageError where the profile no longer counted on the day of the newest log."""
    if not water.get("counts", True):
        raise UsageError(f"{option}: the map's profile of {water['day']} counted until {water['until']}, and the "
                         "newest log is of a later day: nothing is known of the water; map with a new profile")


def _water_said(given: dict[str, Any], summary: dict[str, Any]) -> str | None:
    """How long a filter by the water holds; None without one. No clock is read: the reader knows the day."""
    if not (given["above_thermocline"] or given["fishable"]):
        return None
    day, until = summary["water"]["day"], summary["water"]["until"]
    if until is None:
        return "The profile of the water has no date: nobody knows how long it counts."
    return f"By the profile of {day}: it counts until {until}, after that take a new one."


def _fishable(summary: dict[str, Any]) -> Filter:
    if (summary.get("water") or {}).get("bands_m") is None:
        raise UsageError("--fishable: nothing was sought in the water; make the map with --profile FILE and "
                         "--set water.least_c=..., water.most_c=... or water.least_oxygen_mgl=...")
    _refuse_run_out("--fishable", summary["water"])
    return at_least("fishable_water", 0.5)


def _day(text: str) -> np.datetime64:
    try:
        return np.datetime64(text, "D")
    except ValueError:
        raise UsageError(f"--seen-since {text}: write it as 2025-06-01") from None
