"""An invented lake sounded in three seasons: weed in summer, a bar that moved between years, a cove that silted up."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from sailed import CORNER_M, UTM_33
from scipy.ndimage import gaussian_filter, map_coordinates

from lakemap.geo.crs import unproject
from lakemap.model.log_facts import LogFacts
from lakemap.model.soundings import Soundings

WIDE, HIGH, STEP = 420.0, 300.0, 2.0
DAYS = {"spring": "2025-04-20", "summer": "2025-08-05", "next spring": "2026-04-18"}
WEED_CENTRE, WEED_AXES = (110.0, 80.0), (60.0, 35.0)
COVE = (340.0, 70.0)
BARS = {"spring": (190.0, 210.0), "summer": (190.0, 210.0), "next spring": (250.0, 215.0)}
SILT_M, BAR_M = 0.6, 1.1


def within(x, y, centre, axes):
    "Squared distance from the middle of an oval, 1 at its edge."
    return ((x - centre[0]) / axes[0]) ** 2 + ((y - centre[1]) / axes[1]) ** 2


@dataclass(frozen=True)
class ThreeSeasons:
    """The lake's roughness; the rest is a formula. Depths in metres, places from the lake's corner."""

    rough: np.ndarray

    def floor(self, x, y, season):
        "True floor on a date."
        shape = 3.0 + 5.0 * np.sin(np.pi * np.clip(x / WIDE, 0, 1)) * np.sin(np.pi * np.clip(y / HIGH, 0, 1)) ** 0.8
        grain = map_coordinates(self.rough, [np.ravel(y) / STEP, np.ravel(x) / STEP], order=1, mode="nearest")
        bar = BAR_M * np.exp(-within(x, y, BARS[season], (22.0, 12.0)) * 1.2)
        silt = SILT_M * np.exp(-(within(x, y, COVE, (45.0, 40.0)) ** 2)) if season == "next spring" else 0.0
        return shape + np.reshape(grain, np.shape(x)) - bar - silt

    def canopy(self, x, y, season):
        "Height of the weed's top above the floor, 0 where none stands; pings fall between plants too."
        if season != "summer":
            return np.zeros(np.shape(x))
        return np.where(within(x, y, WEED_CENTRE, WEED_AXES) < 1, 1.0, 0.0)


def three_seasons(seed: int) -> ThreeSeasons:
    rng = np.random.default_rng(seed)
    nodes = (int(HIGH / STEP) + 1, int(WIDE / STEP) + 1)
    rough = sum(gaussian_filter(rng.standard_normal(nodes), size / STEP) * size / STEP for size in (4.0, 12.0))
    return ThreeSeasons(0.1 * rough / rough.std())


def sounded_in_three_seasons(lake: ThreeSeasons, seed: int, spacing_m: float = 11.0, level_m: float = 0.0):
    "Soundings of all three, as logged: 1.2 m slow position error, .04 m + 1 % depth noise, .08 m of bias a pass."
    rng = np.random.default_rng(seed + 500)
    return Soundings.concatenate(
        [_one_date(lake, season, rng, spacing_m, level_m * number) for number, season in enumerate(DAYS)]
    )


def _one_date(lake, season, rng, spacing_m, level_m):
    x, y, sailed = _way(rng, spacing_m)
    n = len(x)
    canopy = lake.canopy(x, y, season)
    on_weed = (canopy > 0) & (rng.random(n) < 0.8)
    top = canopy * np.clip(rng.normal(0.8, 0.25, n), 0.2, 1.3) * on_weed
    depth = lake.floor(x, y, season) - top + level_m
    bias = rng.normal(0.0, 0.08, sailed.max() + 1)[sailed]
    logged = depth + bias + (0.04 + 0.01 * depth) * rng.standard_normal(n)
    drift = np.cumsum(rng.standard_normal((n, 2)), axis=0) * 0.02
    drift = 1.2 * (drift - drift.mean(axis=0)) / max(drift.std(), 1e-9)
    lon, lat = unproject(UTM_33, x + drift[:, 0] + CORNER_M[0], y + drift[:, 1] + CORNER_M[1])
    time_s = np.datetime64(DAYS[season]).astype("datetime64[s]").astype(float) + 8 * 3600 + np.arange(n) * 0.6 \
        + sailed * 90.0
    return Soundings.build(
        n, [LogFacts(f"{season}.csv", rows_in=n)], time_s=time_s, time_utc=(time_s * 1000).astype("datetime64[ms]"),
        row=np.arange(1, n + 1), lon_deg=lon, lat_deg=lat, logged_depth_m=logged,
    )


def _way(rng, spacing_m):
    "Lines there and back along x, shifted anew on each date, and four ties across."
    xs, ys = [], []
    for number, y in enumerate(np.arange(rng.uniform(8, 8 + spacing_m), HIGH - 8, spacing_m)):
        along = np.arange(6.0, WIDE - 6.0, 1.2)
        xs.append(along if number % 2 == 0 else along[::-1])
        ys.append(y + 1.5 * np.sin(along / 60 + rng.uniform(0, 6)))
    for x in np.linspace(60, WIDE - 60, 4):
        across = np.arange(8.0, HIGH - 8.0, 1.2)
        xs.append(np.full(len(across), x))
        ys.append(across)
    sailed = np.repeat(np.arange(len(xs)), [len(one) for one in xs])
    return np.concatenate(xs), np.concatenate(ys), sailed
