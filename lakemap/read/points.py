"""Points with properties, from GeoJSON or a vector file, as a table of text: place and a column a property."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from lakemap.errors import InputError
from lakemap.geo.crs import unproject
from lakemap.model.columns import LOG_COLUMNS, MARK_COLUMNS, TableColumn
from lakemap.read.geojson import geojson_crs, geojson_features, is_geojson
from lakemap.read.source import Source, as_text
from lakemap.read.table_columns import recognise
from lakemap.read.vector_file import Layer, layers_of, read_features, vector_kind

POINT_KINDS = ("Point", "MultiPoint")
PLACES = frozenset(("lat", "lon", "x", "y"))
DEGREES = "EPSG:4326"
_PROPERTIES = re.compile(rb'"properties"\s*:\s*\{([^{}]*)')
_NAME = re.compile(rb'"((?:[^"\\]|\\.)*)"\s*:')
_CRS_NAME = re.compile(rb"EPSG|urn:ogc")
_POINT = re.compile(rb'"type"\s*:\s*"(?:Multi)?Point"')
_MOST_FIELDS = 500


@dataclass(frozen=True)
class PointTable:
    """n points: longitude and latitude (n,), ``height`` (n,) NaN without a third coordinate, texts by property, and
    the feature that each came from, from 1."""

    lon: NDArray[np.float64]
    lat: NDArray[np.float64]
    height: NDArray[np.float64]
    texts: dict[str, list[str]]
    feature: NDArray[np.int64]


def point_fields(source: Source) -> tuple[str, ...] | None:
    """Names of the properties of the points in a file, those of all its point layers; None where it has no points."""
    if is_geojson(source):
        if not _POINT.search(source.head):
            return None
        blocks = [block for block in _PROPERTIES.findall(source.head) if not _CRS_NAME.search(block)]
        return tuple(dict.fromkeys(as_text(name) for block in blocks for name in _NAME.findall(block)))[:_MOST_FIELDS]
    layers = _point_layers(source) if vector_kind(source) else []
    return tuple(dict.fromkeys(name for layer in layers for name in layer.fields)) if layers else None


def _point_layers(source: Source) -> list[Layer]:
    return [layer for layer in layers_of(source) if layer.kind.split(" ")[0] in POINT_KINDS]


def own_names(fields: Sequence[str], columns: Sequence[TableColumn]) -> set[str]:
    """Our names for what the properties are."""
    found = (recognise(text, index, columns) for index, text in enumerate(fields))
    return {header.name for header in found if header is not None}


def read_points(source: Source, wanted: Sequence[str], role: str) -> PointTable:
    """The points of a file; of several layers the one whose properties have one of ``wanted`` (our names).

    Raises InputError where there is no point, several layers fit, or their place is not known.
    """
    if is_geojson(source):
        told = geojson_features(source)
        shapes, rows = [shape for shape, _ in told], [row for _, row in told]
        names = list(dict.fromkeys(name for row in rows for name in row))[:_MOST_FIELDS]
        fields: dict[str, Any] = {name: [row.get(name) for row in rows] for name in names}
        crs: str | None = geojson_crs(source)
    else:
        features = read_features(source, _layer(source, wanted, role))
        shapes, fields, crs = list(features.geometries), features.fields, features.crs
    return _table(shapes, fields, crs, source.name)


def _layer(source: Source, wanted: Sequence[str], role: str) -> str:
    layers = _point_layers(source)
    fit = [layer for layer in layers if own_names(layer.fields, (*LOG_COLUMNS, *MARK_COLUMNS)) & set(wanted)] or layers
    if not fit:
        raise InputError(f"{source.name}: no layer of points in it; give points to be taken as {role}")
    if len(fit) > 1:
        raise InputError(f"{source.name}: several layers of points ({', '.join(layer.name for layer in fit[:8])}); "
                         "save the one that you need by itself")
    return fit[0].name


def _table(shapes: Sequence[Any], fields: dict[str, Any], crs: str | None, name: str) -> PointTable:
    parts, index = shapely.get_parts(np.array(shapes, dtype=object), return_index=True)
    points = (shapely.get_type_id(parts) == shapely.GeometryType.POINT) & ~shapely.is_empty(parts)
    parts, index = parts[points], index[points]
    if not len(parts):
        raise InputError(f"{name}: no point in it; give points, or polygons as --shore")
    lon, lat = _degrees(shapely.get_x(parts), shapely.get_y(parts), crs, name)
    texts = {field: [_text(values[i]) for i in index] for field, values in fields.items()}
    return PointTable(lon, lat, shapely.get_z(parts), texts, index.astype(np.int64) + 1)


def _degrees(x: NDArray[Any], y: NDArray[Any], crs: str | None, name: str) -> tuple[NDArray[Any], NDArray[Any]]:
    """Longitude and latitude; a file without a CRS is taken as degrees where its numbers can be."""
    from pyproj import CRS
    from pyproj.exceptions import ProjError

    if crs is None and not (np.all(np.abs(x) <= 360) and np.all(np.abs(y) <= 90)):
        raise InputError(f"{name}: says no CRS and reaches to {np.max(x):g}, {np.max(y):g}, no longitude and latitude; "
                         "save it in WGS 84")
    try:
        given = CRS.from_user_input(crs or DEGREES)
        if given != CRS.from_user_input(DEGREES):
            x, y = unproject(given, x, y)
    except ProjError as fault:
        raise InputError(f"{name}: its CRS is of no use ({' '.join(str(fault).split())}); save it in WGS 84") from None
    return np.where(np.isfinite(x), x, np.nan), np.where(np.isfinite(y), y, np.nan)


def _text(value: Any) -> str:
    if value is None or (isinstance(value, float | np.floating) and not np.isfinite(value)):
        return ""
    return " ".join(str(value).split()).replace("\0", "")


def as_csv(points: PointTable, columns: Sequence[TableColumn]) -> bytes:
    """The points as a CSV table with columns lat, lon and all properties that are no place; one line a point."""
    kept = [field for i, field in enumerate(points.texts) if _is_kept(field, i, columns)]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    high = bool(np.isfinite(points.height).any()) and not own_names(kept, columns) & {"depth", "z"}
    writer.writerow(["lat", "lon", *kept, *(["z"] if high else [])])
    for i in range(len(points.lat)):
        cells = [_text(points.lat[i]), _text(points.lon[i]), *(points.texts[field][i] for field in kept)]
        writer.writerow([*cells, _text(points.height[i])] if high else cells)
    return out.getvalue().encode("utf-8", errors="replace")


def _is_kept(field: str, index: int, columns: Sequence[TableColumn]) -> bool:
    header = recognise(field, index, columns)
    return bool(field.strip()) and (header is None or header.name not in PLACES)
