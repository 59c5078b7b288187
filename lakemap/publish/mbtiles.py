"""The depth picture as MBTiles 1.3: Web Mercator tiles of 256 pixels for map programs without a network."""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import rasterio.features
import shapely
from affine import Affine
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from lakemap.geo.crs import project
from lakemap.model.drawn import Drawn
from lakemap.model.frame import Grid, GridFrame
from lakemap.model.outputs import CAUTION
from lakemap.publish.commit import OutputFolder
from lakemap.publish.html_map.packing import coarser
from lakemap.publish.html_map.placing import MERCATOR_RADIUS_M, mercator, unwrapped_lonlat
from lakemap.publish.tile_picture import as_png, coded, hatched, palette
from lakemap.publish.wording import depth_label

Floats = NDArray[np.float64]

TILE = 256
LARGEST_ZOOM = 20
MOST_TILES = 1500
"""On the finest level: the zoom is lowered until no more are needed, which bounds the file's size. Own choice."""

CONTOUR_LEVELS = 3
"""Contours are drawn on so many of the finest levels; further out they would run together."""

APPLICATION_ID = 0x4D504258
"""Says in the file's head what it is (MBTiles 1.3, "Database")."""

_TURN_M = 2 * math.pi * MERCATOR_RADIUS_M


@dataclass(frozen=True)
class DepthPicture:
    """What is drawn: depth and its sigma on one frame, contour step [m], shapes on the frame's CRS to keep out of."""

    depth: Grid
    sigma: Grid
    step_m: float | None = None
    keep_out: tuple[BaseGeometry, ...] = ()

    @property
    def deepest_m(self) -> float:
        """The depth that the darkest colour stands for."""
        values = self.depth.values
        return float(np.nanmax(values)) if np.isfinite(values).any() else 0.0


def picture_of(depth: Grid, sigma: Grid, layers: Mapping[str, Drawn]) -> DepthPicture:
    """The picture of a finished map: contours as far apart as the map's, dangers as wide as is to be kept from them."""
    drawn = {float(fields["depth_m"]) for fields in layers.get("contours", Drawn()).fields}
    steps = np.diff(sorted(drawn | {0.0}))
    dangers, closed = layers.get("hazards", Drawn()), layers.get("closed_areas", Drawn())
    wide = [shape.buffer(max(float(fields["keep_m"] or 0.0), 0.5 * depth.frame.pixel_m))
            for shape, fields in zip(dangers.shapes, dangers.fields, strict=True)]
    return DepthPicture(depth, sigma, float(steps.min()) if len(steps) else None, (*wide, *closed.shapes))


def put_mbtiles(picture: DepthPicture, unit: str, file: Path) -> int:
    """The file put in place whole; how many tiles it has. Raises OutputError."""
    count = 0

    def write(path: Path) -> None:
        nonlocal count
        try:
            count = write_mbtiles(picture, file.stem, unit, path)
        except sqlite3.Error as fault:
            raise OSError(str(fault)) from None

    OutputFolder(file.parent).put(file.name, write)
    return count


def write_mbtiles(picture: DepthPicture, name: str, unit: str, path: Path) -> int:
    """Write the file and return how many tiles it has; the same picture, the same bytes."""
    finest, span = _finest(picture.depth.frame)
    coarsest = max(0, finest - max(0, math.ceil(math.log2(max(span[2] - span[0], span[3] - span[1], 1e-9)))))
    with_contours = {finest - k for k in range(CONTOUR_LEVELS)}
    keep_out = [_on_mercator(picture.depth.frame, shape) for shape in picture.keep_out]
    colours = palette()
    base = sqlite3.connect(path)
    try:
        _tables(base, _metadata(picture, name, unit, (coarsest, finest), span))
        count = 0
        for zoom, column, row, values in _levels(picture, span, coarsest, finest):
            codes = coded(*values, picture.deepest_m, picture.step_m if zoom in with_contours else None)
            codes = hatched(codes, _mask(keep_out, zoom, column, row), row * TILE, column * TILE)
            if codes.any():
                flipped = 2**zoom - 1 - row
                base.execute("INSERT INTO tiles VALUES (?, ?, ?, ?)",
                             (zoom, column % 2**zoom, flipped, as_png(codes, colours)))
                count += 1
        base.commit()
    finally:
        base.close()
    return count


def _finest(frame: GridFrame) -> tuple[int, tuple[float, float, float, float]]:
    """The first zoom with pixels no larger than the map's, and the frame in its tiles: west, north, east, south."""
    west, south, east, north = frame.bounds
    at = np.linspace(0.0, 1.0, 33)
    x = np.r_[west + at * (east - west), west + at * (east - west), np.full(33, west), np.full(33, east)]
    y = np.r_[np.full(33, south), np.full(33, north), south + at * (north - south), south + at * (north - south)]
    lon, lat = unwrapped_lonlat(frame, x, y)
    east_m, north_m = mercator(lon, lat)
    scale = math.cos(math.radians(float(np.median(lat))))
    zoom = min(LARGEST_ZOOM, max(0, math.ceil(math.log2(_TURN_M * scale / TILE / frame.pixel_m))))
    while True:
        tile_m = _TURN_M / 2**zoom
        span = (float(east_m.min() / tile_m + 2**zoom / 2), float(2**zoom / 2 - north_m.max() / tile_m),
                float(east_m.max() / tile_m + 2**zoom / 2), float(2**zoom / 2 - north_m.min() / tile_m))
        if zoom == 0 or _count(span) <= MOST_TILES:
            return zoom, span
        zoom -= 1


def _count(span: tuple[float, float, float, float]) -> int:
    return (math.floor(span[2]) - math.floor(span[0]) + 1) * (math.floor(span[3]) - math.floor(span[1]) + 1)


def _levels(
    picture: DepthPicture, span: tuple[float, float, float, float], coarsest: int, finest: int
) -> Iterator[tuple[int, int, int, tuple[Floats, Floats]]]:
    """Zoom, column, row from the north and values of each tile; a coarser tile is the mean of the four below it."""
    def made(zoom: int, column: int, row: int) -> Iterator[tuple[int, int, int, tuple[Floats, Floats]]]:
        if zoom == finest:
            yield zoom, column, row, _sampled(picture, zoom, column, row)
            return
        whole = np.full((2, 2 * TILE, 2 * TILE), np.nan)
        for down in (0, 1):
            for right in (0, 1):
                below = (2 * column + right, 2 * row + down)
                if not _touches(span, finest, zoom + 1, *below):
                    continue
                values = np.full((2, TILE, TILE), np.nan)
                for tile in made(zoom + 1, *below):
                    yield tile
                    values[:] = tile[3]
                whole[:, down * TILE:(down + 1) * TILE, right * TILE:(right + 1) * TILE] = values
        yield zoom, column, row, (coarser(whole[0], 2), coarser(whole[1], 2))

    scale = 2.0 ** (finest - coarsest)
    for row in range(math.floor(span[1] / scale), math.floor(span[3] / scale) + 1):
        for column in range(math.floor(span[0] / scale), math.floor(span[2] / scale) + 1):
            yield from made(coarsest, column, row)


def _touches(span: tuple[float, float, float, float], finest: int, zoom: int, column: int, row: int) -> bool:
    scale = 2.0 ** (finest - zoom)
    return (span[0] / scale < column + 1 and span[2] / scale >= column
            and span[1] / scale < row + 1 and span[3] / scale >= row)


def _sampled(picture: DepthPicture, zoom: int, column: int, row: int) -> tuple[Floats, Floats]:
    """Depth and sigma of the map's pixel below the middle of each of the tile's pixels."""
    at = (np.arange(TILE) + 0.5) / TILE
    lon, lat = _lonlat((column + at) / 2**zoom, (row + at) / 2**zoom)
    x_m, y_m = project(picture.depth.frame.crs, *np.meshgrid(lon, lat))
    return picture.depth.at(x_m, y_m), picture.sigma.at(x_m, y_m)


def _lonlat(across: Floats, down: Floats) -> tuple[Floats, Floats]:
    """Degrees of places on the square of the whole world, as shares of its side from west and from north."""
    return across * 360.0 - 180.0, np.degrees(np.arctan(np.sinh(np.pi * (1.0 - 2.0 * down))))


def _on_mercator(frame: GridFrame, shape: BaseGeometry) -> BaseGeometry:
    return shapely.transform(shape, lambda xy: np.column_stack(mercator(*unwrapped_lonlat(frame, xy[:, 0], xy[:, 1]))))


def _mask(shapes: list[BaseGeometry], zoom: int, column: int, row: int) -> NDArray[np.bool_]:
    tile_m = _TURN_M / 2**zoom
    west, north = column * tile_m - _TURN_M / 2, _TURN_M / 2 - row * tile_m
    here = [shape for shape in shapes if shape.intersects(shapely.box(west, north - tile_m, west + tile_m, north))]
    if not here:
        return np.zeros((TILE, TILE), bool)
    place = Affine(tile_m / TILE, 0.0, west, 0.0, -tile_m / TILE, north)
    return np.asarray(rasterio.features.rasterize(here, (TILE, TILE), transform=place, all_touched=True), bool)


def _metadata(
    picture: DepthPicture, name: str, unit: str, zooms: tuple[int, int], span: tuple[float, float, float, float]
) -> dict[str, str]:
    sides = np.array(span) / 2.0 ** zooms[1]
    (west, east), (north, south) = _lonlat(sides[[0, 2]], sides[[1, 3]])
    lines = "" if picture.step_m is None else f"; a line every {depth_label(picture.step_m, unit)}"
    told = (f"Depth, pale at 0 to dark at {depth_label(picture.deepest_m, unit)}{lines}; the more it is a guess, the "
            f"more shines through; hatched: dangers and closed areas, whatever the day. {CAUTION}")
    bounds = ",".join(f"{value:.7f}" for value in (west, south, east, north))
    return {
        "name": name, "format": "png", "bounds": bounds,
        "center": f"{(west + east) / 2:.7f},{(north + south) / 2:.7f},{max(zooms[0], zooms[1] - 2)}",
        "minzoom": str(zooms[0]), "maxzoom": str(zooms[1]), "type": "overlay", "version": "1", "description": told,
    }


def _tables(base: sqlite3.Connection, metadata: dict[str, str]) -> None:
    base.execute("PRAGMA journal_mode = OFF")
    base.execute("PRAGMA page_size = 4096")
    base.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    base.execute("CREATE TABLE metadata (name text, value text)")
    base.execute("CREATE TABLE tiles (zoom_level integer, tile_column integer, tile_row integer, tile_data blob)")
    base.execute("CREATE UNIQUE INDEX tile_index ON tiles (zoom_level, tile_column, tile_row)")
    base.executemany("INSERT INTO metadata VALUES (?, ?)", sorted(metadata.items()))
