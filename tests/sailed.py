"""Passes sailed over floors of known shape, as they would have been logged."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from pyproj import CRS

from lakemap.geo.crs import unproject
from lakemap.model.log_facts import LogFacts
from lakemap.model.soundings import Soundings

UTM_33 = CRS.from_epsg(32633)
CORNER_M = (500_000.0, 5_000_000.0)
BETWEEN_PASSES_S = 120.0


def flat(x, y):
    "A floor 6 m deep everywhere."
    return np.full(np.shape(x), 6.0)


def tilted(x, y):
    "A plane that falls 1 m in 10 m eastward, 4 m deep at x = 0."
    return 4.0 + 0.1 * np.asarray(x) + 0.0 * np.asarray(y)


def hump(x, y):
    "A round hump 3 m high and some 60 m wide in 8 m of water, its top at (150, 30)."
    return 8.0 - 3.0 * np.exp(-((np.asarray(x) - 150.0) ** 2 + (np.asarray(y) - 30.0) ** 2) / (2 * 20.0**2))


def ledge(x, y):
    "Two flats at 4 m and 9 m with a steep wall between x = 150 and 155."
    return 4.0 + np.clip(np.asarray(x) - 150.0, 0.0, 5.0) + 0.0 * np.asarray(y)


def sail(length_m=300.0, passes=4, apart_m=20.0, step_m=0.9):
    "x, y (n,) of straight passes there and back, and which pass each row belongs to (n,)."
    along = np.arange(0.0, length_m, step_m)
    legs = [along if number % 2 == 0 else along[::-1] for number in range(passes)]
    sailed = np.repeat(np.arange(passes), len(along))
    return np.concatenate(legs), sailed * apart_m, sailed


def logged(x, y, depth, sailed=None, step_s=0.5, log=0, **facts):
    "Soundings of one log from places on a plane [m] and the depths it logged; rows have no flags and no pass yet."
    x, y, depth = (np.asarray(column, dtype=float) for column in (x, y, depth))
    n = len(x)
    sailed = np.zeros(n) if sailed is None else np.asarray(sailed)
    x_m, y_m = x + CORNER_M[0], y + CORNER_M[1]
    lon, lat = unproject(UTM_33, x_m, y_m)
    made = Soundings.build(
        n, [LogFacts(f"log{log}", rows_in=n, **facts)], time_s=np.arange(n) * step_s + sailed * BETWEEN_PASSES_S,
        row=np.arange(1, n + 1), lon_deg=lon, lat_deg=lat, x_m=x_m, y_m=y_m, logged_depth_m=depth,
    )
    return replace(made, crs=UTM_33)


def sounded(floor, noise_m=0.04, seed=0, facts=None, **way):
    "Soundings of passes over a floor, with normal errors of noise_m."
    x, y, sailed = sail(**way)
    noise = np.random.default_rng(seed).normal(0.0, noise_m, len(x))
    return logged(x, y, floor(x, y) + noise, sailed, **(facts or {}))
