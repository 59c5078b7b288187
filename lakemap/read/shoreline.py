"""Shorelines: any polygons in GeoJSON, GeoPackage, Shapefile or FlatGeobuf; islands are holes."""

from __future__ import annotations

import shutil
import tempfile
import warnings
from pathlib import Path
from typing import Any, ClassVar

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from lakemap.errors import InputError
from lakemap.geo.crs import unproject
from lakemap.model.shoreline import Shoreline
from lakemap.read.geojson import geojson_crs, geojson_geometries, is_geojson
from lakemap.read.reader import SURE, Reader, Role
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source

GEOPACKAGE, SHAPEFILE, FLATGEOBUF = b"SQLite format 3\0", b"\x00\x00\x27\x0a", b"fgb\x03"
SHAPEFILE_PARTS = (".shx", ".dbf", ".prj", ".cpg")
SHAPEFILE_POLYGONS = (5, 15, 25)
SHORE_LAYERS = ("shoreline", "shore", "lake", "water")
"""Layer names that are preferred where a file has several layers of polygons."""
ENOUGH = 0.5
MISSING_CRS = "EPSG:4326"


class ShorelineReader(Reader):
    """The water of a lake as polygons, whatever their CRS."""

    name: ClassVar[str] = "shoreline polygons"
    role: ClassVar[Role] = "shore"
    suffixes: ClassVar[tuple[str, ...]] = (".geojson", ".json", ".gpkg", ".shp", ".fgb")
    summary: ClassVar[str] = "water polygons in GeoJSON, GeoPackage, Shapefile, FlatGeobuf; islands are holes"

    def likelihood(self, source: Source) -> float:
        """Sure for a file of polygons in one of the four formats."""
        kind = _kind(source)
        if kind == ".shp":
            return SURE if int.from_bytes(source.head[32:36], "little") in SHAPEFILE_POLYGONS else 0.0
        if kind == ".geojson":
            return SURE if b"Polygon" in source.head else 0.0
        return SURE if kind else 0.0

    def read(self, source: Source, settings: ReadSettings) -> Shoreline:
        """All polygons as one, in WGS 84 degrees. Raises InputError where there is none or their place is unknown."""
        if _kind(source) == ".geojson":
            geometries, crs = geojson_geometries(source), geojson_crs(source)
        else:
            geometries, crs = _from_file(source)
        rings = [shapely.make_valid(shapely.force_2d(shape)) for shape in geometries if _is_area(shape)]
        if not rings:
            raise InputError(f"{source.name}: no polygon in it; give the water as polygons, islands as holes")
        said = []
        if len(rings) < len(geometries):
            said.append(f"{source.name}: {len(geometries) - len(rings)} shapes are no polygons; left out")
        water, crs_said = _on_wgs84(_areas_only(shapely.union_all(rings)), crs, source.name)
        return Shoreline(water, source.name, (*said, *crs_said))


def _kind(source: Source) -> str:
    """The format as the suffix it usually has, by the first bytes; empty for none."""
    if source.head.startswith(GEOPACKAGE):
        return ".gpkg" if source.head[68:72] in (b"GPKG", b"GP10", b"GP11") else ""
    if source.head.startswith(SHAPEFILE):
        return ".shp"
    if source.head.startswith(FLATGEOBUF):
        return ".fgb"
    return ".geojson" if is_geojson(source) else ""


def _is_area(shape: BaseGeometry | None) -> bool:
    return shape is not None and shape.geom_type in ("Polygon", "MultiPolygon") and not shape.is_empty


def _areas_only(shape: BaseGeometry) -> BaseGeometry:
    """Polygons of what mending left over (it may leave lines where a ring touched itself)."""
    return shapely.union_all([part for part in shapely.get_parts(shape) if _is_area(part)])


def _from_file(source: Source) -> tuple[list[BaseGeometry], Any]:
    """Geometries and CRS of a binary file, read from a copy under a plain name.

    The copy keeps every virtual path, archive and link out of it, and no journal is left beside the user's file.
    """
    import pyogrio

    suffix = _kind(source)
    with tempfile.TemporaryDirectory(prefix="lakemap-") as folder, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        copy = Path(folder) / f"shore{suffix}"
        try:
            shutil.copyfile(source.path, copy)
            for part in SHAPEFILE_PARTS if suffix == ".shp" else ():
                _copy_part(source.path, part, copy)
            frame = pyogrio.read_dataframe(copy, layer=_layer(pyogrio.list_layers(copy), source.name), columns=[])
        except InputError:
            raise
        except (OSError, ValueError, RuntimeError, AttributeError, shapely.errors.ShapelyError) as fault:
            reason = " ".join(str(fault).replace(folder, "").split())
            raise InputError(f"{source.name}: cannot be read ({reason}); save it as GeoJSON") from None
        return list(frame.geometry), frame.crs


def _copy_part(shape: Path, suffix: str, copy: Path) -> None:
    part = next((p for p in (shape.with_suffix(suffix), shape.with_suffix(suffix.upper())) if p.is_file()), None)
    if part is not None:
        shutil.copyfile(part, copy.with_suffix(suffix))


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
    west, south, east, north = shapely.bounds(water)
    if not (abs(west) <= 360 and abs(east) <= 360 and abs(south) <= 90 and abs(north) <= 90):
        raise InputError(
            f"{name}: reaches to {east:g}, {north:g}, no longitude and latitude; save it in WGS 84 (lon, lat)"
        )
    return water, said
