"""Parquet and GeoParquet tables of soundings: typed columns, read in batches; points in any CRS that the file names."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from typing import Any, ClassVar

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import shapely
from numpy.typing import NDArray
from pyarrow import parquet

from lakemap.errors import InputError, SettingError
from lakemap.geo.projected import GivenCrs
from lakemap.model.columns import LOG_COLUMNS
from lakemap.model.soundings import Soundings
from lakemap.read.reader import PERHAPS, SURE, Reader, Role
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source
from lakemap.read.table import WORD_COLUMNS, log_columns
from lakemap.read.table_columns import Header, recognise
from lakemap.read.table_parse import Gathered, Wanted, number_cells, word_codes
from lakemap.read.table_rows import TableRows
from lakemap.read.table_text import MOST_COLUMNS
from lakemap.read.table_times import TIME_COLUMNS, time_headers
from lakemap.read.times import form_of, iso_seconds, written_times

Columns = dict[str, NDArray[Any]]

MAGIC = b"PAR1"
BATCH_ROWS = 1 << 16
MOST_ROWS = 1 << 28
"""More rows than a thousand seasons of logging; a file that claims more is no log."""
DAY_S = 86400.0
OWN_RESULT = b"common_offset_m"
"""Key that only soundings.parquet, a result of our own, has in its description."""
_PER_SECOND = {"s": 1.0, "ms": 1e3, "us": 1e6, "ns": 1e9}


class ParquetReader(Reader):
    """One row a sounding; columns as in a CSV, or a column of points with the description of GeoParquet 1."""

    name: ClassVar[str] = "Parquet table"
    role: ClassVar[Role] = "log"
    suffixes: ClassVar[tuple[str, ...]] = (".parquet", ".geoparquet")
    summary: ClassVar[str] = "columns as in a table of soundings, or points by GeoParquet"

    def likelihood(self, source: Source) -> float:
        """Sure with a depth and a place among its columns; perhaps for any other Parquet file."""
        if source.head[:4] != MAGIC:
            return 0.0
        try:
            with _opened(source) as file:
                names = tuple(file.schema_arrow.names)[:MOST_COLUMNS]
                described = _description(file.schema_arrow.metadata, source.name)
        except InputError:
            return PERHAPS
        headers = (recognise(text, index, LOG_COLUMNS) for index, text in enumerate(names))
        found = {header.name for header in headers if header}
        placed = {"lat", "lon"} <= found or {"x", "y"} <= found or described is not None
        return SURE if placed and found & {"depth", "z"} else PERHAPS

    def read(self, source: Source, settings: ReadSettings) -> Soundings:
        """Rows in file order. Raises InputError for a damaged file, and as a table of soundings does."""
        with _opened(source) as file:
            return _read(file, source, settings)


@contextmanager
def _opened(source: Source) -> Iterator[parquet.ParquetFile]:
    """The file, with every fault of the library as an InputError."""
    try:
        with source.open() as stream:
            whole = stream if stream.seekable() else io.BytesIO(source.data())
            yield parquet.ParquetFile(whole)
    except (pa.ArrowException, OSError, ValueError, KeyError, OverflowError, UnicodeError) as fault:
        words = " ".join(str(fault).split())[:100]
        raise InputError(f"{source.name}: a damaged Parquet file ({words}); copy it again or export it anew") from None


def _read(file: parquet.ParquetFile, source: Source, settings: ReadSettings) -> Soundings:
    schema, count = file.schema_arrow, file.metadata.num_rows
    meta = schema.metadata or {}
    if OWN_RESULT in meta:
        raise InputError(f"{source.name}: a result of lakemap; give the logs that it was made from")
    if len(schema.names) > MOST_COLUMNS or count > MOST_ROWS:
        raise InputError(f"{source.name}: {len(schema.names)} columns and {count} rows; a table may have "
                         f"{MOST_COLUMNS} columns and {MOST_ROWS} rows")
    described = _description(meta, source.name)
    names = tuple(schema.names)
    word = ""
    point = described[0] if described and described[0] in names else None
    found = _headers(names, point, settings, source.name)
    columns, strange = _gather(file, found, point if "lon" not in found else None)
    if not count or not columns:
        raise InputError(f"{source.name}: no rows in it")
    if point and "lon" not in found:
        crs = _crs(described[1] if described else None, settings, source.name)
        try:
            columns["lon"], columns["lat"], word = crs.on_wgs84(columns["lon"], columns["lat"])
        except SettingError as fault:
            raise InputError(f"{source.name}: {fault}") from None
        settings = replace(settings, crs=None)
        found |= {own: Header(own, names.index(point), point) for own in ("lat", "lon")}
    line = np.arange(1, len(columns["depth"]) + 1, dtype=np.int64)
    said = [f"{source.name}: {word}"] if word else []
    return TableRows(source, settings, ParquetReader.name, found, columns, line, strange=strange, said=said).soundings()


def _headers(names: tuple[str, ...], point: str | None, settings: ReadSettings, name: str) -> dict[str, Header]:
    """Headers by our names; with a column of points no other has to give the place."""
    if point is None:
        return log_columns(names, settings, name)
    found = log_columns((*names, "lat", "lon"), settings, name) if not _has_place(names, settings, name) else None
    if found is None:
        return log_columns(names, settings, name)
    return {own: header for own, header in found.items() if own not in ("lat", "lon", "x", "y")}


def _has_place(names: tuple[str, ...], settings: ReadSettings, name: str) -> bool:
    found = {header.name for i, text in enumerate(names) if (header := recognise(text, i, LOG_COLUMNS))}
    return {"lat", "lon"} <= found or {"lat", "lon"} <= set(settings.column_headers())


def _gather(
    file: parquet.ParquetFile, found: Mapping[str, Header], point: str | None
) -> tuple[Columns, dict[str, str]]:
    """All columns (n,) as table_parse.py gives them, and the first strange word of columns of words."""
    wanted = {own: header for own, header in found.items() if own not in TIME_COLUMNS} | time_headers(found)
    picked = list(dict.fromkeys([*(header.text for header in wanted.values()), *([point] if point else [])]))
    gathered: dict[str, Gathered] = {}
    strange: dict[str, str] = {}
    forms: dict[str, str] = {}
    for batch in file.iter_batches(BATCH_ROWS, columns=picked, use_threads=False):
        parts: Columns = {}
        for own, header in wanted.items():
            parts |= _column(own, header, _plain(batch.column(header.text)), forms, strange)
        if point:
            parts["lon"], parts["lat"] = _places(batch.column(point))
        for own, values in parts.items():
            if own not in gathered:
                gathered[own] = Gathered(values.dtype, min(file.metadata.num_rows, MOST_ROWS))
            gathered[own].add(values)
    return {own: column.whole() for own, column in gathered.items()}, strange


def _plain(cells: pa.Array) -> pa.Array:
    """Without dictionaries; texts trimmed, with "" where there is none."""
    if pa.types.is_dictionary(cells.type):
        cells = cells.cast(cells.type.value_type)
    if pa.types.is_string(cells.type) or pa.types.is_large_string(cells.type):
        return pc.utf8_trim_whitespace(cells.cast(pa.string()).fill_null(""))
    return cells


def _column(
    own: str, header: Header, cells: pa.Array, forms: dict[str, str], strange: dict[str, str]
) -> Columns:
    kind, text = cells.type, pa.types.is_string(cells.type)
    if own in WORD_COLUMNS:
        words = cells if text else pa.array([""] * len(cells))
        codes, first = word_codes(words, Wanted(header.index, header.text, "word", words=WORD_COLUMNS[own]))
        if first:
            strange.setdefault(own, first)
        return {own: codes}
    if pa.types.is_timestamp(kind):
        seconds = _floats(cells.cast(pa.int64())) / _PER_SECOND[kind.unit]
        return {own: seconds, f"{own}.zoned": np.full(len(cells), kind.tz is not None)} if own == "time" else (
            _written(own, np.floor(seconds / DAY_S), np.full(len(cells), np.nan)))
    if pa.types.is_date(kind):
        days = _floats(cells.cast(pa.date32()).cast(pa.int32()))
        return _written(own, days, np.full(len(cells), np.nan))
    if pa.types.is_time(kind):
        ticks = _floats(cells.cast(pa.int32() if pa.types.is_time32(kind) else pa.int64()))
        return _written(own, np.full(len(cells), np.nan), ticks / _PER_SECOND[kind.unit])
    if own in ("time", "date") and text:
        return _text_times(own, cells, forms.setdefault(own, "text" if own == "date" else form_of(cells)))
    return {own: number_cells(cells) if text else _floats(cells)}


def _floats(cells: pa.Array) -> NDArray[np.float64]:
    """Numbers of any type, NaN where there is none, or the type is none of numbers."""
    try:
        values = np.array(cells.cast(pa.float64(), safe=False).fill_null(np.nan), dtype=np.float64)
    except (pa.ArrowInvalid, pa.ArrowNotImplementedError):
        return np.full(len(cells), np.nan)
    values[~np.isfinite(values)] = np.nan
    return values


def _written(own: str, days: NDArray[np.float64], clock_s: NDArray[np.float64]) -> Columns:
    """Typed dates and times of day in the codes of times.Written."""
    known = np.isfinite(days)
    date = np.where(known, days, 0.0).astype(np.int64).astype("datetime64[D]")
    month = date.astype("datetime64[M]").astype(np.int64)
    code = (month // 12 + 1970) * 1e8 + (month % 12 + 1) * 1e4 + (date - date.astype("datetime64[M]")).astype(int) + 1
    return {f"{own}.day": np.where(known, code, np.nan), f"{own}.clock": clock_s,
            f"{own}.zoned": np.zeros(len(days), dtype=bool)}


def _text_times(own: str, cells: pa.Array, form: str) -> Columns:
    if form == "number":
        return {own: number_cells(cells)}
    if form == "iso":
        seconds, zoned = iso_seconds(cells)
        return {own: seconds, f"{own}.zoned": zoned}
    written = written_times(cells)
    return {f"{own}.day": written.day, f"{own}.clock": written.clock_s, f"{own}.zoned": written.zoned}


def _description(meta: Mapping[bytes, bytes] | None, name: str) -> tuple[str, Any] | None:
    """The column of points that GeoParquet's description names, and its CRS: PROJJSON, None where the file says that
    nobody knows it, "" where it says nothing (then it is longitude and latitude on WGS 84)."""
    if not meta or b"geo" not in meta:
        return None
    try:
        told = json.loads(meta[b"geo"])
        primary = str(told["primary_column"])
        return primary, told["columns"][primary].get("crs", "")
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise InputError(f"{name}: its GeoParquet description cannot be read; write the file anew") from None


def _crs(told: Any, settings: ReadSettings, name: str) -> GivenCrs:
    if told == "":
        return GivenCrs.of("OGC:CRS84")
    if told is not None:
        try:
            return GivenCrs.of(json.dumps(told))
        except SettingError:
            raise InputError(f"{name}: its CRS cannot be used; convert its points to WGS 84") from None
    if settings.crs is None:
        raise InputError(f"{name}: says that the CRS of its points is not known; say it with --crs EPSG:...")
    return GivenCrs.of(settings.crs)


def _places(points: pa.Array) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """x and y (n,) of points as WKB or as a struct of x and y; NaN for what is no point."""
    if pa.types.is_struct(points.type):
        return _floats(pc.struct_field(points, "x")), _floats(pc.struct_field(points, "y"))
    shapes = shapely.from_wkb(points.cast(pa.binary()).to_numpy(zero_copy_only=False), on_invalid="ignore")
    shapes = np.where(shapely.get_type_id(shapes) == shapely.GeometryType.POINT, shapes, None)
    return shapely.get_x(shapes), shapely.get_y(shapes)
