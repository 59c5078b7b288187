"""A LakeMap to files: the one door through which a map leaves."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

from lakemap.model.lake_map import LakeMap
from lakemap.model.outputs import (
    BOTTOM_CLASSES,
    LAKE,
    MAP,
    REPORT,
    SOUNDINGS,
    SPOTS,
    SUMMARY,
    TABLE,
    WAYPOINTS_CSV,
    WAYPOINTS_GPX,
    WAYPOINTS_KML,
)
from lakemap.progress import Progress, quiet
from lakemap.publish.commit import OutputFolder
from lakemap.publish.html_map.page import write_map
from lakemap.publish.passes import pass_lines
from lakemap.publish.rasters import class_raster, geotiff, rasters
from lakemap.publish.reader_unit import choose_unit
from lakemap.publish.report import report_page
from lakemap.publish.settings import PublishSettings
from lakemap.publish.soundings_file import write_soundings
from lakemap.publish.summary import summary_json, summary_of_map
from lakemap.publish.table import depth_area_volume_csv
from lakemap.publish.vectors import layers, spots_geojson, write_lake
from lakemap.publish.waypoints import waypoints_csv, waypoints_gpx, waypoints_kml

DEFAULTS = PublishSettings()


def publish(
    lake_map: LakeMap, folder: Path | str, settings: PublishSettings = DEFAULTS, progress: Progress = quiet
) -> dict[str, Any]:
    """Write every file of a map to ``folder`` and return its summary.

    summary.json is removed first and written last; each file is put in place whole; files of an earlier run that this
    map has no content for are removed. Raises OutputError when the disk is full or the folder cannot be written.
    """
    unit = choose_unit(lake_map.soundings, settings)
    out = OutputFolder.opened(Path(folder))
    progress("writing rasters")
    for name, grid, description, tags in rasters(lake_map):
        out.put_bytes(name, geotiff(grid, description, tags))
    if lake_map.bottom is not None:
        out.put_bytes(BOTTOM_CLASSES, class_raster(lake_map.bottom))
    progress("writing spots and lines")
    _put_vectors(lake_map, out, unit, settings)
    out.put(SOUNDINGS, lambda path: write_soundings(lake_map.soundings, path))
    out.put_bytes(TABLE, depth_area_volume_csv(lake_map.terrain.table, unit).encode())
    progress("drawing the map page")
    out.put(MAP, lambda path: write_map(lake_map, path, dataclasses.replace(settings, units=unit)))
    progress("writing the report")
    out.put_bytes(REPORT, report_page(lake_map, unit, settings).encode())
    out.remove_stale()
    summary = summary_of_map(lake_map, unit, out.listing())
    out.put_bytes(SUMMARY, summary_json(summary).encode())
    return summary


def _put_vectors(lake_map: LakeMap, out: OutputFolder, unit: str, settings: PublishSettings) -> None:
    passes = pass_lines(lake_map.soundings, settings.pass_tolerance_m, lake_map.depth.pass_bias)
    if any(len(layer) for _, layer in layers(lake_map, passes, unit)):
        out.put(LAKE, lambda path: write_lake(lake_map, passes, unit, path))
    out.put_bytes(SPOTS, spots_geojson(lake_map.spots, unit).encode())
    out.put_bytes(WAYPOINTS_GPX, waypoints_gpx(lake_map.spots, unit))
    out.put_bytes(WAYPOINTS_KML, waypoints_kml(lake_map.spots, unit))
    out.put_bytes(WAYPOINTS_CSV, waypoints_csv(lake_map.spots, unit).encode())
