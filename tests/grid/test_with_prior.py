"""An old map with another zero and shifted lines: it helps where nobody drove and does no harm where somebody did."""

from __future__ import annotations

import contourpy
import numpy as np
import pytest
from rough_lake import ORIGIN_X, ORIGIN_Y, STEP_M, rough_lake
from scipy.ndimage import gaussian_filter
from scipy.spatial import cKDTree

from lakemap.geo.crs import unproject
from lakemap.grid import GridSettings, make_surface
from lakemap.grid.with_prior import hold_up
from lakemap.model.observations import Observations
from lakemap.model.prior import DepthPrior, DepthPriors
from lakemap.model.soundings import PassBias

LAKE = rough_lake(4)
FRAME = LAKE.frame(20.0)
SETTINGS = GridSettings(method="field")
BIAS = PassBias(np.arange(5, dtype=np.int32), np.zeros(5), np.full(5, 0.15))
ZERO_M, SHIFT_M = 0.4, 15.0


def five_passes():
    rng = np.random.default_rng(3)
    middle = np.array([ORIGIN_X + LAKE.half_x, ORIGIN_Y + LAKE.half_y])
    parts = []
    for number in range(5):
        course = rng.uniform(0, np.pi)
        place = middle + rng.uniform(-0.5, 0.5, 2) * [LAKE.half_x, LAKE.half_y]
        xy = place + np.arange(-900, 900, 4.0)[:, None] * np.array([np.cos(course), np.sin(course)])
        xy = xy[LAKE.inside(xy[:, 0], xy[:, 1])]
        depth = LAKE.depth_at(xy[:, 0], xy[:, 1])
        noisy = depth + (0.05 + 0.01 * depth) * rng.standard_normal(len(xy)) + 0.1 * rng.standard_normal()
        parts.append((xy + rng.normal(0, 0.7, xy.shape), noisy, np.full(len(xy), number)))
    xy, value, number = (np.concatenate(column) for column in zip(*parts, strict=True))
    return Observations.of("depth_m", xy, value, 0.05 + 0.01 * value, number)


def old_map():
    """Contours each 2 m of a smoothed floor, 15 m off to the north-east, with a zero 0.4 m higher; the file has heights
    and does not say so."""
    smooth = gaussian_filter(LAKE.depth_m, 20 / STEP_M)
    x, y = ORIGIN_X + np.arange(smooth.shape[1]) * STEP_M, ORIGIN_Y + np.arange(smooth.shape[0]) * STEP_M
    generator = contourpy.contour_generator(x, y, smooth)
    places, depths = [], []
    for level in np.arange(2.0, smooth.max(), 2.0):
        for line in generator.lines(level):
            places.append(line[::8] + SHIFT_M / np.sqrt(2))
            depths.append(np.full(len(line[::8]), level + ZERO_M))
    lon, lat = unproject(FRAME.crs, *np.concatenate(places).T)
    return DepthPriors((DepthPrior(lon, lat, -np.concatenate(depths), "old.geojson", sense_known=False),))


OBS = five_passes()
TRUTH = LAKE.pixel_means(FRAME)
AWAY = cKDTree(OBS.xy).query(FRAME.water_xy())[0]


@pytest.fixture(scope="module")
def plain():
    return make_surface(OBS, FRAME, SETTINGS, BIAS)


@pytest.fixture(scope="module")
def helped(plain):
    return hold_up(plain, OBS, FRAME, SETTINGS, old_map())


def rmse(surface, where):
    error = surface.estimate.values[FRAME.water] - TRUTH
    return float(np.sqrt(np.nanmean(error[where] ** 2)))


def test_an_old_map_takes_a_quarter_of_the_error_where_nobody_drove(plain, helped):
    "Farther than 30 m from the passes at most 0.75 of the error on this lake; on them not worse; sigma covers it."
    assert rmse(helped, AWAY > 30) <= 0.75 * rmse(plain, AWAY > 30)
    assert rmse(helped, AWAY < 8) <= 1.02 * rmse(plain, AWAY < 8)
    error, sigma = helped.estimate.values[FRAME.water] - TRUTH, helped.sigma.values[FRAME.water]
    assert np.mean((np.abs(error) < 1.96 * sigma)[AWAY > 30]) >= 0.9


def test_its_zero_is_learnt_and_told(helped):
    "0.4 m above the soundings' zero, within what 15 m of shift on a slope leaves."
    told = next(text for text in helped.messages if "zero lies" in text)
    assert "above that of the soundings" in told
    assert float(told.split("{")[1].split(" m}")[0]) == pytest.approx(ZERO_M, abs=0.2)


def test_heights_are_turned_where_the_source_does_not_say_what_they_are(helped):
    "Figures that fall where soundings deepen are heights, and the report says that they were taken so."
    assert any("taken as heights" in text for text in helped.messages)


def test_a_map_of_elsewhere_is_left_out(plain):
    "No sounding near it: a line, and the surface as it was."
    part = old_map().parts[0]
    far = DepthPriors((DepthPrior(part.lon_deg + 1.0, part.lat_deg, part.depth_m, "elsewhere.tif"),))
    same = hold_up(plain, OBS, FRAME, SETTINGS, far)
    assert same.estimate is plain.estimate
    assert "too few to learn its zero" in same.messages[-1]
