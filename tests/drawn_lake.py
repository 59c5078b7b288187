"""A small invented lake with everything a page can show, and poorer ones."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
from affine import Affine
from shapely.geometry import LineString, MultiLineString, Point, Polygon

from lakemap.geo.crs import project, unproject, utm_crs
from lakemap.model.crossovers import Crossovers
from lakemap.model.frame import Grid, GridFrame
from lakemap.model.hits import Hits
from lakemap.model.lake_map import LakeMap
from lakemap.model.log_facts import LogFacts
from lakemap.model.shoreline import Shoreline
from lakemap.model.soundings import Soundings
from lakemap.model.spots import Spots
from lakemap.model.surface import Surface
from lakemap.model.terrain import Contours, DepthAreaVolume, Features, Terrain

LON, LAT = 14.6, 53.2


def surface(frame: GridFrame, name: str, unit: str, values: Any, sigma: Any) -> Surface:
    """A surface from plain arrays."""
    return Surface(
        Grid(frame, np.asarray(values, np.float32), name, unit),
        Grid(frame, np.asarray(sigma, np.float32), f"{name}_sigma", unit), "invented", {}, 1.0,
    )


def frame_at(shape: tuple[int, int], pixel_m: float, lon: float = LON, lat: float = LAT) -> GridFrame:
    """A frame centred on a place."""
    crs = utm_crs(lon, lat)
    x, y = (float(value) for value in project(crs, lon, lat))
    west, north = np.floor(x) - shape[1] * pixel_m / 2, np.floor(y) + shape[0] * pixel_m / 2
    return GridFrame(shape, Affine(pixel_m, 0, west, 0, -pixel_m, north), crs, np.ones(shape, bool))


def bare(depth: Surface, **more: Any) -> LakeMap:
    """A lake of one depth surface and nothing else, with ``more`` put in."""
    frame = depth.frame
    blank = Grid(frame, np.full(frame.shape, np.nan, np.float32), "blank", "1")
    none = np.empty(0)
    terrain = Terrain(
        dataclasses.replace(blank, name="slope_deg"), blank, blank, Features(), Contours(none, (), 1.0),
        DepthAreaVolume(none, none, none, 0.0, None),
    )
    ints = np.empty(0, np.int64)
    passes = np.empty(0, np.int32)
    made = LakeMap(
        "Bare water", dataclasses.replace(Soundings.build(0), crs=frame.crs),
        Crossovers(ints, ints, passes, passes, none, none, none, none), Hits.empty(), depth, None, terrain,
        Spots.empty(), None,
    )
    return dataclasses.replace(made, **more)


def _contours(frame: GridFrame, depth: Any, step_m: float) -> Contours:
    import contourpy

    x, y = frame.centres()
    maker = contourpy.contour_generator(x, y, np.ma.masked_invalid(depth))
    levels = np.arange(step_m, np.nanmax(depth), step_m)
    lines = [MultiLineString([LineString(line) for line in maker.lines(level) if len(line) > 3]) for level in levels]
    return Contours(levels, tuple(lines), step_m)


def _passes(frame: GridFrame) -> Soundings:
    west, south, east, north = frame.bounds
    rows = []
    for k, y in enumerate(np.arange(south + 70, north - 60, 45.0)):
        x = np.arange(west + 60, east - (60 if y < (south + north) / 2 else 420), 3.0)
        wobble = 6 * np.sin(x / 60 + k)
        rows.append(np.column_stack([x, np.full_like(x, y) + wobble, np.full_like(x, k)]))
    x = np.linspace(west + 100, east - 120, 250)
    rows.append(np.column_stack([x, np.linspace(south + 80, north - 120, 250), np.full(250, len(rows))]))
    x_m, y_m, number = np.concatenate(rows).T
    lon, lat = unproject(frame.crs, x_m, y_m)
    times = np.datetime64("2024-05-18T06:00", "ms") + (np.arange(len(x_m)) * 1000).astype("timedelta64[ms]")
    logs = (LogFacts(name="may.nmea", depth_unit="m", rows_in=len(x_m)),)
    built = Soundings.build(
        len(x_m), logs=logs, x_m=x_m, y_m=y_m, lon_deg=lon, lat_deg=lat, pass_id=number, time_utc=times,
        time_s=np.arange(len(x_m)), depth_m=np.ones(len(x_m)),
    )
    return dataclasses.replace(built, crs=frame.crs, common_offset_m=0.3, common_scale=0.015)


KINDS = ("stump", "brush", "rock", "cover", "hump", "stump", "catch", "brush", "cover")


def _spots(frame: GridFrame, depth: Any, hardness: Any) -> Spots:
    n = len(KINDS)
    west, south, east, north = frame.bounds
    rng = np.random.default_rng(4)
    x_m = west + (0.2 + 0.55 * rng.random(n)) * (east - west)
    y_m = south + (0.25 + 0.5 * rng.random(n)) * (north - south)
    row, column, _ = frame.pixel_of(x_m, y_m)
    lon, lat = unproject(frame.crs, x_m, y_m)
    deep = depth[row, column].astype(float)
    seen = np.array([3, 2, 4, 1, 5, 2, 1, 2, 1], np.int32)
    over = np.array([3, 3, 5, 4, 5, 2, 0, 6, 1], np.int32)
    chance = np.clip((seen + 0.5) / (over + 1.0), 0, 1)
    day = np.array(["2024-05-18"] * n, "datetime64[ms]")
    day[3] = np.datetime64("NaT")
    reasons = tuple(
        (f"Stands {{{0.4 + 0.2 * k:.3f} m}} above the floor at {{{deep[k]:.3f} m}}.",
         f"{seen[k]} of {over[k]} passes over it saw it." if over[k] else "You marked it; no pass has gone over it.",
         "The bottom around it is hard.", "{22.500 m} from a drop-off.")
        for k in range(n)
    )
    return Spots(
        tuple(f"{kind} {k + 1}" for k, kind in enumerate(KINDS)), KINDS, tuple(np.array([k]) for k in range(n)),
        x_m, y_m, lon, lat, np.full(n, 2.2), deep, np.full(n, 0.15), 0.4 + 0.2 * np.arange(n),
        hardness[row, column].astype(float), seen, over, chance, chance * 0.7, np.minimum(1, chance * 1.2), day,
        np.linspace(0.91, 0.32, n), {"evidence": chance, "structure_near": np.linspace(0.9, 0.2, n),
                                     "bottom": np.linspace(0.5, 0.8, n)}, reasons,
    )


def full_lake(shape: tuple[int, int] = (220, 300), pixel_m: float = 3.0) -> LakeMap:
    """A kidney of a lake with a hump, a hole and a bay that no pass has seen."""
    frame = frame_at(shape, pixel_m)
    x_m, y_m = frame.centres()
    x, y = np.meshgrid((x_m - x_m.mean()) / (pixel_m * shape[1] / 2), (y_m - y_m.mean()) / (pixel_m * shape[0] / 2))
    angle = np.arctan2(y, x)
    edge = 0.80 + 0.10 * np.cos(2 * angle + 0.6) + 0.07 * np.sin(3 * angle)
    inside = 1 - np.hypot(x, y) / edge
    depth = 11.5 * np.clip(inside, 0, None) ** 0.7 + 2.3 * np.exp(-((x + 0.3) ** 2 + (y - 0.1) ** 2) * 25)
    depth -= 4.2 * np.exp(-((x - 0.22) ** 2 + (y + 0.22) ** 2) * 40)
    water = inside > 0.02
    depth = np.where(water, np.clip(depth, 0.3, None), np.nan)
    unseen = np.clip((x - 0.16) * 2.4, 0, 1) * np.clip((y + 0.05) * 3.0, 0, 1)
    track = np.abs(np.mod(y_m[:, None] - y_m.min(), 45.0) - 22.5) / 22.5
    sigma = np.where(water, 0.08 + 0.13 * (1 - track) + 0.95 * unseen, np.nan)
    hard = np.where(water & (unseen < 0.7), np.clip(0.5 + 0.45 * np.sin(3 * x + 1) * np.cos(4 * y), 0, 1), np.nan)
    hard_sigma = np.where(np.isfinite(hard), 0.08 + 0.2 * unseen, np.nan)
    down, across = np.gradient(depth, pixel_m)
    slope = Grid(frame, np.degrees(np.arctan(np.hypot(down, across))).astype(np.float32), "slope_deg", "degree")
    turn = np.linspace(0, 2 * np.pi, 181)[:-1]
    radius = 0.98 * (0.80 + 0.10 * np.cos(2 * turn + 0.6) + 0.07 * np.sin(3 * turn))
    outline = np.column_stack([
        x_m.mean() + radius * np.cos(turn) * pixel_m * shape[1] / 2,
        y_m.mean() + radius * np.sin(turn) * pixel_m * shape[0] / 2,
    ])
    shore = Shoreline(Polygon(np.column_stack(unproject(frame.crs, *outline.T))), "shore.geojson")
    centres = [(x_m.mean() + 0.22 * pixel_m * shape[1] / 2, y_m.mean() - 0.22 * pixel_m * shape[0] / 2),
               (x_m.mean() - 0.3 * pixel_m * shape[1] / 2, y_m.mean() + 0.1 * pixel_m * shape[0] / 2)]
    features = Features(
        ("hump", "hole"), tuple(Point(place).buffer(45) for place in centres), np.array([p[0] for p in centres]),
        np.array([p[1] for p in centres]), np.array([3.9, 2.1]), np.array([6000.0, 6000.0]), np.array([6.0, 3.0]),
        np.array([4.5, 12.9]), np.array([0.9, 0.8]),
    )
    made = bare(surface(frame, "depth_m", "m", depth, sigma))
    return dataclasses.replace(
        made, name="Long Pike Water", soundings=_passes(frame), shore=shore,
        hardness=surface(frame, "hardness", "1", hard, hard_sigma), spots=_spots(frame, depth, hard),
        terrain=dataclasses.replace(
            made.terrain, slope=slope, features=features, contours=_contours(frame, depth, 1.0)),
    )
