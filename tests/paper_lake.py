"""A lake as its finished folder would tell it, without the folder: for charts and cards."""

from __future__ import annotations

import dataclasses

import numpy as np
from drawn_lake import bare, frame_at, full_lake, surface
from shapely.geometry import Point, box

from lakemap.geo.shore import water_polygon
from lakemap.model.finished_map import ClosedArea, Danger, FinishedMap, OwnMark
from lakemap.model.lake_map import LakeMap


def finished(lake: LakeMap, **more) -> FinishedMap:
    "What reading a folder of this map would give, with ``more`` put in."
    shore = None if lake.shore is None else water_polygon(lake.shore, lake.depth.frame.crs)
    spots = dataclasses.replace(lake.spots, reasons=tuple((" ".join(said).replace("{", "").replace("}", ""),)
                                                          for said in lake.spots.reasons))
    made = FinishedMap(
        name=lake.name, unit="m", depth=lake.depth.estimate, sigma=lake.depth.sigma, datum="water surface on the day",
        offset_m=0.3, scale=0.015, spots=spots, shore=shore, first_day="2025-05-18", last_day="2025-06-02",
        soft_below=0.23, hard_from=0.66,
    )
    return dataclasses.replace(made, **more)


def paper_lake(**more) -> FinishedMap:
    "The drawn lake on pixels of 5 m, with a danger, a closed area and marks on its shore."
    lake = full_lake((132, 180), 5.0)
    west, south, east, north = lake.depth.frame.bounds
    x, y = (west + east) / 2, (south + north) / 2
    kept = {
        "dangers": (Danger(Point(x + 120, y + 40), 20.0, "old pier"),),
        "closed": (ClosedArea(box(x + 150, y - 120, x + 290, y - 20), "04-01", "05-31", "spawning"),),
        "marks": (OwnMark(x - 330, y - 40, "place", "ramp: the slip"), OwnMark(x + 40, y - 300, "place", "dock, red"),
                  OwnMark(x, y, "stump", "old stump")),
    }
    return finished(lake, **(kept | more))


def floor_lake(depth_of, shape=(120, 160), pixel_m: float = 4.0) -> FinishedMap:
    "A lake without a shoreline whose depth [m] is a function of x and y from its middle [m]."
    frame = frame_at(shape, pixel_m)
    x_m, y_m = frame.centres()
    depth = depth_of(*np.meshgrid(x_m - x_m.mean(), y_m - y_m.mean()))
    return finished(bare(surface(frame, "depth_m", "m", depth, np.where(np.isfinite(depth), 0.1, np.nan))))
