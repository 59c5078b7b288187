"""``lakemap export``: a map in forms that others take."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from lakemap.cli.given import named_as
from lakemap.errors import NothingUsable, UsageError
from lakemap.model.b12 import B12About
from lakemap.model.drawn import Drawn
from lakemap.model.outputs import DEPTH, DEPTH_SIGMA
from lakemap.publish.b12 import b12_readings, write_b12
from lakemap.publish.commit import write_whole
from lakemap.publish.geojson import LAYERS as SHAPES
from lakemap.publish.geojson import lake_geojson
from lakemap.publish.gpx_lines import MOST_POINTS, contours_gpx, dangers_gpx, passes_gpx
from lakemap.publish.kml import LAYERS, kmz, lake_kml
from lakemap.publish.mbtiles import picture_of, put_mbtiles
from lakemap.publish.plotter_names import Plotter, for_plotter
from lakemap.publish.waypoints import waypoints_gpx
from lakemap.read.lake_layers import read_layers
from lakemap.read.map_rasters import read_grid
from lakemap.read.outputs import read_soundings, read_summary
from lakemap.read.spots_back import read_spots
from lakemap.units import plural

_PATH = click.Path(path_type=Path)
ASKED = {
    "convention": "--convention 3.0 or 3.1", "organisation": "--organisation (who hands the readings on)",
    "email": "--email (their contact)", "platform_id": "--platform-id (the boat's identifier there)",
    "platform_name": "--platform-name (the boat's name)", "licence": "--licence 'CC0 1.0'",
    "logger": "--logger (what recorded)", "logger_version": "--logger-version",
}


@click.command()
@click.argument("folder", metavar="OUT", type=_PATH)
@click.option("--kmz", type=_PATH, metavar="FILE",
              help="Spots, dangers, closed areas, contours and features for a globe (.kmz, or .kml unpacked).")
@click.option("--gpx-spots", type=_PATH, metavar="FILE", help="Spots as waypoints within a plotter's limits.")
@click.option("--gpx-contours", type=_PATH, metavar="FILE", help="Contours as tracks, for plotters that take no else.")
@click.option("--gpx-passes", type=_PATH, metavar="FILE", help="Passes as tracks.")
@click.option("--gpx-dangers", type=_PATH, metavar="FILE", help="Dangers and closed areas as waypoints and tracks.")
@click.option("--geojson", type=_PATH, metavar="FILE",
              help="Lines and areas: contours, edges, features, shore, gaps, dangers, closed areas.")
@click.option("--mbtiles", type=_PATH, metavar="FILE", help="Picture of the depth as tiles for offline map programs.")
@click.option("--name-length", type=click.IntRange(4), metavar="N", help="Longest name of a waypoint.")
@click.option("--ascii", "ascii_only", is_flag=True, help="Names and notes of waypoints in plain letters.")
@click.option("--most", type=click.IntRange(1), metavar="N", help="Only so many waypoints, the best first.")
@click.option("--most-points", type=click.IntRange(2), default=MOST_POINTS, show_default=True, metavar="N",
              help="Longer tracks are split.")
@click.option("--b12", type=_PATH, metavar="FILE",
              help="Timed readings as IHO B-12 (.geojson, or .csv with its metadata beside it).")
@click.option("--convention", type=click.Choice(["3.0", "3.1"]), help="Version of the format that the receiver takes.")
@click.option("--organisation", help="Who hands the readings on: the trusted node's name.")
@click.option("--email", help="Contact there.")
@click.option("--platform-id", help="The boat's identifier there: the node's prefix, a hyphen and a UUID.")
@click.option("--platform-name", help="The boat's name.")
@click.option("--licence", help="Must be 'CC0 1.0', the one that the standard takes.")
@click.option("--logger", help="Device or program that recorded the logs.")
@click.option("--logger-version", help="Its version.")
@click.option("--depth-from", type=click.Choice(["transducer", "surface", "keel"]),
              help="Which logs, where some count from another reference.")
@click.option("--quiet", is_flag=True, help="Say nothing but faults.")
def export(folder: Path, quiet: bool, **given: Any) -> None:
    """Write the map in OUT in forms that others take: KMZ, GPX, GeoJSON, MBTiles, IHO B-12."""
    wanted = [name for name in WRITERS if given[name] is not None]
    if not wanted:
        raise UsageError(f"nothing to export from {folder}; say what, such as --kmz lake.kmz or --b12 readings.geojson")
    _one_file_each({name: given[name] for name in wanted})
    lacking = []
    for name in wanted:
        try:
            told = WRITERS[name](folder, given[name], given)
        except NothingUsable as none:
            # what else was asked for is there all the same
            lacking.append(f"{none}; {given[name]} is not written")
            continue
        if not quiet:
            click.echo(f"{told} written to {given[name]}")
    if lacking:
        raise NothingUsable("; ".join(lacking))


def _one_file_each(files: dict[str, Path]) -> None:
    """Raises UsageError where two forms would be written into one file: the first would be lost."""
    taken: dict[Path, str] = {}
    for name, file in files.items():
        before = taken.setdefault(file.absolute(), name)
        if before != name:
            raise UsageError(f"--{name.replace('_', '-')} {file}: --{before.replace('_', '-')} is to be written there; "
                             "name another file")


def _kmz(folder: Path, file: Path, given: dict[str, Any]) -> str:
    named_as("--kmz", file, [".kmz", ".kml"])
    summary = read_summary(folder)
    crs = read_grid(folder, summary, DEPTH).frame.crs
    spots, layers = read_spots(folder, summary, crs), read_layers(folder, summary, LAYERS)
    document = lake_kml(file.stem, spots, layers, crs, str(summary["units"]))
    write_whole(file, kmz(document) if file.suffix.lower() == ".kmz" else document)
    there = "".join(f", {len(drawn)} {LAYERS[name].lower()}" for name, drawn in layers.items())
    return f"{plural(len(spots), 'spot')}{there}"


def _gpx_spots(folder: Path, file: Path, given: dict[str, Any]) -> str:
    summary = read_summary(folder)
    known = read_spots(folder, summary, read_grid(folder, summary, DEPTH).frame.crs)
    kept = for_plotter(known, Plotter(given["name_length"], given["ascii_only"], given["most"]))
    write_whole(named_as("--gpx-spots", file, [".gpx"]), waypoints_gpx(kept, str(summary["units"])))
    return f"{len(kept)} of {plural(len(known), 'spot')}"


def _gpx_contours(folder: Path, file: Path, given: dict[str, Any]) -> str:
    summary = read_summary(folder)
    drawn, crs = _layer(folder, summary, "contours")
    write_whole(named_as("--gpx-contours", file, [".gpx"]),
                contours_gpx(drawn, crs, str(summary["units"]), given["most_points"]))
    return plural(len(drawn), "contour")


def _gpx_passes(folder: Path, file: Path, given: dict[str, Any]) -> str:
    drawn, crs = _layer(folder, read_summary(folder), "passes")
    write_whole(named_as("--gpx-passes", file, [".gpx"]), passes_gpx(drawn, crs, given["most_points"]))
    return "1 pass" if len(drawn) == 1 else f"{len(drawn)} passes"


def _gpx_dangers(folder: Path, file: Path, given: dict[str, Any]) -> str:
    summary = read_summary(folder)
    found = read_layers(folder, summary, ["hazards", "closed_areas"])
    hazards, closed = (found.get(name, Drawn()) for name in ("hazards", "closed_areas"))
    if not len(hazards) + len(closed):
        raise NothingUsable(f"{folder}: the map has no dangers and no closed areas")
    crs = read_grid(folder, summary, DEPTH).frame.crs
    write_whole(named_as("--gpx-dangers", file, [".gpx"]),
                dangers_gpx(hazards, closed, crs, str(summary["units"]), given["most_points"]))
    return f"{plural(len(hazards), 'danger')}, {plural(len(closed), 'closed area')}"


def _geojson(folder: Path, file: Path, given: dict[str, Any]) -> str:
    named_as("--geojson", file, [".geojson", ".json"])
    summary = read_summary(folder)
    layers = read_layers(folder, summary, SHAPES)
    write_whole(file, lake_geojson(layers, read_grid(folder, summary, DEPTH).frame.crs))
    return ", ".join(f"{len(drawn)} {name.replace('_', ' ')}" for name, drawn in layers.items()) or "no shape"


def _mbtiles(folder: Path, file: Path, given: dict[str, Any]) -> str:
    named_as("--mbtiles", file, [".mbtiles"])
    summary = read_summary(folder)
    layers = read_layers(folder, summary, ["contours", "hazards", "closed_areas"])
    picture = picture_of(read_grid(folder, summary, DEPTH), read_grid(folder, summary, DEPTH_SIGMA), layers)
    return plural(put_mbtiles(picture, str(summary["units"]), file), "tile")


def _layer(folder: Path, summary: dict[str, Any], name: str) -> tuple[Drawn, Any]:
    drawn = read_layers(folder, summary, [name]).get(name)
    if drawn is None:
        raise NothingUsable(f"{folder}: the map has no {name}")
    return drawn, read_grid(folder, summary, DEPTH).frame.crs


def _b12(folder: Path, file: Path, given: dict[str, Any]) -> str:
    if missing := [text for name, text in ASKED.items() if not (given[name] or "").strip()]:
        raise UsageError(f"--b12 needs {', '.join(missing)}; the standard asks for them and nothing is made up")
    readings = b12_readings(read_soundings(folder), given["depth_from"])
    write_b12(readings, B12About(**{name: given[name] for name in ASKED}), file)
    left = "".join(f"; {count} rows left out: {reason}" for reason, count in readings.left_out.items())
    return f"{len(readings.depth_m)} readings below the {readings.reference}{left}"


WRITERS: dict[str, Callable[[Path, Path, dict[str, Any]], str]] = {
    "kmz": _kmz, "gpx_spots": _gpx_spots, "gpx_contours": _gpx_contours, "gpx_passes": _gpx_passes,
    "gpx_dangers": _gpx_dangers, "geojson": _geojson,
    "mbtiles": _mbtiles, "b12": _b12,
}
"""Option -> what writes its file from a map's folder and says what is in it."""
