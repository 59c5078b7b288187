"""A small lake sailed on two days with everything wrong that the owner can know: draft, level, sound speed, clock."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from sailed import CORNER_M, UTM_33, logged, sail

from lakemap.geo.crs import unproject
from lakemap.model.boat import Boat, Sounder
from lakemap.model.lake_facts import LakeFacts, LakeLevels
from lakemap.model.soundings import Soundings
from lakemap.physics.sound_speed import fresh_water_sound_speed

DRAFT_M, WATER_C, NOMINAL_MPS, RISE_M = 0.4, 10.0, 1500.0, 0.6
DAY_S = 86_400.0
FIRST_DAY_S = float(np.datetime64("2025-06-01T08:00", "s").astype(np.int64))


def bowl_m(x, y):
    "Depth below the datum: a bowl 12 m deep with a long hump in it."
    return 12.0 - 2.5e-4 * ((x - 150.0) ** 2 + (y - 100.0) ** 2) - 2.0 * np.exp(-(((x - 100.0) / 25.0) ** 2))


def shown_m(x, y, risen_m, draft_m=DRAFT_M):
    "What a sounder that assumes NOMINAL_MPS shows below its transducer, on a day when the lake stands risen_m high."
    below = bowl_m(x, y) + risen_m - draft_m
    return below * NOMINAL_MPS / float(fresh_water_sound_speed(WATER_C))


def two_days(noise_m=0.0, seed=0, facts=None):
    "Lines east-west on the first day, north-south on the second, when the lake stands RISE_M higher."
    x, y, sailed = sail(passes=8, length_m=300.0, apart_m=28.0)
    v, u, crossed = sail(passes=10, length_m=200.0, apart_m=30.0)
    rng = np.random.default_rng(seed)
    told = {"depth_reference": "transducer", "origins": {"depth_reference": "DBT sentences"}} | (facts or {})
    parts = []
    for day, (a, b, number, risen) in enumerate(((x, y, sailed, 0.0), (u, v, crossed, RISE_M))):
        depth = shown_m(a, b, risen) + rng.normal(0.0, noise_m, len(a)) if noise_m else shown_m(a, b, risen)
        part = logged(a, b, depth, number, log=day, **told)
        time_s = part.time_s + FIRST_DAY_S + day * DAY_S
        parts.append(part.with_columns(time_s=time_s, time_utc=(time_s * 1000).astype("datetime64[ms]")))
    return replace(Soundings.concatenate(parts), crs=UTM_33)


def gauge(rise_m=RISE_M, elevation=False, zero_m=0.0, full_pool_m=None, name="gauge.csv"):
    "A gauge read twice a day: still on the first day, risen by rise_m before the second begins."
    time_s = FIRST_DAY_S + DAY_S * np.array([-0.3, 0.3, 0.9, 1.5])
    level = zero_m + rise_m * np.array([0.0, 0.0, 1.0, 1.0])
    return LakeLevels(time_s, level, elevation, name, full_pool_m)


def boat(**facts):
    "One boat with one sounder that is all known."
    known = {"draft_m": DRAFT_M, "nominal_sound_speed_mps": NOMINAL_MPS} | facts
    return Boat("boat.toml", (Sounder(**known),))


def known_facts(**more):
    "All that the owner knows: boat and gauge."
    return LakeFacts(**({"boats": (boat(),), "levels": (gauge(),)} | more))


def lonlat(x, y):
    "Degrees of a place on the plane."
    return unproject(UTM_33, np.asarray(x, float) + CORNER_M[0], np.asarray(y, float) + CORNER_M[1])


def truth_m(soundings):
    "True depths below the datum at each row."
    return bowl_m(soundings.x_m - CORNER_M[0], soundings.y_m - CORNER_M[1])
