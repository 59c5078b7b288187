"""The bench's other parts: a real lake, seams, time and memory in processes of their own."""

from __future__ import annotations

import dataclasses
import os
import pickle
import resource
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable
from functools import partial
from itertools import product
from pathlib import Path

import anchors
import numpy as np
import pandas as pd
from affine import Affine
from boats import dense_layout, is_spike, merged_blocks, sail
from lakes import UTM, BenchLake, simulated_lake
from ours import by_ours
from scores import Judge, Told, rms

from lakemap.geo.crs import on_crs, working_crs
from lakemap.geo.tracks import cut_passes
from lakemap.grid import GridSettings, field, frame_for
from lakemap.grid.blocks import block_means
from lakemap.grid.field import FieldInterpolator
from lakemap.grid.field_model import FieldParameters
from lakemap.model.frame import GridFrame
from lakemap.model.log_facts import LogFacts
from lakemap.model.observations import Observations
from lakemap.model.soundings import Soundings

ME = Path(__file__)
LEAST_READINGS = 12
DEGREE_M, SHIP_BOX_M, SHIP_PIXEL_M, SHIP_GAP_M, SHIP_SIGMA_M, SHIP_FOLDS = 111_300.0, 100_000.0, 2000.0, 5000.0, 10.0, 3
"""One degree of latitude, half the side of the box, a cell, what ends a track, a sounding's error, folds tried."""
PIXEL_M = 5.0
GROSS_SHARE, SMALL_TILES = 0.01, 40_000
SOUGHT, FACTORS = ("own", "noise", "detail_sd", "detail_m", "rough_sd", "shore_m"), (0.7, 1.4)


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
        _print_told(str(count), rows)
    _ships(Path(folder) / "ship_tracks.csv.xz", methods)


def _ships(path: Path, methods: list[str]) -> None:
    "Ship tracks off a coast: every eighth whole track left out, told from the others."
    obs, frame = _ship_tracks(path)
    tracks = np.unique(obs.pass_id)
    print(f"ship tracks: {len(obs)} soundings in {len(tracks)} tracks, cells of {SHIP_PIXEL_M:g} m; each told from 7/8")
    rows = defaultdict(list)
    for fold in range(SHIP_FOLDS):
        given = ~np.isin(obs.pass_id, tracks[fold::8])
        for tool, told in _tell(obs, frame, given, methods).items():
            rows[tool].append(told)
    _print_told("7/8", rows)


def _print_told(label: str, rows: dict[str, list[tuple]]) -> None:
    for tool, parts in rows.items():
        miss, within, said = (np.concatenate([part[k] for part in parts]) for k in range(3))
        print(f"{label:14s}{tool:14s}{rms(miss):8.3f}{np.mean(within):8.3f}{said.mean():7.3f}", flush=True)


def _ship_tracks(path: Path) -> tuple[Observations, GridFrame]:
    "Soundings of a box with many tracks, on a plane; a track ends where the next row lies far away."
    rows = pd.read_csv(path).drop_duplicates()
    x_m = (rows.longitude - 250.0) * np.cos(np.radians(23.5)) * DEGREE_M + 500_000.0
    xy = np.column_stack([x_m, (rows.latitude - 23.5) * DEGREE_M + 2_600_000.0])
    track = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T) > SHIP_GAP_M)])
    inside = np.abs(xy - [500_000.0, 2_600_000.0]).max(axis=1) < SHIP_BOX_M
    depth = -rows.bathymetry_m.to_numpy()
    keep = [at[~is_spike(depth[at])] for number in np.unique(track[inside])
            if len(at := np.flatnonzero(inside & (track == number))) >= LEAST_READINGS]
    keep = np.concatenate(keep)
    side = int(2 * SHIP_BOX_M / SHIP_PIXEL_M)
    transform = Affine(SHIP_PIXEL_M, 0, 500_000.0 - SHIP_BOX_M, 0, -SHIP_PIXEL_M, 2_600_000.0 + SHIP_BOX_M)
    frame = GridFrame((side, side), transform, UTM, np.ones((side, side), dtype=bool), False)
    return Observations.of("depth_m", xy[keep], depth[keep], SHIP_SIGMA_M, track[keep]), frame


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
        within = np.abs(estimate - out.value) <= 1.96 * np.hypot(sigma, out.sigma)
        judged = np.where(np.isfinite(sigma), within, np.nan)
        said[tool] = (estimate[common] - out.value[common], judged[common], np.isfinite(estimate).astype(float))
    return said


def bound(seeds: list[int], methods: list[str]) -> None:
    "What is lost by not knowing biases and covariance: the same engine given the true biases, and the parameters that "
    "bring it nearest to the truth, sought one by one."
    from bench_surface import FIRST_DENSE_SEED, dense_survey

    print(f"\n{'bound':18s}{'learnt m':>10s}{'true bias m':>13s}{'best parameters m':>19s}{'ratio':>8s}")
    for seed in (FIRST_DENSE_SEED - 1 + seed for seed in seeds):
        judge, survey = Judge.of(simulated_lake(seed)), dense_survey(simulated_lake(seed), seed)
        less = survey.obs.value - survey.bias_m[survey.obs.pass_id]
        levelled = block_means(dataclasses.replace(survey.obs, value=less), PIXEL_M)
        learnt, own = _missed(judge, block_means(survey.obs, PIXEL_M), True, None)
        known, at = _missed(judge, levelled, False, own)
        best = known
        for name, factor in product(SOUGHT, FACTORS):
            other = dataclasses.replace(at, **{name: factor * getattr(at, name)})
            missed = _missed(judge, levelled, False, other)[0]
            if missed < best:
                best, at = missed, other
        print(f"{judge.lake.name:18s}{learnt:10.4f}{known:13.4f}{best:19.4f}{learnt / best:8.3f}", flush=True)


def cover(seeds: list[int], methods: list[str]) -> None:
    "How often the truth lies within what is said, dense surveys; the strip along the shore apart."
    from bench_surface import FIRST_DENSE_SEED, dense_survey

    keys = ("in 50%", "in 80%", "in 95%", "strip 95%", "rmse", "drawn")
    print(f"\n{'dense':18s}" + "".join(f"{key:>11s}" for key in keys))
    rows = []
    for seed, method in product((FIRST_DENSE_SEED - 1 + seed for seed in seeds), methods):
        judge, survey = Judge.of(simulated_lake(seed)), dense_survey(simulated_lake(seed), seed)
        told = by_ours(survey.obs, judge.frame, method, len(survey.lines))
        figures = judge.figures(told, np.isfinite(told.estimate))
        rows.append([figures[key] for key in keys])
        print(f"{judge.lake.name:18s}" + "".join(f"{value:11.3f}" for value in rows[-1]), flush=True)
    for name, summed in (("mean", np.mean), ("least", np.min), ("most", np.max)):
        print(f"{name:18s}" + "".join(f"{value:11.3f}" for value in summed(rows, axis=0)))


def moved(seeds: list[int], methods: list[str]) -> None:
    "What gross errors that cleaning missed do to the map, and what cutting the lake into tiles does."
    from bench_surface import FIRST_DENSE_SEED, dense_survey

    print(f"\n{'moved by':18s}{'what':>14s}{'rmse m':>9s}{'times':>8s}{'in 95%':>8s}{'sigma times':>13s}")
    for seed in (FIRST_DENSE_SEED - 1 + seed for seed in seeds):
        judge, survey = Judge.of(simulated_lake(seed)), dense_survey(simulated_lake(seed), seed)
        rng = np.random.default_rng([seed, 9])
        gross = np.where(rng.random(len(survey.obs)) < GROSS_SHARE, rng.uniform(0.2, 2.0, len(survey.obs)), 1.0)
        spoilt = dataclasses.replace(survey.obs, value=gross * survey.obs.value)
        cases = (("nothing", survey.obs, field.MOST_UNKNOWNS), ("gross errors", spoilt, field.MOST_UNKNOWNS),
                 ("tiles", survey.obs, SMALL_TILES))
        plain = None
        for what, obs, most in cases:
            told = _cut_at(most, partial(by_ours, obs, judge.frame, methods[0], len(survey.lines)))
            plain = plain or told
            figures, before = (judge.figures(one, np.isfinite(plain.estimate)) for one in (told, plain))
            print(f"{judge.lake.name:18s}{what:>14s}{figures['rmse']:9.4f}{figures['rmse'] / before['rmse']:8.4f}"
                  f"{figures['in 95%']:8.3f}{np.median(told.sigma / plain.sigma):13.3f}", flush=True)


def _cut_at(most: int, make: Callable[[], Told]) -> Told:
    "A surface made with at most so many unknowns in a tile."
    usual, field.MOST_UNKNOWNS = field.MOST_UNKNOWNS, most
    try:
        return make()
    finally:
        field.MOST_UNKNOWNS = usual


def _missed(
    judge: Judge, blocks: Observations, biased: bool, given: FieldParameters | None
) -> tuple[float, FieldParameters]:
    "RMSE of the field with the parameters given or learnt, and which these are."
    made = FieldInterpolator(PIXEL_M, False, biased, given).on_frame(judge.frame).fit(blocks)
    return rms(made.predict(judge.frame.water_xy())[0] - judge.truth), made.parameters


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
    "1M soundings on cells of 2 m, each tool in a process of its own; then half the soundings and half the cells."
    lake = simulated_lake(1)
    print(f"\n{'speed':30s}{'tool':16s}{'s':>8s}{'cpu s':>8s}{'peak MB':>9s}{'rmse m':>8s}")
    cases = (("1M soundings", 0.16, 2.0), ("0.5M soundings", 0.32, 2.0), ("1M, half the cells", 0.16, 2.83))
    for label, ping_m, pixel_m in cases:
        survey = sail(lake, dense_layout(lake, 25.0, 150.0, 1), 1, ping_m)
        frame = lake.frame(pixel_m)
        truth = lake.pixel_means(frame)
        others = [tool for tool in ("gmt", "gstat", "linear") if tool not in anchors.missing() and label == cases[0][0]]
        for tool in [*(f"ours {method}" for method in methods), *others]:
            seconds, cpu, memory, estimate = _apart(tool, survey.obs, lake, pixel_m)
            drawn = np.isfinite(estimate)
            print(f"{label + f', {len(survey.obs)}, {len(truth)}':30s}{tool:16s}{seconds:8.2f}{cpu:8.2f}{memory:9.0f}"
                  f"{rms((estimate - truth)[drawn]):8.3f}", flush=True)


def _apart(tool: str, obs: Observations, lake: BenchLake, pixel_m: float) -> tuple[float, float, float, np.ndarray]:
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "job"
        frame = lake.frame(pixel_m)
        given = (obs,) if tool.startswith("ours") else (merged_blocks(obs, pixel_m), lake.shore_points(5.0))
        place.write_bytes(pickle.dumps((tool, frame, given)))
        subprocess.run([sys.executable, str(ME), str(place)], check=True)
        return pickle.loads(place.read_bytes())


def _job(place: Path) -> None:
    tool, frame, given = pickle.loads(place.read_bytes())
    if tool.startswith("ours"):
        (obs,) = given
        by_ours(obs.take(np.arange(0, len(obs), 50)), frame, tool.split()[1], 1)
        begin, spent = time.perf_counter(), _spent()
        estimate = by_ours(obs, frame, tool.split()[1], 1).estimate
    else:
        begin, spent = time.perf_counter(), _spent()
        estimate = anchors.run(tool, given[0], frame, given[1])[0]
    seconds, spent = time.perf_counter() - begin, _spent() - spent
    peak = max(resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    place.write_bytes(pickle.dumps((seconds, spent, peak / 1024, estimate)))


def _spent() -> float:
    "CPU seconds of this process and its children: what a tool takes on a machine that does other work too."
    return sum(used.ru_utime + used.ru_stime for used in map(
        resource.getrusage, (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)))


if __name__ == "__main__":
    _job(Path(sys.argv[1]))
