"""Where the frame lies on the Web Mercator view."""

import dataclasses

import numpy as np
import pytest
from drawn_lake import frame_at
from pyproj import CRS, Transformer

from lakemap.publish.html_map.placing import place_on_mercator, powers


def place(fitted, x_m, y_m):
    "Column and row by the polynomials, as the page evaluates them."
    u = (x_m - fitted["centre"][0]) / fitted["half"][0]
    v = (y_m - fitted["centre"][1]) / fitted["half"][1]
    terms = [u**i * v**j for i, j in powers(fitted["degree"])]
    return tuple(sum(c * term for c, term in zip(fitted[name], terms, strict=True)) for name in ("column", "row"))


@pytest.mark.parametrize(("lon", "lat", "side_m"), [
    (14.6, 53.2, 900.0), (11.99, 61.0, 20_000.0), (-92.0, 46.7, 60_000.0),
    (25.0, 69.0, 30_000.0), (176.0, -38.8, 40_000.0),
])
def test_the_fit_agrees_with_proj_far_below_a_pixel(lon, lat, side_m):
    "PROJ's own way from the frame's CRS to EPSG:3857 lands where the polynomials say, to 0.01 m."
    frame = frame_at((200, 200), side_m / 200, lon, lat)
    rng = np.random.default_rng(1)
    column, row = rng.uniform(0, 200, (2, 500))
    west, _, _, north = frame.bounds
    to_mercator = Transformer.from_crs(frame.crs, CRS.from_epsg(3857), always_xy=True)
    mercator = to_mercator.transform(west + column * frame.pixel_m, north - row * frame.pixel_m)
    found = place(place_on_mercator(frame), *mercator)
    assert np.max(np.abs(found[0] - column)) * frame.pixel_m < 0.01
    assert np.max(np.abs(found[1] - row)) * frame.pixel_m < 0.01


def test_a_lake_across_the_antimeridian_stays_in_one_piece():
    "Half a lake at 180 east and half at 180 west: the view is as wide as the lake, not as the world."
    frame = frame_at((50, 50), 100.0, 180.0, 60.0)
    fitted = place_on_mercator(frame)
    assert fitted["half"][0] < 10_000


def test_one_pixel_is_placed_too():
    "The smallest frame there is."
    frame = frame_at((1, 1), 5.0)
    fitted = place_on_mercator(frame)
    assert place(fitted, *fitted["centre"]) == pytest.approx((0.5, 0.5), abs=1e-3)


def test_margins_of_the_view_hold_the_whole_frame():
    "u and v stay within -1 and 1 at the frame's corners, where the page stops drawing."
    frame = dataclasses.replace(frame_at((40, 90), 7.0))
    to_mercator = Transformer.from_crs(frame.crs, CRS.from_epsg(3857), always_xy=True)
    fitted = place_on_mercator(frame)
    west, south, east, north = frame.bounds
    for x, y in ((west, south), (west, north), (east, south), (east, north)):
        x_m, y_m = to_mercator.transform(x, y)
        assert abs(x_m - fitted["centre"][0]) < fitted["half"][0]
        assert abs(y_m - fitted["centre"][1]) < fitted["half"][1]
