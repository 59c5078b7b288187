"""The depth picture as MBTiles: by the specification, opened by GDAL, in its place."""

from __future__ import annotations

import dataclasses
import sqlite3

import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from rasterio.warp import Resampling, reproject
from worlds import SMALL_CENTRE, SMALL_CRS, small_lake_map

from lakemap.cli.main import run
from lakemap.geo.crs import project, unproject
from lakemap.model.frame import Grid, GridFrame
from lakemap.model.keep_out import ClosedAreas, Hazards
from lakemap.publish import publish
from lakemap.publish.html_map.sureness import how_sure
from lakemap.publish.mbtiles import APPLICATION_ID, MOST_TILES, DepthPicture, _finest, write_mbtiles
from lakemap.publish.tile_picture import HATCH, OPACITY, as_png, palette


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    "The small lake, published, with a rock in its middle and a closed corner."
    x, y = SMALL_CENTRE
    lon, lat = unproject(SMALL_CRS, [x, x + 60.0, x + 90.0], [y, y + 10.0, y + 40.0])
    made = tmp_path_factory.mktemp("map")
    publish(dataclasses.replace(
        small_lake_map(), hazards=Hazards((shapely.Point(lon[0], lat[0]),), (15.0,), ("<b>rock",)),
        closed=ClosedAreas((shapely.box(lon[1], lat[1], lon[2], lat[2]),), ("",), ("",), ("reeds",))), made)
    return made


@pytest.fixture(scope="module")
def tiles(folder):
    "Its tiles."
    assert run(["export", str(folder), "--mbtiles", str(folder / "a.mbtiles"), "--quiet"]) == 0
    return folder / "a.mbtiles"


def test_the_file_is_what_the_specification_asks(tiles):
    "Tables, index, application id and metadata of MBTiles 1.3; rows count from the south; not for navigation."
    base = sqlite3.connect(tiles)
    told = dict(base.execute("SELECT name, value FROM metadata"))
    assert {"name", "format", "bounds", "center", "minzoom", "maxzoom", "type", "description"} <= set(told)
    assert told["format"] == "png" and "Not for navigation" in told["description"]
    assert base.execute("PRAGMA application_id").fetchone()[0] == APPLICATION_ID
    assert base.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
    west, south, east, north = map(float, told["bounds"].split(","))
    zooms = [row[0] for row in base.execute("SELECT DISTINCT zoom_level FROM tiles ORDER BY 1")]
    assert zooms == list(range(int(told["minzoom"]), int(told["maxzoom"]) + 1))
    for zoom, column, row, png in base.execute("SELECT * FROM tiles"):
        assert png.startswith(b"\x89PNG")
        assert column <= (east + 180) / 360 * 2**zoom and column + 1 >= (west + 180) / 360 * 2**zoom
        top = np.degrees(np.arctan(np.sinh(np.pi * (2 * (row + 1) / 2**zoom - 1))))
        bottom = np.degrees(np.arctan(np.sinh(np.pi * (2 * row / 2**zoom - 1))))
        assert bottom <= north and top >= south
    base.close()


def test_gdal_finds_each_depth_in_its_place(tiles, folder):
    "Drawn where GDAL's own warp of depth.tif has values, within one pixel; the deeper the darker; doubt is paler."
    with rasterio.open(tiles) as picture, rasterio.open(folder / "depth.tif") as depth:
        assert (picture.driver, picture.count) == ("MBTiles", 4) and picture.crs.to_epsg() == 3857
        warped = np.full(picture.shape, np.nan, np.float32)
        reproject(rasterio.band(depth, 1), warped, dst_transform=picture.transform, dst_crs=picture.crs,
                  dst_nodata=np.nan, resampling=Resampling.nearest)
        red, green, blue, opacity = picture.read().astype(float)
    there = np.isfinite(warped)
    assert ((opacity > 0) != there).mean() < 0.01
    colour = there & (opacity != palette()[HATCH, 3]) & (green > 45)
    assert np.corrcoef(warped[colour], green[colour])[0, 1] < -0.95
    assert set(np.unique(opacity)) <= {0, *OPACITY, palette()[HATCH, 3]}
    assert (np.abs(red - 12) + np.abs(green - 28) + np.abs(blue - 38) == 0).sum() > 50


def test_same_map_same_bytes(tiles, folder):
    "No clock, no chance."
    first = tiles.read_bytes()
    assert run(["export", str(folder), "--mbtiles", str(tiles), "--quiet"]) == 0
    assert tiles.read_bytes() == first


def grid(values, pixel_m=5.0, crs=SMALL_CRS, corner=(5e5, 5.3e6)):
    "Values on a frame of their own, as depth and as sigma."
    values = np.asarray(values, np.float32)
    transform = Affine(pixel_m, 0, corner[0], 0, -pixel_m, corner[1])
    frame = GridFrame(values.shape, transform, crs, np.isfinite(values), False)
    return Grid(frame, values, "depth_m", "m"), Grid(frame, 0 * values + 0.1, "depth_sigma_m", "m")


@pytest.mark.parametrize("values", [[[3.0]], [[np.nan]], [[0.0]]])
def test_one_pixel_or_none_is_a_whole_file(values, tmp_path):
    "One cell with a depth, with none, with depth 0."
    path = tmp_path / "one.mbtiles"
    count = write_mbtiles(DepthPicture(*grid(values)), "איגרת <b>", "ft", path)
    assert (count == 0) == bool(np.isnan(values[0][0]))
    told = dict(sqlite3.connect(path).execute("SELECT name, value FROM metadata"))
    assert told["name"] == "איגרת <b>"


def test_a_large_lake_takes_a_coarser_zoom():
    "No more tiles on the finest level than the bound, whatever the frame."
    frame = GridFrame((20_000, 20_000), Affine(1, 0, 5e5, 0, -1, 5.3e6), SMALL_CRS, np.ones((1, 1), bool), False)
    zoom, (west, north, east, south) = _finest(frame)
    assert (east - west) * (south - north) <= MOST_TILES and zoom < 17


def test_across_the_antimeridian(tmp_path):
    "Tiles on either side of longitude 180, numbered within what a zoom has."
    from pyproj import CRS

    crs = CRS.from_epsg(32701)
    x, y = (float(at) for at in project(crs, 180.0, -16.5))
    depth, sigma = grid(np.full((60, 400), 4.0), 5.0, crs, (x - 1000, y))
    path = tmp_path / "wide.mbtiles"
    write_mbtiles(DepthPicture(depth, sigma), "wide", "m", path)
    rows = sqlite3.connect(path).execute("SELECT zoom_level, tile_column FROM tiles").fetchall()
    finest = max(zoom for zoom, _ in rows)
    columns = sorted({column for zoom, column in rows if zoom == finest})
    assert columns[0] == 0 and columns[-1] == 2**finest - 1


def test_a_png_reads_back_with_its_opacity():
    "GDAL sees the same codes and colours."
    codes = np.arange(256, dtype=np.uint8).reshape(16, 16)
    with rasterio.MemoryFile(as_png(codes, palette())) as file, file.open(driver="PNG") as picture:
        assert (picture.read(1) == codes).all()
        assert [picture.colormap(1)[code] for code in range(256)] == [tuple(row) for row in palette().tolist()]


def test_doubt_is_seen():
    "The three words of sureness are three opacities, falling."
    assert how_sure(np.array([5.0] * 3), np.array([0.1, 0.4, 2.0])).tolist() == [0, 1, 2]
    assert list(OPACITY) == sorted(OPACITY, reverse=True)
