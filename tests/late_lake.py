"""A small invented lake sailed by a boat whose depths come late, whose passes are each off by a constant, and whose
fixes wander: what clean must find out is known."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from sailed import CORNER_M, UTM_33

from lakemap.geo.crs import unproject
from lakemap.model.log_facts import LogFacts
from lakemap.model.soundings import Soundings

NOISE_M = 0.04


@dataclass(frozen=True)
class LateLake:
    "What was logged, and what is true: latency of each log [s], constant error of each leg, the leg of each row."

    soundings: Soundings
    latency_s: np.ndarray
    bias_m: np.ndarray
    leg: np.ndarray


def floor_m(x, y, phases):
    "A floor of 4 to 12 m in waves of 60 to 160 m, with slopes of some 5 %."
    total = np.full(np.shape(x), 8.0)
    for k, phase in enumerate(phases):
        turn, length = phase, 60.0 + 20.0 * k
        total = total + 0.6 * np.sin(2 * np.pi * (np.cos(turn) * x + np.sin(turn) * y) / length + 7 * phase)
    return total


def wander(n, sigma_m, memory_s, rng):
    "First-order drift of n fixes a second apart, (n, 2)."
    from scipy.signal import lfilter

    keep = np.exp(-1.0 / memory_s)
    kicks = sigma_m * np.sqrt(1 - keep**2) * rng.standard_normal((n + 500, 2))
    return lfilter([1.0], [1.0, -keep], kicks, axis=0)[500:]


def legs_of(day, size_m, apart_m):
    "Corners (k, 2, 2) of legs to and fro: northward lines on even days, eastward ones on odd days."
    at = np.arange(apart_m / 2, size_m, apart_m)
    legs = []
    for number, place in enumerate(at):
        ends = [(place, 0.0), (place, size_m)] if day % 2 == 0 else [(0.0, place), (size_m, place)]
        legs.append(ends if number % 2 == 0 else ends[::-1])
    return np.array(legs)


def late_lake(seed, latency_s=(0.8, 0.8), bias_m=0.0, wrong=(0.3, -0.3), fix_m=1.0, size_m=400.0, apart_m=40.0,
              speed_mps=1.8, step_s=1.0, one_way=False, noise_m=NOISE_M):
    "One log a day, each with its own latency; two legs are wrong by 0.3 m besides the usual bias of all."
    rng = np.random.default_rng(seed)
    phases = rng.uniform(0, 2 * np.pi, 6)
    parts, biases, number = [], [], 0
    for day, late in enumerate(latency_s):
        columns = []
        clock = 86_400.0 * day
        for start, end in legs_of(day, size_m, apart_m):
            if one_way:
                start, end = min(start.tolist(), end.tolist()), max(start.tolist(), end.tolist())
            t = np.arange(0.0, size_m / speed_mps, step_s)
            course = (np.array(end) - start) / size_m
            columns.append((clock + t, *(np.array(start)[:, None] + course[:, None] * speed_mps * t),
                            *(np.tile(course[:, None], len(t))), np.full(len(t), number)))
            clock += t[-1] + 60.0
            number += 1
        t, x, y, ux, uy, leg = np.concatenate([np.array(part, float) for part in columns], axis=1)
        leg = leg.astype(int)
        bias = bias_m * rng.standard_normal(number)
        for which, size in zip(rng.choice(np.unique(leg), len(wrong), replace=False), wrong, strict=True):
            bias[which] += size if day == 0 else 0.0
        depth = floor_m(x - ux * speed_mps * late, y - uy * speed_mps * late, phases)
        depth = depth + bias[leg] + noise_m * rng.standard_normal(len(t))
        fix = np.column_stack([x, y]) + wander(len(t), fix_m, 60.0, rng)
        biases.append(bias[np.unique(leg)])
        lon, lat = unproject(UTM_33, fix[:, 0] + CORNER_M[0], fix[:, 1] + CORNER_M[1])
        utc = (np.datetime64("2025-06-01T08:00:00", "ms") + (t * 1000).astype("timedelta64[ms]"))
        made = Soundings.build(
            len(t), [LogFacts(f"day{day + 1}.nmea", rows_in=len(t))], time_s=t, time_utc=utc,
            row=np.arange(1, len(t) + 1), lon_deg=lon, lat_deg=lat, x_m=fix[:, 0] + CORNER_M[0],
            y_m=fix[:, 1] + CORNER_M[1], logged_depth_m=depth)
        parts.append((made, leg))
    joined = replace(Soundings.concatenate([made for made, _ in parts]), crs=UTM_33)
    return LateLake(joined, np.array(latency_s), np.concatenate(biases), np.concatenate([leg for _, leg in parts]))
