"""Invented floors on a frame, and hits and passes over them: tiny worlds for terrain/ and spots/."""

from __future__ import annotations

import numpy as np
from affine import Affine
from pyproj import CRS
from scipy.ndimage import gaussian_filter

from lakemap.model.frame import Grid, GridFrame
from lakemap.model.hits import FROM_MARK, FROM_RISE, Hits
from lakemap.model.log_facts import LogFacts
from lakemap.model.soundings import Soundings
from lakemap.model.surface import Surface

UTM15 = CRS.from_epsg(32615)
WEST, NORTH = 500_000.0, 5_000_000.0


def frame(shape, pixel_m=2.0, land=None):
    "A frame whose north-west corner is (WEST, NORTH); `land` (rows, columns) makes a shoreline known."
    water = np.ones(shape, bool) if land is None else ~land
    return GridFrame(shape, Affine(pixel_m, 0, WEST, 0, -pixel_m, NORTH), UTM15, water, land is not None)


def surface(values, pixel_m=2.0, sigma=0.1, land=None, name="depth_m"):
    "A surface with one sigma everywhere it is seen."
    on = frame(values.shape, pixel_m, land)
    error = np.where(np.isfinite(values), sigma, np.nan).astype(np.float32)
    estimate = Grid(on, values.astype(np.float32), name, "m")
    return Surface(estimate, Grid(on, error, f"{name}_sigma", "m"), "made", {}, 1.0)


def mesh(size=250, pixel_m=2.0):
    "East and south of the north-west corner [m], pixel centres."
    south, east = (np.mgrid[:size, :size] + 0.5) * pixel_m
    return east, south


def bump(east, south, at, radius_m, height_m):
    "A round Gaussian bump."
    return height_m * np.exp(-((east - at[0]) ** 2 + (south - at[1]) ** 2) / (2 * radius_m**2))


def noise(shape, sigma_m, radius_px, seed):
    "Normal noise of one standard deviation, alike over `radius_px` pixels (0: each pixel by itself)."
    drawn = np.random.default_rng(seed).standard_normal(shape)
    drawn = gaussian_filter(drawn, radius_px) if radius_px else drawn
    return sigma_m * drawn / drawn.std()


def passes(lines, step_m=2.0, beam_deg=20.0, position_sigma_m=1.0, depth_m=5.0):
    "Soundings along straight lines ((x0, y0), (x1, y1)) relative to the corner, one pass each."
    parts = []
    for number, (start, end) in enumerate(lines):
        start, end = np.array(start, float), np.array(end, float)
        count = int(np.hypot(*(end - start)) / step_m) + 1
        xy = start + (end - start) * np.linspace(0, 1, count)[:, None]
        parts.append((np.full(count, number), xy))
    pass_id = np.concatenate([number for number, _ in parts])
    xy = np.concatenate([place for _, place in parts]) + (WEST, NORTH)
    n = len(pass_id)
    return Soundings.build(
        n, [LogFacts("a.csv", beam_deg=beam_deg)], pass_id=pass_id, x_m=xy[:, 0], y_m=xy[:, 1],
        position_sigma_m=np.full(n, position_sigma_m), depth_m=np.full(n, depth_m), time_s=np.arange(n) * 1.0,
    )


def hits(rows):
    "Hits from dicts; places relative to the corner, a minute apart unless said otherwise."
    blank = {"kind": "cover", "sigma": 1.0, "depth": 5.0, "height": 0.8, "confidence": 0.8, "pings": 3, "pass": -1}
    rows = [blank | {"minute": number} | row for number, row in enumerate(rows)]
    stamp = np.array([
        np.datetime64("NaT", "ms") if row["minute"] is None
        else np.datetime64("2023-06-01T08:00:00.000") + np.timedelta64(row["minute"], "m") for row in rows
    ], "datetime64[ms]")
    column = {name: np.array([row[name] for row in rows], float) for name in ("x", "y", "sigma", "depth", "height")}
    return Hits(
        kind=np.array([row["kind"] for row in rows], "U16"),
        origin=np.array([FROM_RISE if row["pass"] >= 0 else FROM_MARK for row in rows], np.int8),
        x_m=column["x"] + WEST, y_m=column["y"] + NORTH, position_sigma_m=column["sigma"], depth_m=column["depth"],
        height_m=column["height"], confidence=np.array([row["confidence"] for row in rows], float),
        pings=np.array([row["pings"] for row in rows], np.int32),
        pass_id=np.array([row["pass"] for row in rows], np.int32),
        time_s=np.where(np.isnat(stamp), np.nan, stamp.astype(np.int64) / 1000.0), time_utc=stamp,
        note=np.full(len(rows), "", "U1"),
    )
