"""Shorelines: any polygons in GeoJSON, GeoPackage, Shapefile or FlatGeobuf; islands are holes.

Lines or areas with the attribute ``bank = wall`` mark stretches of the outline where the water is deep at once.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any, ClassVar

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from lakemap.errors import InputError
from lakemap.geo.crs import unproject
from lakemap.model.shoreline import NO_WALLS, Shoreline
from lakemap.read.geojson import all_near, geojson_crs, geojson_features, is_geojson
from lakemap.read.reader import SURE, Reader, Role
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source
from lakemap.read.vector_file import layers_of, opened, vector_kind

SHORE_LAYERS = ("shoreline", "shore", "lake", "water")
"""Layer names that are preferred where a file has several layers of polygons."""
BANK, WALL = "bank", "wall"
"""The attribute, and its value, that marks a stretch where the water is deep at once."""
_WALL_MARK = re.compile(rb'"bank"\s*:\s*"\s*wall\s*"', re.IGNORECASE)
_DRAWN = ("Polygon", "LineString", "Curve", "Surface", "GeometryCollection", "Unknown")
MISSING_CRS = "EPSG:4326"


class ShorelineReader(Reader):
    """The water of a lake as polygons, whatever their CRS."""

    name: ClassVar[str] = "shoreline polygons"
    role: ClassVar[Role] = "shore"
    suffixes: ClassVar[tuple[str, ...]] = (".geojson", ".json", ".gpkg", ".shp", ".fgb")
    summary: ClassVar[str] = "water polygons in GeoJSON, GeoPackage, Shapefile, FlatGeobuf; islands are holes"

    def likelihood(self, source: Source) -> float:
        """Sure for a file of polygons in one of the four formats."""
        if vector_kind(source):
            return SURE if any(word in layer.kind for layer in layers_of(source) for word in _DRAWN) else 0.0
        if not is_geojson(source):
            return 0.0
        return SURE if b"Polygon" in source.head or _WALL_MARK.search(source.head) else 0.0

    def read(self, source: Source, settings: ReadSettings) -> Shoreline:
        """All polygons as one, in WGS 84 degrees. Raises InputError where there is none or their place is unknown.

        A file that only marks walls is one too: its water is empty.
        """
        marked, crs = _marked(source)
        if not all_near([shape for shape, _ in marked]):
            raise InputError(f"{source.name}: a shape has broken coordinates; save the file again")
        walls = [shape for shape, wall in marked if wall and _is_bank(shape)]
        others = [shape for shape, wall in marked if not wall]
        rings = [shapely.make_valid(shapely.force_2d(shape)) for shape in others if _is_area(shape)]
        if not rings and not walls:
            raise InputError(f"{source.name}: no polygon in it; give the water as polygons, islands as holes")
        said = []
        if len(rings) < len(others):
            said.append(f"{source.name}: {len(others) - len(rings)} shapes are no polygons; left out")
        water, crs_said = _on_wgs84(_areas_only(shapely.union_all(rings)), crs, source.name)
        kept = [_on_wgs84(shapely.force_2d(shape), crs, source.name)[0] for shape in walls]
        return Shoreline(water, source.name, (*said, *crs_said), shapely.union_all(kept) if kept else NO_WALLS)


def _marked(source: Source) -> tuple[list[tuple[BaseGeometry, bool]], Any]:
    """Every shape, whether it marks a wall, and the CRS."""
    if not is_geojson(source):
        return _from_file(source)
    told = [(shape, _is_wall(properties.items())) for shape, properties in geojson_features(source)]
    return told, geojson_crs(source)


def _is_wall(attributes: Iterable[tuple[str, Any]]) -> bool:
    return any(str(name).lower() == BANK and str(value).strip().lower() == WALL for name, value in attributes)


def _is_bank(shape: BaseGeometry | None) -> bool:
    """Whether a shape can mark a stretch of outline: lines and areas can, points cannot."""
    return shape is not None and not shape.is_empty and shapely.get_dimensions(shape) > 0


def _is_area(shape: BaseGeometry | None) -> bool:
    return shape is not None and shape.geom_type in ("Polygon", "MultiPolygon") and not shape.is_empty


def _areas_only(shape: BaseGeometry) -> BaseGeometry:
    """Polygons of what mending left over (it may leave lines where a ring touched itself)."""
    return shapely.union_all([part for part in shapely.get_parts(shape) if _is_area(part)])


def _from_file(source: Source) -> tuple[list[tuple[BaseGeometry, bool]], Any]:
    """Geometries, whether each marks a wall, and CRS of a binary file."""
    import pyogrio

    with opened(source) as copy:
        layers = pyogrio.list_layers(copy)
        chosen = _layer(layers, source.name)
        frames = [pyogrio.read_dataframe(copy, layer=chosen, columns=_bank_fields(copy, chosen))]
        for layer in (str(layer) for layer, _ in layers if layer != chosen):
            if fields := _bank_fields(copy, layer):
                frames.append(_walls_only(pyogrio.read_dataframe(copy, layer=layer, columns=fields), frames[0].crs))
    return [pair for frame in frames for pair in _with_marks(frame)], frames[0].crs


def _bank_fields(path: Path, layer: str) -> list[str]:
    import pyogrio

    return [str(name) for name in pyogrio.read_info(path, layer=layer)["fields"] if str(name).lower() == BANK]


def _walls_only(frame: Any, crs: Any) -> Any:
    """Rows of another layer that mark walls, on the CRS of the water's layer."""
    frame = frame[[wall for _, wall in _with_marks(frame)]]
    return frame if frame.crs is None or crs is None else frame.to_crs(crs)


def _with_marks(frame: Any) -> list[tuple[BaseGeometry, bool]]:
    told = frame.drop(columns="geometry").to_dict("records")
    return [(shape, _is_wall(row.items())) for shape, row in zip(frame.geometry, told, strict=True)]


def _layer(layers: Any, name: str) -> str:
    areas = [str(layer) for layer, kind in layers if kind is None or "Polygon" in kind or kind == "Unknown"]
    if not areas:
        raise InputError(f"{name}: no layer of polygons in it; give the water as polygons, islands as holes")
    preferred = [layer for wanted in SHORE_LAYERS for layer in areas if layer.lower() == wanted]
    if len(areas) > 1 and not preferred:
        raise InputError(f"{name}: several layers of polygons ({', '.join(areas[:8])}); call the right one shoreline")
    return (preferred or areas)[0]


def _on_wgs84(water: BaseGeometry, crs: Any, name: str) -> tuple[BaseGeometry, list[str]]:
    """The water in degrees; a file without a CRS is taken as WGS 84 where its numbers can be degrees."""
    from pyproj import CRS
    from pyproj.exceptions import ProjError

    said = []
    if crs is None:
        crs = MISSING_CRS
        said.append(f"{name}: says no CRS; taken as longitude and latitude on WGS 84")
    try:
        crs = CRS.from_user_input(crs)
        if crs != CRS.from_user_input(MISSING_CRS):
            water = shapely.transform(water, lambda xy: np.column_stack(unproject(crs, xy[:, 0], xy[:, 1])))
    except ProjError as fault:
        raise InputError(f"{name}: its CRS is of no use ({' '.join(str(fault).split())}); save it in WGS 84") from None
    west, south, east, north = np.nan_to_num(shapely.bounds(water))
    if not (abs(west) <= 360 and abs(east) <= 360 and abs(south) <= 90 and abs(north) <= 90):
        raise InputError(
            f"{name}: reaches to {east:g}, {north:g}, no longitude and latitude; save it in WGS 84 (lon, lat)"
        )
    return water, said
