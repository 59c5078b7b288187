"""A million soundings of 200 passes cleaned and corrected, crossovers and the passes' errors included; and how often
latency and pass bias come back within two of their own standard errors. On demand:

    python tests/bench/bench_clean.py [rows [rows ...]]      time, memory and growth; each size in a process of its own
    python tests/bench/bench_clean.py --seeds 100            100 invented lakes
"""

from __future__ import annotations

import dataclasses
import resource
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

PASSES, STEP_M, STEP_S = 200, 0.9, 0.5
"""To be kept: at most 8 s for a million rows, at most 2.2 times the time for twice the rows."""


def many_passes(rows):
    "As many rows on 100 passes northward and 100 eastward over a floor in waves, with spikes; one log."
    from pyproj import CRS

    from lakemap.geo.crs import unproject
    from lakemap.model.log_facts import LogFacts
    from lakemap.model.soundings import Soundings

    rng, each, half = np.random.default_rng(1), rows // PASSES, PASSES // 2
    along, columns = np.arange(each) * STEP_M, []
    for number in range(PASSES):
        there = along if number % 2 == 0 else along[::-1]
        across = np.full(each, (number % half + 0.5) * each * STEP_M / half) + 3 * np.sin(along / 90)
        x, y = (there, across) if number < half else (across, there)
        began = number * (each * STEP_S + 120.0) + (7200.0 if number >= half else 0.0)  # the way to the other corner
        columns.append((x, y, began + np.arange(each) * STEP_S))
    x, y, t = (np.concatenate(column) for column in zip(*columns, strict=True))
    depth = 8 + 2 * np.sin(x / 80) * np.cos(y / 60) + rng.normal(0, 0.05, len(x))
    depth[rng.random(len(x)) < 0.002] *= 1.8
    x, y, crs = x + 500_000.0, y + 5_000_000.0, CRS.from_epsg(32633)
    lon, lat = unproject(crs, x, y)
    made = Soundings.build(
        len(x), [LogFacts("a", rows_in=len(x))], time_s=t, row=np.arange(1, len(x) + 1), lon_deg=lon, lat_deg=lat,
        x_m=x, y_m=y, logged_depth_m=depth)
    return dataclasses.replace(made, crs=crs)


def one_size(rows):
    "Clean once on few rows (loads and compiles), then measure; prints seconds, MB and what was found."
    from lakemap.clean import CleanSettings, clean
    from lakemap.geo.agreement import agreement_of
    from lakemap.geo.crossovers import find_crossovers

    warm = clean(many_passes(4000), CleanSettings())
    agreement_of(warm, find_crossovers(warm))
    soundings = many_passes(rows)
    held = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    wall, own = time.perf_counter(), time.process_time()
    cleaned = clean(soundings, CleanSettings())
    crossed = find_crossovers(cleaned)
    agreement_of(cleaned, crossed)
    wall, own = time.perf_counter() - wall, time.process_time() - own
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{len(soundings)} {wall:.2f} {own:.2f} {peak:.0f} {held:.0f} {len(crossed)}")


def sizes(wanted):
    "Each size in a process of its own; says whether the time and the growth are kept."
    before = None
    for rows in wanted:
        command = [sys.executable, __file__, "--one", str(rows)]
        done = subprocess.run(command, capture_output=True, text=True, check=True)
        n, wall, own, peak, held, crossed = map(float, done.stdout.split())
        growth = "" if before is None else f", {own / before[1]:.2f} times the time of {before[0]:.0f} rows"
        print(f"{n:9.0f} rows: {wall:6.2f} s on the clock, {own:6.2f} s of one core, peak {peak:5.0f} MB "
              f"(before cleaning {held:.0f}), {crossed:.0f} crossovers{growth}", flush=True)
        before = (n, own)


def seeds(count):
    "How often what is estimated lies within two of its own standard errors; latency 0.8 s, two passes wrong by 0.3 m."
    from late_lake import NOISE_M, late_lake

    from lakemap.clean import CleanSettings, clean, placing
    from lakemap.geo.agreement import agreement_of
    from lakemap.geo.crossovers import find_crossovers
    from lakemap.geo.pass_bias import solve_pass_bias

    seen, decide = [], placing.decide
    placing.decide = lambda s, late, *more: (seen.append(late), decide(s, late, *more))[1]
    late_off, bias_off, medians, raw = [], [], [], []
    for seed in range(count):
        lake = late_lake(seed)
        cleaned = clean(lake.soundings, CleanSettings())
        late_off.append((seen[-1].latency_s - lake.latency_s) / seen[-1].sigma_s)
        crossed = find_crossovers(cleaned)
        solved = solve_pass_bias(crossed)
        truth = [np.median(lake.bias_m[lake.leg[cleaned.pass_id == number]]) for number in solved.pass_id]
        bias_off.append((solved.bias_m - truth) / solved.sigma_m)
        told = agreement_of(cleaned, crossed, solved)
        off = clean(lake.soundings, CleanSettings(off=("latency",)))
        raw.append(find_crossovers(off).median_abs_m)
        medians.append((told.median_before_m, told.median_after_m))
    late_off, bias_off = np.concatenate(late_off), np.concatenate(bias_off)
    print(f"latency: {np.mean(np.abs(late_off) <= 2):.1%} of {len(late_off)} within 2 sigma, spread "
          f"{late_off.std():.2f} sigma, mean {late_off.mean():+.2f} sigma")
    print(f"pass bias: {np.mean(np.abs(bias_off) <= 2):.1%} of {len(bias_off)} within 2 sigma")
    before, after = np.mean(medians, axis=0)
    print(f"crossovers: median {np.mean(raw):.3f} m as logged, {before:.3f} m with latency put right, "
          f"{after:.3f} m without pass bias; noise of two readings alone "
          f"{0.6745 * np.sqrt(2) * NOISE_M:.3f} m")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--one"]:
        one_size(int(sys.argv[2]))
    elif sys.argv[1:2] == ["--seeds"]:
        seeds(int(sys.argv[2]))
    else:
        sizes([int(float(text)) for text in sys.argv[1:]] or [500_000, 1_000_000, 2_000_000])
