"""Tiny invented worlds, small enough to know every answer by hand."""

from __future__ import annotations

import dataclasses

import numpy as np
import shapely
from affine import Affine
from pyproj import CRS
from shapely.geometry import LineString, Point, Polygon

from lakemap.geo.crossovers import find_crossovers
from lakemap.geo.crs import unproject
from lakemap.model.bottom import Bottom, BottomEdges
from lakemap.model.flags import Flag
from lakemap.model.frame import Grid, GridFrame
from lakemap.model.hits import FROM_MARK, FROM_RISE, Hits
from lakemap.model.lake_map import LakeMap
from lakemap.model.log_facts import LogFacts
from lakemap.model.shoreline import Shoreline
from lakemap.model.soundings import PassBias, Soundings
from lakemap.model.spots import Spots
from lakemap.model.surface import LeftOut, Surface
from lakemap.model.terrain import Contours, DepthAreaVolume, Features, Terrain
from lakemap.units import length_slot

SMALL_CRS = CRS.from_epsg(32632)
SMALL_WEST, SMALL_NORTH, SMALL_PIXEL_M = 500_000.0, 5_300_000.0, 5.0
SMALL_SHAPE = (50, 60)
SMALL_CENTRE = (SMALL_WEST + 150.0, SMALL_NORTH - 125.0)
SMALL_DEEPEST_M = 8.0


def small_bowl_m(x_m, y_m):
    "Depth of the small lake [m]: a bowl that meets zero on the ellipse of half axes 140 and 115 m."
    u, v = (x_m - SMALL_CENTRE[0]) / 140.0, (y_m - SMALL_CENTRE[1]) / 115.0
    return SMALL_DEEPEST_M * (1.0 - u**2 - v**2)


def small_frame():
    "50 x 60 pixels of 5 m; water inside the bowl's rim."
    transform = Affine(SMALL_PIXEL_M, 0, SMALL_WEST, 0, -SMALL_PIXEL_M, SMALL_NORTH)
    bare = GridFrame(SMALL_SHAPE, transform, SMALL_CRS, np.ones(SMALL_SHAPE, bool), True)
    water = small_bowl_m(*np.meshgrid(*bare.centres())) > 0
    return dataclasses.replace(bare, water=water)


def small_soundings():
    "Six straight passes over the small lake in two logs (metres, feet), the first 12 rows held out for various faults."
    parts = []
    for k in range(4):
        x_m = np.linspace(SMALL_WEST + 25, SMALL_WEST + 275, 101)
        parts.append((k, 0, x_m, np.full(101, SMALL_NORTH - 80.0 - 30.0 * k)))
    for k in range(2):
        y_m = np.linspace(SMALL_NORTH - 30, SMALL_NORTH - 220, 77)
        parts.append((4 + k, 1, np.full(77, SMALL_WEST + 110.0 + 80.0 * k), y_m))
    pass_id, log = (np.concatenate([np.full(len(part[2]), part[i]) for part in parts]) for i in (0, 1))
    x_m, y_m = (np.concatenate([part[i] for part in parts]) for i in (2, 3))
    n, depth = len(x_m), np.maximum(small_bowl_m(x_m, y_m), 0.3)
    flags = np.zeros(n, np.uint32)
    flags[:5], flags[5:9] = Flag.spike, Flag.lost_bottom
    flags[9:12] = Flag.spike | Flag.off_water
    flags[200:204] = Flag.rise
    lon, lat = unproject(SMALL_CRS, x_m, y_m)
    time_s = 1_717_000_000.0 + np.arange(n)
    logs = (
        LogFacts("evening.nmea", "ab" * 32, "NMEA 0183", rows_in=404, depth_reference="transducer", draft_m=0.4,
                 nominal_sound_speed_mps=1500.0, origins={"draft_m": "settings"}),
        LogFacts("screen <b>.csv", "cd" * 32, "table", rows_in=154, depth_unit="ft"),
    )
    made = Soundings.build(
        n, logs, ["screen <b>.csv: 2 rows had a time out of order"], time_s=time_s,
        time_utc=(time_s * 1000).astype("datetime64[ms]"), log=log, row=np.arange(n) + 1,
        pass_id=np.where(flags & 0xFFFF, -1, pass_id), lon_deg=lon, lat_deg=lat, x_m=x_m, y_m=y_m,
        position_sigma_m=np.full(n, 1.5), logged_depth_m=depth - 0.4, depth_m=depth, depth_sigma_m=np.full(n, 0.1),
        hardness=np.where(log == 1, 0.6, np.nan), hardness_sigma=np.where(log == 1, 0.15, np.nan), flags=flags,
    )
    made = dataclasses.replace(made, crs=SMALL_CRS, common_offset_m=0.3, common_scale=0.015)
    return made.with_correction("draft of evening.nmea", 0.0, 0.4)


def small_surfaces(frame):
    "Depth and hardness of the small lake, with an error that grows away from the middle; hardness only in the west."
    x_m, y_m = np.meshgrid(*frame.centres())
    depth = np.where(frame.water, small_bowl_m(x_m, y_m), np.nan)
    depth[:, 52:] = np.nan
    away = np.hypot(x_m - SMALL_CENTRE[0], y_m - SMALL_CENTRE[1])
    hardness = np.where(np.isfinite(depth) & (x_m < SMALL_CENTRE[0] + 40), 0.2 + 0.6 * (x_m - SMALL_WEST) / 300, np.nan)
    drawn = float(np.isfinite(depth).sum() / frame.water.sum())

    def surface(name, unit, values, sigma, left_out, bias):
        grids = (values.astype(np.float32), np.where(np.isfinite(values), sigma, np.nan).astype(np.float32))
        model = {"kind": "exponential", "nugget": 0.01, "partial_sill": 2.5, "range_m": 90.0}
        return Surface(Grid(frame, grids[0], name, unit), Grid(frame, grids[1], name.removesuffix("_m") + "_sigma"
                       + ("_m" if unit == "m" else ""), unit), "kriging", model, drawn, left_out, bias)

    bias = PassBias(np.array([0, 1, 4], np.int32), np.array([0.04, -0.02, 0.011]), np.array([0.02, 0.02, 0.03]))
    return (
        surface("depth_m", "m", depth, 0.1 + away / 400, LeftOut("pass", 0.21, 0.012, 0.947, 480), bias),
        surface("hardness", "1", hardness, 0.1 + away / 1500, LeftOut("pass", 0.13, -0.01, 0.96, 90), PassBias.none()),
    )


def small_terrain(frame, depth):
    "Slope, one hump, one point, contours each 2 m as true ellipses, a table of four depths."
    slope = np.where(np.isfinite(depth.estimate.values), 4.0, np.nan).astype(np.float32)
    flat = Grid(frame, np.zeros_like(slope), "position_fine_m", "m")
    at = SMALL_CENTRE
    features = Features(
        ("hump", "point"),
        (Point(at[0] - 40, at[1]).buffer(15), Polygon([(at[0] + 40, at[1] + 60), (at[0] + 60, at[1] + 60),
                                                      (at[0] + 50, at[1] + 20)])),
        np.array([at[0] - 40, at[0] + 50]), np.array([at[1], at[1] + 40]), np.array([1.2, 2.0]),
        np.array([707.0, 400.0]), np.array([9.0, 6.0]), np.array([5.5, 3.0]), np.array([0.8, 0.6]),
    )
    levels = np.array([2.0, 4.0, 6.0])
    angle = np.linspace(0, 2 * np.pi, 73)
    radius = np.sqrt(1 - levels / SMALL_DEEPEST_M)
    lines = tuple(
        LineString(np.column_stack([at[0] + 140 * r * np.cos(angle), at[1] + 115 * r * np.sin(angle)])) for r in radius
    )
    depths = np.array([0.0, 2.0, 4.0, 6.0])
    rim = np.pi * 140 * 115
    share = 1 - depths / SMALL_DEEPEST_M
    table = DepthAreaVolume(depths, rim * share, rim * SMALL_DEEPEST_M / 2 * share**2, rim * 0.95, rim)
    return Terrain(Grid(frame, slope, "slope_deg", "degree"), flat, flat, features, Contours(levels, lines, 2.0), table,
                   ("one message of the terrain",))


def small_hits():
    "Three hits on a brush pile (a mark and two rises) and one mark elsewhere without a time."
    at = SMALL_CENTRE
    time_s = np.array([np.nan, 1_717_000_200.0, 1_717_000_450.0, np.nan])
    when = np.array(["NaT", "2024-05-29T16:30:00", "2024-05-29T16:34:10", "NaT"], "datetime64[ms]")
    return Hits(
        np.array(["brush", "cover", "cover", "rock"]), np.array([FROM_MARK, FROM_RISE, FROM_RISE, FROM_MARK], np.int8),
        at[0] + np.array([0.0, 2.0, -1.0, 60.0]), at[1] + np.array([0.0, 1.0, 2.0, -30.0]), np.array([4.0, 2, 2, 4]),
        np.array([7.9, 7.8, 7.9, 6.1]), np.array([np.nan, 1.1, 0.9, np.nan]), np.array([0.9, 0.6, 0.7, 0.9]),
        np.array([0, 3, 2, 0], np.int32), np.array([-1, 1, 4, -1], np.int32), time_s, when,
        np.array(["=HYPERLINK(1)", "", "", "old <wall> & rock"]),
    )


def small_spots():
    "The brush pile, seen by two passes of three, and the rock that no pass crossed."
    at = SMALL_CENTRE
    x_m, y_m = np.array([at[0], at[0] + 60]), np.array([at[1], at[1] - 30])
    lon, lat = unproject(SMALL_CRS, x_m, y_m)
    two = np.array
    return Spots(
        ("brush-1", "rock-1"), ("brush", "rock"), (two([0, 1, 2]), two([3])), x_m, y_m, lon, lat, two([1.6, 4.0]),
        two([7.9, 6.1]), two([0.2, 0.3]), two([1.0, np.nan]), two([0.5, np.nan]), two([2, 0], dtype=np.int32),
        two([3, 0], dtype=np.int32), two([0.93, 0.6]), two([0.7, 0.3]), two([0.99, 0.85]),
        two(["2024-05-29T16:34:10", "NaT"], "datetime64[ms]"), two([0.81, 0.4]),
        {"cover": two([0.9, 0.5]), "structure": two([0.6, np.nan])},
        ((f"Brush marked by hand; stands {length_slot(1.0)} above the floor.", f"Lies in {length_slot(7.9)} of water."),
         ("Marked by hand: old <wall> & rock.",)),
    )


def small_lake_map():
    "A whole LakeMap without running a stage: 300 x 250 m in UTM 32, two logs, six passes, two spots."
    frame, soundings = small_frame(), small_soundings()
    depth, hardness = small_surfaces(frame)
    rim = shapely.Polygon(np.column_stack(unproject(SMALL_CRS, *_ellipse(140.0, 115.0))),
                          [np.column_stack(unproject(SMALL_CRS, *_ellipse(8.0, 6.0, 70.0, 30.0)))])
    return LakeMap(
        "Small & <Round> Lake", soundings, find_crossovers(soundings), small_hits(), depth, hardness,
        small_terrain(frame, depth), small_spots(), Shoreline(rim, "shore.geojson"),
        settings={"clean": {"draft_m": 0.4}, "publish": {"units": None}}, inputs={"evening.nmea": "ab" * 32},
        messages=("a message of the lake",), bottom=small_bottom(hardness),
    )


def small_bottom(hardness):
    "Soft, medium and hard in the shares that the hardness gives them, without edges, on a relative scale."
    value = hardness.estimate.values
    layers = {"soft": (1 - value) ** 2, "medium": 2 * value * (1 - value), "hard": value**2}
    grids = tuple(Grid(hardness.frame, layer.astype(np.float32), name, "1") for name, layer in layers.items())
    return Bottom(tuple(layers), grids, Grid(hardness.frame, 0 * value, "hardness_doubt", "1"), BottomEdges())


def _ellipse(half_x, half_y, east=0.0, north=0.0):
    angle = np.linspace(0, 2 * np.pi, 49)[:-1]
    return SMALL_CENTRE[0] + east + half_x * np.cos(angle), SMALL_CENTRE[1] + north + half_y * np.sin(angle)
