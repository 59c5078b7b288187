"""Contour lines and points of an old map: GeoJSON, GeoPackage, Shapefile, FlatGeobuf, with a depth or a height each."""

from __future__ import annotations

from typing import Any, ClassVar

import numpy as np
import shapely
from numpy.typing import NDArray

from lakemap.errors import InputError, SettingError
from lakemap.geo.projected import GivenCrs
from lakemap.model.columns import PRIOR_COLUMNS
from lakemap.model.prior import DepthPrior
from lakemap.read.geojson import geojson_crs, geojson_features, is_geojson
from lakemap.read.points import point_fields
from lakemap.read.reader import SURE, Reader, Role
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source
from lakemap.read.table_columns import Header, recognise
from lakemap.read.vector_file import layers_of, read_features, vector_kind
from lakemap.units import to_metres

Floats = NDArray[np.float64]

WGS84 = "EPSG:4326"
SPACING_DEG = 1e-4
"""Longest piece of a contour between two places that are taken from it, some 10 m."""
MOST_PLACES = 20_000
"""More places than this add nothing to an old map; every k-th is taken."""
FORCED = 0.1
"""A file that could be this is taken so only by the owner's word."""


class PriorLinesReader(Reader):
    """An old map as lines or points, each with the depth or height that is written beside it."""

    name: ClassVar[str] = "contours of an old map"
    role: ClassVar[Role] = "prior"
    suffixes: ClassVar[tuple[str, ...]] = (".geojson", ".json", ".gpkg", ".shp", ".fgb")
    summary: ClassVar[str] = "lines or points with a depth (or height) each; their zero may be another"

    def likelihood(self, source: Source) -> float:
        """Sure for lines with a depth or height; points with one may be a log, so they need the owner's word. So do
        lines without any: it brings them as far as being told what they lack."""
        if is_geojson(source):
            lines = b'LineString"' in source.head
            fields = [text.decode("utf-8", "replace") for text in _names(source.head)]
        else:
            layers = layers_of(source) if vector_kind(source) else ()
            lines = any("LineString" in layer.kind for layer in layers)
            fields = [field for layer in layers for field in layer.fields]
        if not _level_of(fields):
            return FORCED if lines else 0.0
        return SURE if lines else FORCED if point_fields(source) else 0.0

    def read(self, source: Source, settings: ReadSettings) -> DepthPrior:
        """Places along every line, some 10 m apart. Raises InputError without depths or where their unit is unknown."""
        shapes, fields, crs = _features(source)
        header = _level_of(list(fields))
        if header is None:
            raise InputError(f"{source.name}: contours without depths; give each line a field such as depth_m or "
                             "height_ft")
        unit = header.unit or settings.depth_unit
        if unit is None:
            raise InputError(f"{source.name}: field {header.text!r} does not say its unit; call it depth_m or "
                             "depth_ft, or give --depth-unit")
        level = to_metres(np.array([_number(value) for value in fields[header.text]]), unit)
        lon, lat, owner = _places(shapes, crs, source.name)
        known = np.isfinite(level[owner]) & np.isfinite(lon)
        if not known.any():
            raise InputError(f"{source.name}: no line with a number in {header.text!r}; give each its depth")
        rows = np.flatnonzero(known)
        rows = rows[:: max(1, -(-len(rows) // MOST_PLACES))]
        sign = -1.0 if header.name == "height" else 1.0
        left = len(level) - int(np.isfinite(level).sum())
        told = (f"{source.name}: {left} of {len(level)} shapes without a number; left out",) if left else ()
        return DepthPrior(lon[rows], lat[rows], sign * level[owner[rows]], source.name, True, told)


def _names(head: bytes) -> list[bytes]:
    """Every quoted key in the head of a JSON text."""
    return [part.rsplit(b'"', 2)[-2] for part in head.split(b":")[:-1] if part.rstrip().endswith(b'"') and
            part.count(b'"') >= 2]


def _level_of(fields: list[str]) -> Header | None:
    """The field that holds depths, else the one that holds heights."""
    found = [recognise(text, index, PRIOR_COLUMNS) for index, text in enumerate(fields)]
    known = [header for header in found if header is not None]
    return next((header for name in ("prior_depth", "height") for header in known if header.name == name), None)


def _features(source: Source) -> tuple[list[Any], dict[str, Any], str | None]:
    if is_geojson(source):
        told = geojson_features(source)
        names = list(dict.fromkeys(name for _, row in told for name in row))
        return [shape for shape, _ in told], {name: [row.get(name) for _, row in told] for name in names}, \
            geojson_crs(source)
    fit = [layer for layer in layers_of(source) if _level_of(list(layer.fields))]
    if not fit:
        raise InputError(f"{source.name}: contours without depths; give each line a field such as depth_m")
    if len(fit) > 1:
        raise InputError(f"{source.name}: several layers with depths ({', '.join(one.name for one in fit[:8])}); save "
                         "the one that you need by itself")
    features = read_features(source, fit[0].name)
    return list(features.geometries), dict(features.fields), features.crs


def _places(shapes: list[Any], crs: str | None, name: str) -> tuple[Floats, Floats, NDArray[np.int64]]:
    """Longitude and latitude of places along all shapes, and which shape each is of."""
    whole = np.array(shapes, dtype=object)
    given = _given(crs, name)
    spacing = SPACING_DEG if given is None or given.is_degrees else SPACING_DEG * 1e5
    lines = shapely.segmentize(shapely.force_2d(whole), spacing)
    xy, owner = shapely.get_coordinates(lines, return_index=True)
    if given is None:
        return xy[:, 0], xy[:, 1], owner.astype(np.int64)
    try:
        lon, lat, _ = given.on_wgs84(xy[:, 0], xy[:, 1])
    except SettingError as fault:
        raise InputError(f"{name}: {str(fault).removeprefix('read.crs = ')}") from None
    return lon, lat, owner.astype(np.int64)


def _given(crs: str | None, name: str) -> GivenCrs | None:
    if crs in (None, WGS84):
        return None
    try:
        return GivenCrs.of(str(crs))
    except SettingError as fault:
        raise InputError(f"{name}: {str(fault).removeprefix('read.crs = ')}") from None


def _number(value: Any) -> float:
    try:
        return float(value)
    except (TypeError, ValueError):
        return float("nan")
