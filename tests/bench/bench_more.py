"""The bench's other parts: a real lake, seams, time and memory in processes of their own."""

from __future__ import annotations

import os
import pickle
import resource
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from pathlib import Path

import anchors
import numpy as np
import pandas as pd
from boats import dense_layout, is_spike, merged_blocks, sail
from lakes import BenchLake, simulated_lake
from ours import by_ours
from scores import Judge, Told, rms

from lakemap.geo.crs import on_crs, working_crs
from lakemap.geo.tracks import cut_passes
from lakemap.grid import GridSettings, frame_for
from lakemap.model.frame import GridFrame
from lakemap.model.log_facts import LogFacts
from lakemap.model.observations import Observations
from lakemap.model.soundings import Soundings

ME = Path(__file__)
LEAST_READINGS = 12


def real(seeds: list[int], methods: list[str]) -> None:
    "The small real lake: its tracks left out, told from 1, 3, 7 others or from all but one."
    folder = os.environ.get("LAKEMAP_REAL_DATA")
    if not folder:
        print("real lake left out: LAKEMAP_REAL_DATA names no folder")
        return
    obs, frame = _small_lake(Path(folder) / "small_lake_yxz.csv")
    tracks = np.unique(obs.pass_id)
    print(f"\nsmall lake: {len(obs)} soundings in {len(tracks)} tracks; no shoreline, so no zeros for anyone")
    print(f"{'from tracks':14s}{'tool':14s}{'rmse m':>8s}{'in 95%':>8s}{'said':>7s}")
    for count in (1, 3, 7, len(tracks) - 1):
        rows = defaultdict(list)
        for seed in seeds:
            rng = np.random.default_rng([seed, count])
            choices = [np.delete(tracks, k) for k in range(len(tracks))] if count == len(tracks) - 1 else [
                rng.choice(tracks, count, replace=False) for _ in range(2)]
            for chosen in choices:
                for tool, told in _tell(obs, frame, np.isin(obs.pass_id, chosen), methods).items():
                    rows[tool].append(told)
            if count == len(tracks) - 1:
                break
        for tool, parts in rows.items():
            miss, within, said = (np.concatenate([part[k] for part in parts]) for k in range(3))
            print(f"{count:<14d}{tool:14s}{rms(miss):8.3f}{np.mean(within):8.3f}{said.mean():7.3f}")


def _small_lake(path: Path) -> tuple[Observations, GridFrame]:
    rows = pd.read_csv(path)
    rows = rows[(rows.y - rows.y.median()).abs() < 0.02]
    bare = Soundings.build(len(rows), [LogFacts(path.name, has_time=False)], lon_deg=rows.x, lat_deg=rows.y,
                           depth_m=-rows.z, depth_sigma_m=np.full(len(rows), 0.1), time_s=np.arange(len(rows)))
    placed = on_crs(bare, working_crs(bare, None))
    xy = np.column_stack([placed.x_m, placed.y_m])
    number = cut_passes(placed).pass_id
    keep = np.concatenate([np.flatnonzero(number == k)[~is_spike(placed.depth_m[number == k])] for k in
                           np.unique(number) if k >= 0 and np.sum(number == k) >= LEAST_READINGS])
    obs = Observations.of("depth_m", xy[keep], placed.depth_m[keep], 0.1, number[keep])
    return obs, frame_for(placed, None, GridSettings(pixel_m=5.0))


def _tell(obs: Observations, frame: GridFrame, given: np.ndarray, methods: list[str]) -> dict[str, tuple]:
    part, out = obs.take(given), obs.take(~given)
    row, column, inside = frame.pixel_of(out.xy[:, 0], out.xy[:, 1])
    blocks = merged_blocks(part, frame.pixel_m)
    told: dict[str, Told] = {}
    for tool in anchors.TOOLS:
        if tool not in anchors.missing():
            told[tool] = Told(*anchors.run(tool, blocks, frame))
    for method in methods:
        told[f"ours {method}"] = by_ours(part, frame, method, 1)
    common, found = inside & frame.water[row % frame.shape[0], column % frame.shape[1]], {}
    for tool, one in told.items():
        grids = []
        for values in (one.estimate, np.full(len(one.estimate), np.nan) if one.sigma is None else one.sigma):
            grid = np.full(frame.shape, np.nan)
            grid[frame.water] = values
            grids.append(grid[row % frame.shape[0], column % frame.shape[1]])
        found[tool] = grids
        common &= np.isfinite(grids[0])
    said = {}
    for tool, (estimate, sigma) in found.items():
        within = np.abs(estimate - out.value) <= 1.96 * np.hypot(sigma, 0.1)
        judged = np.where(np.isfinite(sigma), within, np.nan)
        said[tool] = (estimate[common] - out.value[common], judged[common], np.isfinite(estimate).astype(float))
    return said


def seams(seeds: list[int], methods: list[str]) -> None:
    "Largest jump of the error from cell to cell, in a world without roughness, where the slope is gentle."
    print(f"\n{'seams':18s}{'tool':16s}{'largest jump m':>16s}")
    for seed in seeds:
        lake = simulated_lake(seed, 0.0)
        judge = Judge.of(lake)
        survey = sail(lake, dense_layout(lake, 25.0, 150.0, seed), seed, 1.6)
        blocks, shore = merged_blocks(survey.obs, 5.0), lake.shore_points(5.0)
        told = {tool: Told(*anchors.run(tool, blocks, judge.frame, shore)) for tool in ("gmt", "gstat", "linear")
                if tool not in anchors.missing()}
        for method in methods:
            told[f"ours {method}"] = by_ours(survey.obs, judge.frame, method, len(survey.lines))
        for tool, one in told.items():
            print(f"{lake.name:18s}{tool:16s}{judge.largest_jump(one):16.3f}")


def speed(seeds: list[int], methods: list[str]) -> None:
    "1M soundings on cells of 2 m, then half the soundings and half the cells; each tool in a process of its own."
    lake = simulated_lake(1)
    print(f"\n{'speed':30s}{'tool':16s}{'s':>8s}{'peak MB':>9s}{'rmse m':>8s}")
    cases = (("1M soundings", 0.16, 2.0), ("0.5M soundings", 0.32, 2.0), ("1M, half the cells", 0.16, 2.83))
    for label, ping_m, pixel_m in cases:
        survey = sail(lake, dense_layout(lake, 25.0, 150.0, 1), 1, ping_m)
        frame = lake.frame(pixel_m)
        truth = lake.pixel_means(frame)
        for tool in [*(f"ours {method}" for method in methods), "gmt", "gstat", "linear"]:
            if tool in anchors.missing():
                continue
            seconds, memory, estimate = _apart(tool, survey.obs, lake, pixel_m)
            drawn = np.isfinite(estimate)
            print(f"{label + f', {len(survey.obs)}, {len(truth)}':30s}{tool:16s}{seconds:8.2f}{memory:9.0f}"
                  f"{rms((estimate - truth)[drawn]):8.3f}", flush=True)


def _apart(tool: str, obs: Observations, lake: BenchLake, pixel_m: float) -> tuple[float, float, np.ndarray]:
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "job"
        frame = lake.frame(pixel_m)
        place.write_bytes(pickle.dumps((tool, obs, frame, merged_blocks(obs, pixel_m), lake.shore_points(5.0))))
        subprocess.run([sys.executable, str(ME), str(place)], check=True)
        return pickle.loads(place.read_bytes())


def _job(place: Path) -> None:
    tool, obs, frame, blocks, shore = pickle.loads(place.read_bytes())
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    if tool.startswith("ours"):
        by_ours(obs.take(np.arange(0, len(obs), 50)), frame, tool.split()[1], 1)
        begin = time.perf_counter()
        estimate = by_ours(obs, frame, tool.split()[1], 1).estimate
    else:
        begin = time.perf_counter()
        estimate = anchors.run(tool, blocks, frame, shore)[0]
    seconds = time.perf_counter() - begin
    peak = max(resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    place.write_bytes(pickle.dumps((seconds, max(peak, before) / 1024, estimate)))


if __name__ == "__main__":
    _job(Path(sys.argv[1]))
