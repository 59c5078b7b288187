"""A tiny lake as files: a sloping floor with a hump, stumps that passes of two days show, marks, edits, catches."""

from __future__ import annotations

import numpy as np
from pyproj import CRS

from lakemap import Lake, map_lake
from lakemap.geo.crs import unproject

UTM_33 = CRS.from_epsg(32633)
CORNER_M = np.array([500_000.0, 5_000_000.0])
STUMPS = ((60.0, 24.0, 1.1), (120.0, 48.0, 1.2), (180.0, 72.0, 1.3), (240.0, 36.0, 1.0), (90.0, 96.0, 1.2))
"""East and north of the corner, height [m]; each on a line of the first day."""
QUICK = {"grid": {"method": "linear", "pixel_m": 4.0}}


def floor_m(x, y):
    "Depth: 5 m, falling east, with a hump 1.6 m high."
    hump = 1.6 * np.exp(-((x - 210.0) ** 2 + (y - 110.0) ** 2) / (2 * 14.0**2))
    return 5.0 + 0.008 * x - hump


def degrees(x, y):
    "Longitude and latitude of places from the corner."
    return unproject(UTM_33, np.asarray(x, float) + CORNER_M[0], np.asarray(y, float) + CORNER_M[1])


def day(number, lines):
    "A log of straight lines ((x0, y0), (x1, y1)) at 1.6 m/s, twice a second, with 3 cm of noise and the stumps."
    rng, rows, at_s = np.random.default_rng(number), [], 0.0
    start = np.datetime64("2025-06-01T10:00:00") + np.timedelta64(number, "D")
    for k, ends in enumerate(lines):
        (x0, y0), (x1, y1) = ends if k % 2 == 0 else ends[::-1]
        along = np.arange(0.0, np.hypot(x1 - x0, y1 - y0), 0.8)[:, None] / np.hypot(x1 - x0, y1 - y0)
        x, y = (np.array([x0, y0]) + along * np.array([x1 - x0, y1 - y0])).T
        depth = floor_m(x, y) + rng.normal(0, 0.03, len(x))
        for sx, sy, height in STUMPS:
            depth = depth - np.where(np.hypot(x - sx, y - sy) <= 1.6, height, 0.0)
        lon, lat = degrees(x, y)
        for i in range(len(x)):
            stamp = start + np.timedelta64(round(1000 * (at_s + 0.5 * i)), "ms")
            rows.append(f"{stamp}Z,{lat[i]:.7f},{lon[i]:.7f},{depth[i]:.2f}")
        at_s += 0.5 * len(x) + 60.0
    return "time,lat,lon,depth_m\n" + "\n".join(rows) + "\n"


def lake_files():
    "Two days of lines, east-west and north-south over every stump, by file name."
    return {
        "day1.csv": day(0, [((0, y), (300, y)) for y in np.arange(0.0, 133.0, 12.0)]),
        "day2.csv": day(1, [((x, 0), (x, 132)) for x in (20, 60, 90, 120, 150, 180, 210, 240, 280)]),
    }


def marks_csv(*rows):
    "A table of marks from (x, y, kind, name, note)."
    lines = ["lat,lon,kind,name,note"]
    for x, y, kind, name, note in rows:
        lon, lat = degrees(x, y)
        lines.append(f"{lat:.7f},{lon:.7f},{kind},{name},{note}")
    return "\n".join(lines) + "\n"


def write(folder, files):
    "Files by name, as text or bytes, into a folder of their own."
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in files.items():
        (folder / name).write_bytes(content if isinstance(content, bytes) else content.encode())
    return folder


def mapped(folder, files, **settings):
    "The map of these files."
    return map_lake(Lake.from_files([write(folder, files)], QUICK | settings))
