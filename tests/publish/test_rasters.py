"""Rasters open elsewhere, say what they hold, and are cloud-optimized."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
import rasterio
from affine import Affine
from worlds import SMALL_CRS, small_frame, small_lake_map

from lakemap.model.frame import Grid, GridFrame
from lakemap.publish.rasters import geotiff, rasters


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    "Every raster of the small lake, by name."
    folder = tmp_path_factory.mktemp("rasters")
    for name, grid, description, tags in rasters(small_lake_map()):
        (folder / name).write_bytes(geotiff(grid, description, tags))
    return folder


def large_grid():
    "700 x 1300 pixels: more than one block, with overviews."
    frame = GridFrame((700, 1300), Affine(2, 0, 5e5, 0, -2, 5.3e6), SMALL_CRS, np.ones((700, 1300), bool), False)
    rows, columns = np.indices(frame.shape)
    values = (rows + 0.1 * columns).astype(np.float32)
    values[:, :100] = np.nan
    return Grid(frame, values, "depth_m", "m")


@pytest.mark.parametrize("name", ["depth.tif", "depth_sigma.tif", "hardness.tif", "hardness_sigma.tif", "slope.tif"])
def test_each_raster_is_one_float_band_north_up(files, name):
    "One float32 band with NaN for nothing, 5 m pixels, the frame's CRS, values as they were."
    grid = {file: grid for file, grid, _, _ in rasters(small_lake_map())}[name]
    with rasterio.open(files / name) as band:
        assert (band.count, band.dtypes, band.shape) == (1, ("float32",), (50, 60))
        assert np.isnan(band.nodata) and band.crs.to_epsg() == 32632
        assert band.transform == small_frame().transform and band.transform.e < 0
        assert band.compression.name == "deflate" and band.block_shapes == [(512, 512)]
        assert band.descriptions == (name.removesuffix(".tif") + {"depth.tif": "_m", "depth_sigma.tif": "_m",
                                                                 "slope.tif": "_deg"}.get(name, ""),)
        np.testing.assert_array_equal(band.read(1), grid.values)


def test_depth_says_which_way_is_down_and_what_it_means(files):
    "Tags: unit, direction, datum, common error, what estimate and sigma are."
    with rasterio.open(files / "depth.tif") as band:
        tags = band.tags()
    assert tags["UNITS"] == "m" and tags["POSITIVE"] == "down" and tags["DATUM"] == "water surface on the day"
    assert tags["ESTIMATE"] == "mean of the pixel" and tags["SIGMA"] == "standard error of that mean"
    assert tags["COMMON_ERROR"].startswith("standard error 0.3 m and 1.5 % of depth")
    with rasterio.open(files / "hardness.tif") as band:
        assert "POSITIVE" not in band.tags() and band.tags()["UNITS"] == "1"


def test_statistics_travel_with_each_band(files, tmp_path):
    "Least, greatest, mean and share of pixels with a value, so that a reader can stretch colours at once."
    with rasterio.open(files / "depth.tif") as band:
        told, values = band.tags(1), band.read(1)
    assert float(told["STATISTICS_MINIMUM"]) == pytest.approx(np.nanmin(values), rel=1e-5)
    assert float(told["STATISTICS_MAXIMUM"]) == pytest.approx(np.nanmax(values), rel=1e-5)
    assert float(told["STATISTICS_MEAN"]) == pytest.approx(np.nanmean(values), rel=1e-4)
    assert float(told["STATISTICS_VALID_PERCENT"]) == pytest.approx(100 * np.isfinite(values).mean(), abs=0.01)
    nothing = dataclasses.replace(large_grid(), values=np.full((700, 1300), np.nan, np.float32))
    (tmp_path / "none.tif").write_bytes(geotiff(nothing, "depth_m", {"UNITS": "m"}))
    with rasterio.open(tmp_path / "none.tif") as band:
        assert np.isnan(band.read(1)).all() and "STATISTICS_MEAN" not in band.tags(1)


def test_large_rasters_are_valid_cloud_optimized_geotiffs(tmp_path):
    "The validator of rio-cogeo has neither errors nor warnings, and overviews are averages."
    cogeo = pytest.importorskip("rio_cogeo.cogeo", reason="rio-cogeo is not installed; it validates the layout")
    path = tmp_path / "depth.tif"
    path.write_bytes(geotiff(large_grid(), "depth_m", {"UNITS": "m"}))
    assert cogeo.cog_validate(path, strict=True) == (True, [], [])
    values = large_grid().values
    with rasterio.open(path) as band:
        assert band.overviews(1) and band.block_shapes == [(512, 512)]
    with rasterio.open(path, overview_level=0) as band:
        half = band.read(1)
    assert np.isnan(half[:, :50]).all()
    np.testing.assert_allclose(half[0, 50], values[:2, 100:102].mean(), rtol=1e-6)


def test_a_small_raster_is_valid_too(files):
    "A raster of less than a block needs no overview."
    cogeo = pytest.importorskip("rio_cogeo.cogeo", reason="rio-cogeo is not installed; it validates the layout")
    assert cogeo.cog_validate(files / "depth.tif", strict=True)[0]


def test_rasters_have_the_same_bytes_twice():
    "Nothing of the clock or of memory gets into a raster."
    assert geotiff(large_grid(), "depth_m", {"UNITS": "m"}) == geotiff(large_grid(), "depth_m", {"UNITS": "m"})


def test_no_hardness_no_raster():
    "A lake without a hardness reading has three rasters."
    bare = dataclasses.replace(small_lake_map(), hardness=None)
    assert [name for name, *_ in rasters(bare)] == ["depth.tif", "depth_sigma.tif", "slope.tif"]
