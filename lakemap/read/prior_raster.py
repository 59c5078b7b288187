"""A depth or land-height raster from before the survey: GeoTIFF."""

from __future__ import annotations

import warnings
from typing import Any, ClassVar

import numpy as np
import rasterio
from rasterio.enums import Resampling
from rasterio.io import MemoryFile

from lakemap.errors import InputError, SettingError
from lakemap.geo.projected import GivenCrs
from lakemap.model.prior import DepthPrior
from lakemap.read.reader import SURE, Reader, Role
from lakemap.read.settings import ReadSettings
from lakemap.read.source import Source
from lakemap.units import UNIT_WORDS, to_metres

MAGIC = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
"""How TIFF and BigTIFF begin (TIFF 6.0, section 2; BigTIFF as in common use)."""
MOST_CELLS = 20_000
"""An old raster is averaged down to so many cells: it holds the map up, it does not draw it."""
MOST_PIXELS = 400_000_000


class PriorRasterReader(Reader):
    """One band of depths or heights, in metres or feet."""

    name: ClassVar[str] = "raster of an old map"
    role: ClassVar[Role] = "prior"
    suffixes: ClassVar[tuple[str, ...]] = (".tif", ".tiff")
    summary: ClassVar[str] = "GeoTIFF of depths, or of heights of the land before flooding"

    def likelihood(self, source: Source) -> float:
        """Sure for a TIFF."""
        return SURE if source.head.startswith(MAGIC) else 0.0

    def read(self, source: Source, settings: ReadSettings) -> DepthPrior:
        """The cells with a value, averaged. Raises InputError for a raster without place or unit."""
        # in memory and by one driver: nothing beside the file is opened, whatever it is made to name
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                with MemoryFile(source.data()) as memory, memory.open(driver="GTiff") as raster:
                    return _cells(raster, source.name, settings)
        except (rasterio.errors.RasterioError, rasterio.errors.CRSError, ValueError, MemoryError) as fault:
            raise InputError(f"{source.name}: cannot be read ({' '.join(str(fault).split())}); save it as GeoTIFF") \
                from None


def _cells(raster: Any, name: str, settings: ReadSettings) -> DepthPrior:
    if raster.crs is None or raster.transform.is_identity:
        raise InputError(f"{name}: a picture without a place (no CRS or transform); georeference it first")
    if raster.width * raster.height > MOST_PIXELS:
        raise InputError(f"{name}: {raster.width} x {raster.height} pixels, above {MOST_PIXELS}; cut it to the lake")
    shrink = max(1.0, np.sqrt(raster.width * raster.height / MOST_CELLS))
    shape = (max(1, round(raster.height / shrink)), max(1, round(raster.width / shrink)))
    values = raster.read(1, out_shape=shape, resampling=Resampling.average, masked=True)
    rows, columns = np.nonzero(~np.ma.getmaskarray(values) & np.isfinite(values.filled(np.nan)))
    if len(rows) == 0:
        raise InputError(f"{name}: no cell with a value; check its nodata value")
    x, y = _middles(raster, rows, columns, shape)
    lon, lat = _degrees(raster, x, y, name)
    level = to_metres(np.asarray(values[rows, columns], dtype=np.float64), _unit(raster, name, settings))
    down = _says_down(raster)
    return DepthPrior(lon, lat, -level if down is False else level, name, down is not None)


def _middles(raster: Any, rows: Any, columns: Any, shape: tuple[int, int]) -> tuple[Any, Any]:
    column = (columns + 0.5) * raster.width / shape[1]
    row = (rows + 0.5) * raster.height / shape[0]
    t = raster.transform
    return t.a * column + t.b * row + t.c, t.d * column + t.e * row + t.f


def _degrees(raster: Any, x: Any, y: Any, name: str) -> tuple[Any, Any]:
    try:
        lon, lat, _ = GivenCrs.of(raster.crs.to_wkt()).on_wgs84(x, y)
    except SettingError as fault:
        raise InputError(f"{name}: {str(fault).removeprefix('read.crs = ')}") from None
    return lon, lat


def _unit(raster: Any, name: str, settings: ReadSettings) -> str:
    """Unit of the values by tag, band or option."""
    said = str(raster.tags().get("UNITS") or raster.units[0] or "").lower()
    unit = UNIT_WORDS.get(said) or settings.depth_unit
    if unit is None:
        raise InputError(f"{name}: does not say the unit of its values; give --depth-unit m or ft")
    return unit


def _says_down(raster: Any) -> bool | None:
    """Whether values count downward, by tag or description; None where nothing says it."""
    said = f"{raster.tags().get('POSITIVE', '')} {raster.descriptions[0] or ''}".lower()
    if "down" in said or "depth" in said:
        return True
    return False if "up" in said.split() or "height" in said or "elevation" in said else None
