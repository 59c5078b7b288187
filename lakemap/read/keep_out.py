"""Dangers and closed areas: GeoJSON, GeoPackage, Shapefile, FlatGeobuf."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, ClassVar

import numpy as np
import shapely

from lakemap.errors import InputError, SettingError, UsageError
from lakemap.geo.projected import GivenCrs
from lakemap.model.keep_out import ClosedAreas, Hazards
from lakemap.read.geojson import geojson_crs, geojson_features, is_geojson
from lakemap.read.reader import SURE, Reader, Role
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source
from lakemap.read.vector_file import layers_of, read_features, vector_kind
from lakemap.units import parse_length_m

FORCED = 0.1
"""Any shapes may be dangers or closed areas by the owner's word."""
USUAL_KEEP_M = 15.0
"""Distance kept from a danger that does not say its own: some errors of a fix, and the boat (own choice)."""
_DAY = re.compile(r"^(?:\d{4}-)?(?:0[1-9]|1[0-2])-(?:0[1-9]|[12]\d|3[01])$")
KEEP_FIELDS = ("keep", "keep_m", "keep_ft")
"""Names of the distance to keep: a file with one tells of dangers."""
_KEEP = re.compile(rb'"keep(?:_m|_ft)?"\s*:')
_CLOSED = re.compile(rb'"closed(?:_from|_until)?"\s*:')


@dataclass(frozen=True)
class Shapes:
    """Shapes in WGS 84 and their fields, names in lower case."""

    shape: list[Any]
    fields: list[dict[str, Any]]


class HazardsReader(Reader):
    """Dangers that the owner marked, each with the distance that is kept from it."""

    name: ClassVar[str] = "dangers"
    role: ClassVar[Role] = "hazards"
    suffixes: ClassVar[tuple[str, ...]] = (".geojson", ".json", ".gpkg", ".shp", ".fgb")
    summary: ClassVar[str] = "points, lines or areas with keep_m (or keep_ft), the distance to keep, and what they are"

    def likelihood(self, source: Source) -> float:
        """Sure where the shapes have a distance to keep; any other by the owner's word alone."""
        return _likelihood(source, _KEEP, KEEP_FIELDS)

    def read(self, source: Source, settings: ReadSettings) -> Hazards:
        """Every shape with its distance. Raises InputError without shapes, for a distance that is none, or for days."""
        found = read_shapes(source)
        if any(_day(row, name, source.name) for row in found.fields for name in ("closed_from", "closed_until")):
            raise InputError(f"{source.name}: has days on which it is closed; give it with --closed")
        keep = [_keep(row, source.name, number) for number, row in enumerate(found.fields, start=1)]
        return Hazards(found.shape, keep, [_word(row, ("what", "kind", "name", "note")) for row in found.fields])


class ClosedReader(Reader):
    """Areas that may not be entered, always or between two days."""

    name: ClassVar[str] = "closed areas"
    role: ClassVar[Role] = "closed"
    suffixes: ClassVar[tuple[str, ...]] = (".geojson", ".json", ".gpkg", ".shp", ".fgb")
    summary: ClassVar[str] = "polygons with closed_from and closed_until (2026-04-01, or 04-01 for every year), and why"

    def likelihood(self, source: Source) -> float:
        """Sure where the shapes say when they are closed; any other by the owner's word alone."""
        return _likelihood(source, _CLOSED, ("closed", "closed_from", "closed_until"))

    def read(self, source: Source, settings: ReadSettings) -> ClosedAreas:
        """Every polygon with its days. Raises InputError without polygons or for a day that is none."""
        found = read_shapes(source)
        areas = [i for i, shape in enumerate(found.shape) if shapely.get_dimensions(shape) == 2]
        if not areas:
            raise InputError(f"{source.name}: no polygon in it; draw closed areas as polygons")
        told = () if len(areas) == len(found.shape) else (
            f"{source.name}: {len(found.shape) - len(areas)} shapes are no polygons; left out",)
        rows = [found.fields[i] for i in areas]
        days = [[_day(row, name, source.name) for row in rows] for name in ("closed_from", "closed_until")]
        _whole_seasons(days[0], days[1], source.name)
        why = [_word(row, ("why", "name", "note")) for row in rows]
        return ClosedAreas([found.shape[i] for i in areas], days[0], days[1], why, told)


def _likelihood(source: Source, mark: re.Pattern[bytes], names: tuple[str, ...]) -> float:
    if is_geojson(source):
        return SURE if mark.search(source.head.lower()) else FORCED
    if not vector_kind(source):
        return 0.0
    fields = {field.lower() for layer in layers_of(source) for field in layer.fields}
    return SURE if fields & set(names) else FORCED


def read_shapes(source: Source) -> Shapes:
    """All shapes of all layers in WGS 84. Raises InputError where there is none or their place is not known."""
    shapes: list[Any] = []
    fields: list[dict[str, Any]] = []
    for part, rows, crs in _parts(source):
        known = [i for i, shape in enumerate(part) if shape is not None and not shape.is_empty]
        shapes += _on_wgs84([part[i] for i in known], crs, source.name)
        fields += [{str(name).lower(): value for name, value in rows[i].items()} for i in known]
    if not shapes:
        raise InputError(f"{source.name}: no shape in it; leave the file out")
    return Shapes(shapes, fields)


def _parts(source: Source) -> list[tuple[list[Any], list[dict[str, Any]], str | None]]:
    if is_geojson(source):
        told = geojson_features(source)
        return [([shape for shape, _ in told], [row for _, row in told], geojson_crs(source))]
    parts = []
    for layer in layers_of(source):
        features = read_features(source, layer.name)
        rows = [{name: column[i] for name, column in features.fields.items()} for i in range(len(features.geometries))]
        parts.append((list(features.geometries), rows, features.crs))
    return parts


def _on_wgs84(shapes: list[Any], crs: str | None, name: str) -> list[Any]:
    if crs in (None, "EPSG:4326"):
        return [shapely.force_2d(shape) for shape in shapes]
    try:
        given = GivenCrs.of(str(crs))

        def turned(xy: Any) -> Any:
            lon, lat, _ = given.on_wgs84(xy[:, 0], xy[:, 1])
            return np.column_stack([lon, lat])

        return [shapely.transform(shapely.force_2d(shape), turned) for shape in shapes]
    except SettingError as fault:
        raise InputError(f"{name}: {str(fault).removeprefix('read.crs = ')}") from None


def _keep(row: Mapping[str, Any], name: str, number: int) -> float:
    for field, unit in (("keep_m", "m"), ("keep_ft", "ft"), ("keep", "m")):
        value = row.get(field)
        if value is None or str(value).strip() in ("", "nan"):
            continue
        try:
            keep = parse_length_m(str(value), unit)
        except UsageError as fault:
            raise InputError(f"{name}, shape {number}: {field} {fault}") from None
        if keep < 0:
            raise InputError(f"{name}, shape {number}: {field} = {value}: a distance is 0 or more")
        return keep
    return USUAL_KEEP_M


def _day(row: Mapping[str, Any], field: str, name: str) -> str:
    value = row.get(field)
    text = "" if value is None else str(value).strip()[:10]
    if text in ("", "nan", "None", "NaT"):
        return ""
    if not _DAY.match(text) or not _in_calendar(text):
        raise InputError(f"{name}: {field} = {text!r} is no day; write 2026-04-01, or 04-01 for every year")
    return text


def _in_calendar(text: str) -> bool:
    try:
        # every year's 29 February is one of some years
        date.fromisoformat(text if len(text) == 10 else f"2024-{text}")
    except ValueError:
        return False
    return True


def _whole_seasons(first: list[str], last: list[str], name: str) -> None:
    """Raises InputError where a season of every year has but one end: the other would be that of the year."""
    for start, end in zip(first, last, strict=True):
        if len(start) + len(end) == len("04-01"):
            lacking = "closed_until" if start else "closed_from"
            raise InputError(f"{name}: closed every year {'from' if start else 'until'} {start or end}, and no "
                             f"{lacking}; write it too, or a day with its year")


def _word(row: Mapping[str, Any], names: tuple[str, ...]) -> str:
    return next((" ".join(str(row[name]).split()) for name in names if row.get(name)), "")
