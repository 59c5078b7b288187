"""A tiny invented lake that is sounded day by day: a hump, a point, a drop-off, a ledge and stumps, as files."""

from __future__ import annotations

import json

import numpy as np
from sailed import CORNER_M, UTM_33

from lakemap.geo.crs import unproject

WIDE, HIGH = 260.0, 180.0
HUMP, POINT, STUMPS = (190.0, 120.0), (60.0, 40.0), ((60.0, 110.0), (130.0, 40.0), (215.0, 60.0))
DAYS = 11
STEP_M, SPEED_MPS = 2.0, 2.0


def floor_m(x, y):
    "Depth [m]: a basin within 130 m by 90 m, a drop-off on its north side, a ledge in the east."
    u, v = x / (WIDE / 2) - 1.0, y / (HIGH / 2) - 1.0
    rim = np.clip(1.0 - u**2 - v**2, 0.0, None)
    depth = 8.0 * rim**0.7
    depth = depth + 1.4 * np.tanh((y - 128.0) / -3.0) * np.exp(-(((x - 100.0) / 45.0) ** 2)) * np.minimum(3 * rim, 1)
    depth = depth - 2.6 * np.exp(-((x - HUMP[0]) ** 2 + (y - HUMP[1]) ** 2) / (2 * 9.0**2))
    tongue = np.exp(-(((x - POINT[0]) / 11.0) ** 2)) / (1.0 + np.exp((y - POINT[1] - 15.0) / 4.0))
    depth = depth - 3.0 * tongue * np.minimum(3 * rim, 1)
    return np.where(rim > 0, np.maximum(depth, 0.3), 0.0)


def ways(day, rng):
    "Lines of one day (p, 2): the first covers the lake both ways, the others add a few lines at a course of their own."
    spacing = 22.0 if day == 0 else 70.0
    courses = (0.0, np.pi / 2) if day == 0 else (day * 0.61,)
    lines = []
    for course in courses:
        along, across = np.array([np.cos(course), np.sin(course)]), np.array([-np.sin(course), np.cos(course)])
        for offset in np.arange(-150.0 + rng.uniform(0, spacing), 150.0, spacing):
            xy = np.array([WIDE / 2, HIGH / 2]) + offset * across + np.arange(-150.0, 150.0, STEP_M)[:, None] * along
            lines.append(xy[floor_m(*xy.T) > 0.6])
    return [line if k % 2 == 0 else line[::-1] for k, line in enumerate(lines) if len(line) > 15]


def log_of(day, seed=0):
    "A log as CSV: fixes wander by 0.7 m, depths by 4 cm, each line by 5 cm; a stump in the beam stands 1.2 m tall."
    rng = np.random.default_rng([seed, day])
    rows = ["time,lat,lon,depth_m"]
    clock = np.datetime64("2025-05-01T08:00:00.000") + np.timedelta64(day * 3, "D")
    for line in ways(day, rng):
        depth = floor_m(*line.T) + 0.05 * rng.standard_normal() + 0.04 * rng.standard_normal(len(line))
        for stump in STUMPS:
            away = np.hypot(*(line - stump).T)
            depth = np.where(away < 2.5, depth - 1.2, depth)
        drift = np.cumsum(rng.standard_normal(line.shape), axis=0) * 0.05
        lon, lat = unproject(UTM_33, *(line + drift - drift.mean(axis=0) + CORNER_M).T)
        for k in range(len(line)):
            when = clock + np.timedelta64(int(1000 * k * STEP_M / SPEED_MPS), "ms")
            rows.append(f"{when}Z,{lat[k]:.7f},{lon[k]:.7f},{depth[k]:.2f}")
        clock = clock + np.timedelta64(int(1000 * (len(line) * STEP_M / SPEED_MPS + 90)), "ms")
    return "\n".join(rows) + "\n"


def shoreline():
    "The rim as GeoJSON."
    angle = np.linspace(0, 2 * np.pi, 73)
    x, y = WIDE / 2 * (1 + np.cos(angle)), HIGH / 2 * (1 + np.sin(angle))
    ring = np.column_stack(unproject(UTM_33, x + CORNER_M[0], y + CORNER_M[1])).round(7).tolist()
    feature = {"type": "Feature", "properties": {}, "geometry": {"type": "Polygon", "coordinates": [ring]}}
    return json.dumps({"type": "FeatureCollection", "features": [feature]})


def write_days(folder, days, seed=0):
    "Logs of the first ``days`` days and the shoreline, into a folder."
    (folder / "shore.geojson").write_text(shoreline())
    for day in range(days):
        (folder / f"day{day:02d}.csv").write_text(log_of(day, seed))
