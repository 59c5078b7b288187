"""One day on Harrow Lake: what the boat's recorder took down, and beside it what was true."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lakemap.demo.boat import Track, gps_error_m, sail
from lakemap.demo.cover import STUMP_FIELDS
from lakemap.demo.faults import LOCK_DEPTH_M, LOCK_REFLECTION, spoil_depths, spoil_fixes
from lakemap.demo.fishing import go_fishing
from lakemap.demo.lake import DemoLake
from lakemap.demo.route import parallel_legs, ring_legs, search_legs
from lakemap.demo.sounder import Sounder, echo_levels_db, first_returns, shown_depth_m

Floats = NDArray[np.float64]

LATENCY_S = 0.3
"""How long after its ping a depth comes out of the sounder."""
PASS_BIAS_M = 0.1
"""Standard deviation of a pass's constant error: trim, load, waves, a lake level that moves."""
BOAT_MPS = 1.8


@dataclass(frozen=True)
class Day:
    """One day's plan: the file it ends in, when it starts (UTC), its legs, and the time between depths [s]; or, with
    ``fishing_m`` from the lake's corner, no legs but a day's fishing that begins there."""

    file: str
    starts: str
    legs: Callable[[DemoLake], list[Floats]]
    every_s: float = 0.5
    fishing_m: tuple[float, float] | None = None


def _crossing_and_ring(lake: DemoLake) -> list[Floats]:
    water = lake.shoreline
    return ring_legs(water, 16.0) + parallel_legs(water, 45.0, 210.0) + parallel_legs(water, 135.0, 210.0)


def _search(lake: DemoLake) -> list[Floats]:
    east, north = lake.corner_m
    return [
        leg for x, y in STUMP_FIELDS for leg in search_legs(lake.shoreline, (east + x, north + y), (130.0, 120.0), 5.0)
    ]


def _east(lake: DemoLake) -> list[Floats]:
    legs = parallel_legs(lake.shoreline, 110.0, 60.0)
    return [leg for leg in legs if leg[:, 0].mean() > lake.corner_m[0] + 620.0]


DAY_1 = Day("harrow_day1.nmea", "2025-06-14T12:30:00", lambda lake: parallel_legs(lake.shoreline, 0.0, 28.0))
DAY_2 = Day("harrow_day2.nmea", "2025-06-15T13:05:00", lambda lake: parallel_legs(lake.shoreline, 90.0, 30.0))
DAY_3 = Day("harrow_day3.nmea", "2025-06-21T14:10:00", _crossing_and_ring)
DAY_4 = Day("harrow_day4.nmea", "2025-07-05T22:20:00", _search)
DAY_5 = Day("harrow_echo_levels.csv", "2025-07-12T13:00:00",
            lambda lake: parallel_legs(lake.shoreline, 25.0, 50.0), every_s=1.0)
DAY_6 = Day("harrow_screen_notes.csv", "2025-07-19T12:45:00", _east, every_s=2.0)
DAY_7 = Day("harrow_fishing.nmea", "2025-07-26T10:30:00", lambda lake: [], every_s=1.0, fishing_m=(960.0, 500.0))
DAYS = (DAY_1, DAY_2, DAY_3, DAY_4, DAY_5, DAY_6, DAY_7)


@dataclass(frozen=True)
class Recording:
    """n depths and m fixes of one day.

    Taken down: ``time_s`` when a depth came out, ``shown_m`` below the transducer, echo levels [dB]; ``fix_time_s`` and
    ``fix_xy`` (m, 2) as the GPS said. True: where the ping was, its leg and the leg's bias, depth of the floor straight
    below, what was wrong with it (faults.Fault), the cover that answered first (-1: floor), and by how much.
    """

    time_s: Floats
    shown_m: Floats
    first_db: Floats
    second_db: Floats
    fix_time_s: Floats
    fix_xy: Floats
    x_m: Floats
    y_m: Floats
    leg: NDArray[np.int64]
    leg_bias_m: Floats
    floor_m: Floats
    fault: NDArray[np.int8]
    cover: NDArray[np.int64]
    rise_m: Floats


def record(lake: DemoLake, day: Day, seed: int, sounder: Sounder | None = None) -> Recording:
    """Sail one day; the same lake, day and seed give the same recording."""
    carried = sounder or Sounder()
    way, gps, depths, levels, wrong = (np.random.default_rng([seed, DAYS.index(day), part]) for part in range(5))
    start_s = float(np.datetime64(day.starts, "s").astype(np.int64))
    track = _track(lake, day, start_s, way)
    out_s = track.moments(day.every_s, from_s=0.2)
    x, y = track.at(out_s - LATENCY_S)
    leg = track.leg_at(out_s - LATENCY_S)
    bias = PASS_BIAS_M * depths.standard_normal(int(track.leg.max()) + 1)
    heard = first_returns(lake, x, y, carried)
    reflection = lake.reflection(x, y)
    first_db, second_db = echo_levels_db(heard, reflection, carried, levels)
    shown = shown_depth_m(heard.first_m, bias[leg], carried, depths)
    hard_and_shallow = (reflection > LOCK_REFLECTION) & (heard.first_m < LOCK_DEPTH_M)
    shown, fault = spoil_depths(shown, bias[leg], carried.draft_m, hard_and_shallow, wrong)
    lost = ~(shown > 0)
    fix_s, fix_xy = _fixes(track, gps, wrong)
    return Recording(
        time_s=out_s, shown_m=shown, first_db=np.where(lost, np.nan, first_db),
        second_db=np.where(lost, np.nan, second_db), fix_time_s=fix_s, fix_xy=fix_xy, x_m=x, y_m=y, leg=leg,
        leg_bias_m=bias[leg], floor_m=lake.depth_m(x, y), fault=fault, cover=heard.cover,
        rise_m=heard.floor_m - heard.first_m,
    )


def _track(lake: DemoLake, day: Day, start_s: float, way: np.random.Generator) -> Track:
    if day.fishing_m is None:
        return sail(day.legs(lake), lake.shoreline, BOAT_MPS, start_s, way)
    east, north = lake.corner_m
    return go_fishing((east + day.fishing_m[0], north + day.fishing_m[1]), start_s, way)


def _fixes(track: Track, gps: np.random.Generator, wrong: np.random.Generator) -> tuple[Floats, Floats]:
    fix_s = track.moments(1.0)
    xy = np.column_stack(track.at(fix_s)) + gps_error_m(len(fix_s), gps)
    return fix_s, spoil_fixes(xy, wrong)
