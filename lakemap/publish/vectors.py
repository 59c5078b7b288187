"""Spots, lines and outlines: lake.gpkg and spots.geojson."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pandas
import pyogrio
import shapely

from lakemap.geo.shore import water_polygon
from lakemap.model.bottom import BottomEdges
from lakemap.model.changes import ChangedAreas
from lakemap.model.hits import FROM_MARK, Hits
from lakemap.model.lake_map import LakeMap
from lakemap.model.outputs import CAUTION
from lakemap.model.spots import Spots
from lakemap.model.water import Water
from lakemap.publish.gaps import gaps
from lakemap.publish.html_map.drawn import on_frame
from lakemap.publish.layer_styles import add_styles
from lakemap.publish.passes import PassLine
from lakemap.publish.spot_rows import spot_fields, spot_rows
from lakemap.publish.wording import depth_label, printable

NO_DATE = "1970-01-01T00:00:00.000Z"


def write_lake(lake_map: LakeMap, passes: list[PassLine], unit: str, path: Path) -> None:
    """lake.gpkg with the layers that have something in them, on the frame's CRS and with their styles; the same
    lake, the same bytes.

    Raises pyogrio's errors where the file cannot be written.
    """
    when, written = _latest(lake_map), {}
    with _dated(when):
        for name, layer in layers(lake_map, passes, unit):
            if len(layer):
                frame = layer.set_crs(lake_map.depth.frame.crs.to_wkt())
                kind = _geometry_type(frame)
                pyogrio.write_dataframe(
                    frame, path, layer=name, driver="GPKG", append=path.exists(), geometry_type=kind)
                written[name] = kind
    if written:
        add_styles(path, written, when)


def layers(lake_map: LakeMap, passes: list[PassLine], unit: str) -> Iterator[tuple[str, geopandas.GeoDataFrame]]:
    """Each layer of lake.gpkg by name, empty ones too; no CRS set yet."""
    yield "spots", _spots_layer(lake_map.spots, unit)
    yield "hits", _hits_layer(lake_map.hits)
    yield "contours", _contours_layer(lake_map, unit)
    yield "passes", _passes_layer(passes)
    yield "shoreline", _shore_layer(lake_map)
    yield "features", _features_layer(lake_map)
    if lake_map.bottom is not None:
        yield "edges", _edges_layer(lake_map.bottom.edges)
    yield "gaps", _gaps_layer(lake_map)
    yield "hazards", _hazards_layer(lake_map)
    yield "closed_areas", _closed_layer(lake_map)
    if lake_map.water is not None:
        yield "water_suits", _water_layer(lake_map.water)
    if lake_map.changes is not None:
        yield "weed", _dated_areas(lake_map.changes.weed, "height_m")
        yield "changes", _dated_areas(lake_map.changes.moved, "deeper_by_m")


def _gaps_layer(lake_map: LakeMap) -> geopandas.GeoDataFrame:
    """Water whose depth is a guess or was never reached, the largest first."""
    found = gaps(lake_map)
    columns = {"why": [gap.why for gap in found], "area_m2": [round(gap.area_m2, 1) for gap in found]}
    return _frame(columns, [gap.outline for gap in found])


def _hazards_layer(lake_map: LakeMap) -> geopandas.GeoDataFrame:
    """Dangers where the owner drew them, with the distance to keep [m]; a widened outline would hide which it was."""
    told = lake_map.hazards
    columns = {"what": [printable(text) for text in told.what], "keep_m": np.asarray(told.keep_m, float)}
    return _frame(columns, [on_frame(lake_map.depth.frame, shape) for shape in told.shape])


def _closed_layer(lake_map: LakeMap) -> geopandas.GeoDataFrame:
    """Closed areas with their first and last day, as days of every year or of one; empty for always."""
    told = lake_map.closed
    columns = {name: [printable(text) for text in getattr(told, name)] for name in ("why", "first", "last")}
    return _frame(columns, [on_frame(lake_map.depth.frame, shape) for shape in told.shape])


def _water_layer(water: Water) -> geopandas.GeoDataFrame:
    """Bottom that lies in water that suits what was sought, largest first, with the days the profile counts from and
    until, empty where it has no date."""
    days = {name: "" if np.isnat(day) else str(day) for name, day in (("since", water.day), ("until", water.until))}
    columns = {"area_m2": [round(outline.area, 1) for outline in water.outline]}
    return _frame(columns | {name: [day] * len(water.outline) for name, day in days.items()}, list(water.outline))


def _edges_layer(edges: BottomEdges) -> geopandas.GeoDataFrame:
    """Where hard floors end: contrast in hardness across the line, its width and length [m], how sure it is."""
    columns = {"contrast": edges.contrast, "width_m": edges.width_m, "length_m": edges.length_m,
               "probability": edges.probability}
    return _frame(columns, list(edges.lines))


def spots_geojson(spots: Spots, unit: str) -> str:
    """Spots as GeoJSON (RFC 7946): longitude and latitude on WGS 84, seven decimals at most, no ``crs`` member."""
    features = [
        {
            "type": "Feature", "id": row["name"], "properties": row,
            "geometry": {"type": "Point", "coordinates": [row["lon_deg"], row["lat_deg"]]},
        }
        for row in spot_rows(spots, unit)
    ]
    whole = {"type": "FeatureCollection", "caution": CAUTION, "features": features}
    return json.dumps(whole, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _frame(columns: dict[str, Any], geometry: Any) -> geopandas.GeoDataFrame:
    return geopandas.GeoDataFrame(columns, geometry=geometry)


def _spots_layer(spots: Spots, unit: str) -> geopandas.GeoDataFrame:
    table = pandas.DataFrame(spot_rows(spots, unit), columns=spot_fields(spots))
    numbers = [name for name in table if name not in ("name", "kind", "last_seen", "reasons", "seen", "could_see")]
    columns: dict[str, Any] = {
        str(name): table[name].astype(np.float64) if name in numbers else table[name] for name in table
    }
    columns["last_seen"] = _utc(spots.last_seen)
    return _frame(columns, shapely.points(spots.x_m, spots.y_m))


def _hits_layer(hits: Hits) -> geopandas.GeoDataFrame:
    numbers = ("position_sigma_m", "depth_m", "height_m", "confidence")
    columns = {
        "kind": hits.kind, "origin": np.where(hits.origin == FROM_MARK, "mark", "rise"),
        **{name: np.round(getattr(hits, name), 3) for name in numbers},
        "pings": hits.pings, "pass_id": hits.pass_id, "time_utc": _utc(hits.time_utc),
        "note": [printable(text) for text in hits.note.tolist()],
    }
    return _frame(columns, shapely.points(hits.x_m, hits.y_m))


def _contours_layer(lake_map: LakeMap, unit: str) -> geopandas.GeoDataFrame:
    drawn = lake_map.terrain.contours
    labels = [depth_label(float(depth_m), unit) for depth_m in drawn.depth_m]
    return _frame({"depth_m": drawn.depth_m, "label": labels}, list(drawn.lines))


def _passes_layer(passes: list[PassLine]) -> geopandas.GeoDataFrame:
    fields = ("pass_id", "log", "bias_m", "bias_sigma_m", "rows", "day")
    columns = {name: [getattr(one, name) for one in passes] for name in fields}
    return _frame(columns, [one.line for one in passes])


def _shore_layer(lake_map: LakeMap) -> geopandas.GeoDataFrame:
    if lake_map.shore is None:
        return _frame({"source": []}, [])
    water = water_polygon(lake_map.shore, lake_map.depth.frame.crs)
    return _frame({"source": [printable(lake_map.shore.source)]}, [water])


def _features_layer(lake_map: LakeMap) -> geopandas.GeoDataFrame:
    found = lake_map.terrain.features
    every = ("relief_m", "relief_low_m", "relief_high_m", "area_m2", "slope_deg", "depth_m", "confidence")
    fields = [name for name in every if len(getattr(found, name)) == len(found)]
    columns = {"kind": list(found.kind), **{name: np.round(getattr(found, name), 3) for name in fields}}
    return _frame(columns, list(found.geometry))


def _dated_areas(areas: ChangedAreas, value: str) -> geopandas.GeoDataFrame:
    days = {name: getattr(areas, name).astype(str) for name in ("since", "until")}
    return _frame({value: np.round(areas.value_m, 3), **days}, list(areas.outline))


def _utc(times: np.ndarray) -> pandas.Series:
    return pandas.Series(times.astype("datetime64[ms]")).dt.tz_localize("UTC")


def _geometry_type(frame: geopandas.GeoDataFrame) -> str:
    kinds = set(frame.geometry.geom_type)
    return kinds.pop() if len(kinds) == 1 else "Unknown"


def _latest(lake_map: LakeMap) -> str:
    """The last time in the readings, for what the format wants as the date of its layers."""
    times = lake_map.soundings.time_utc
    times = times[~np.isnat(times)]
    return f"{times.max().astype('datetime64[ms]')}Z" if len(times) else NO_DATE


@contextmanager
def _dated(when: str) -> Iterator[None]:
    """The driver writes this date where it would read the clock."""
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": when})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})
