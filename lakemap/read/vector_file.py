"""GeoPackage, Shapefile and FlatGeobuf: which of them a file is, its layers, and their features.

A file is judged by its first bytes and opened from a copy under a plain name in a folder of its own: so neither its
name nor what it holds can lead the library to a virtual path, a remote address, an archive or another driver, and no
journal is left beside the user's file.
"""

from __future__ import annotations

import shutil
import sqlite3
import tempfile
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from lakemap.errors import InputError
from lakemap.read.archives import open_beside
from lakemap.read.geojson import all_near
from lakemap.read.source import LARGEST_TEXT, Source

GEOPACKAGE, SHAPEFILE, FLATGEOBUF = b"SQLite format 3\0", b"\x00\x00\x27\x0a", b"fgb\x03fgb"
GEOPACKAGE_IDS = (b"GPKG", b"GP10", b"GP11")
DRIVERS = {".gpkg": "GPKG", ".shp": "ESRI Shapefile", ".fgb": "FlatGeobuf"}
SHAPEFILE_PARTS = (".shx", ".dbf", ".prj", ".cpg")
_SHAPEFILE_VERSION = b"\xe8\x03\0\0"
_LARGEST_FGB_HEADER = 1 << 20
_MOST_TABLES = 2000
_BROKEN = (OSError, ValueError, RuntimeError, AttributeError, LookupError, OverflowError, shapely.errors.ShapelyError)


@dataclass(frozen=True)
class Layer:
    """One layer: name, kind of geometry as the file says it (``Point``, ``Unknown`` ...), names of its fields."""

    name: str
    kind: str
    fields: tuple[str, ...]


@dataclass(frozen=True)
class Features:
    """n features: geometries (n,), a column of values (n,) a field, and the CRS in words (None: not said)."""

    geometries: NDArray[np.object_]
    fields: dict[str, NDArray[Any]]
    crs: str | None


def vector_kind(source: Source) -> str:
    """The format as the suffix it usually has, by the first bytes; empty for none of the three."""
    head = source.head
    if head.startswith(GEOPACKAGE):
        return ".gpkg" if head[68:72] in GEOPACKAGE_IDS else ""
    if head.startswith(SHAPEFILE):
        return ".shp" if head[28:32] == _SHAPEFILE_VERSION else ""
    # the header's length leaves a zero within the first bytes: to drivers that look for text the file ends there
    fgb = head.startswith(FLATGEOBUF) and int.from_bytes(head[8:12], "little") <= _LARGEST_FGB_HEADER
    return ".fgb" if fgb else ""


@lru_cache(maxsize=16)
def layers_of(source: Source) -> tuple[Layer, ...]:
    """All layers of a file. Raises InputError for one that is broken, hostile or no vector file."""
    with opened(source) as copy:
        return tuple(_layer(copy, str(name)) for name, _ in _list_layers(copy))


def read_features(source: Source, layer: str) -> Features:
    """Everything in one layer. Raises InputError where it cannot be read."""
    import pyogrio

    with opened(source) as copy:
        meta, _, shapes, columns = pyogrio.raw.read(copy, layer=layer, datetime_as_string=True)
        geometries = shapely.from_wkb(shapes if shapes is not None else [], on_invalid="ignore")
    if not all_near(geometries):
        raise InputError(f"{source.name}: a shape has broken coordinates; save the file again")
    fields = dict(zip((str(name) for name in meta["fields"]), columns, strict=True))
    return Features(np.asarray(geometries, dtype=object), fields, meta.get("crs"))


def _list_layers(copy: Path) -> NDArray[Any]:
    import pyogrio

    return np.asarray(pyogrio.list_layers(copy))


def _layer(copy: Path, name: str) -> Layer:
    import pyogrio

    told = pyogrio.read_info(copy, layer=name)
    return Layer(name, str(told["geometry_type"] or ""), tuple(str(field) for field in told["fields"]))


@contextmanager
def opened(source: Source) -> Iterator[Path]:
    """A copy that the library may open; what goes wrong while it is open is InputError."""
    suffix = vector_kind(source)
    if not suffix or source.size > LARGEST_TEXT:
        raise InputError(f"{source.name}: no vector file of up to {LARGEST_TEXT} bytes; save it as GeoJSON")
    with tempfile.TemporaryDirectory(prefix="lakemap-") as folder, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        copy = Path(folder) / f"features{suffix}"
        try:
            _copy(source, copy)
            if suffix == ".gpkg":
                _refuse_made_up_tables(copy, source.name)
            _refuse_other_drivers(copy, source.name)
            yield copy
        except InputError:
            raise
        except _BROKEN as fault:
            reason = " ".join(str(fault).replace(folder, "").split()) or type(fault).__name__
            raise InputError(f"{source.name}: cannot be read ({reason}); save it as GeoJSON") from None


def _copy(source: Source, copy: Path) -> None:
    with source.open() as whole, copy.open("wb") as target:
        shutil.copyfileobj(whole, target)
    for part in SHAPEFILE_PARTS if copy.suffix == ".shp" else ():
        beside = open_beside(source, part)
        if beside is not None:
            with beside, copy.with_suffix(part).open("wb") as target:
                shutil.copyfileobj(beside, target)


def _refuse_made_up_tables(copy: Path, name: str) -> None:
    """A layer must be a table: views can run for ever, virtual tables can open other files and addresses."""
    try:
        database = sqlite3.connect(f"{copy.as_uri()}?mode=ro&immutable=1", uri=True)
        try:
            rows = database.execute(
                "SELECT type, name, sql FROM sqlite_master WHERE type IN ('table', 'view') LIMIT ?", (_MOST_TABLES,)
            ).fetchall()
        finally:
            database.close()
    except (sqlite3.Error, UnicodeDecodeError) as fault:
        raise InputError(f"{name}: broken database ({fault}); save the file again") from None
    if len(rows) >= _MOST_TABLES:
        raise InputError(f"{name}: more than {_MOST_TABLES} tables; save the layer that you need by itself")
    for kind, table, sql in rows:
        words = " ".join(str(sql).lower().split())
        made_up = words.startswith("create virtual table") and " using rtree" not in words
        if kind == "view" or made_up:
            raise InputError(f"{name}: {table!r} is a view or a virtual table, which may lead out of the file; "
                             "save the layer that you need by itself")


def _refuse_other_drivers(copy: Path, name: str) -> None:
    import pyogrio

    layers = _list_layers(copy)
    driver = pyogrio.read_info(copy, layer=str(layers[0][0]))["driver"] if len(layers) else DRIVERS[copy.suffix]
    if driver != DRIVERS[copy.suffix]:
        raise InputError(f"{name}: is no {DRIVERS[copy.suffix]} file but {driver}; save it as GeoJSON")
