"""Five passes over invented lakes with an old contour map (zero off by 0.4 m, lines off by 15 m) and without it.
Run: python tests/bench/bench_prior.py [lakes]
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import contourpy
import numpy as np
from scipy.ndimage import gaussian_filter
from scipy.spatial import cKDTree

sys.path.insert(0, str(Path(__file__).parents[1]))

from rough_lake import ORIGIN_X, ORIGIN_Y, STEP_M, rough_lake

from lakemap.geo.crs import unproject
from lakemap.grid import GridSettings, make_surface
from lakemap.grid.with_prior import hold_up
from lakemap.model.observations import Observations
from lakemap.model.prior import DepthPrior, DepthPriors
from lakemap.model.soundings import PassBias

ZERO_M, SHIFT_M, CONTOUR_M = 0.4, 15.0, 2.0
FIRST_SEED = 50


def five_passes(lake, rng) -> Observations:
    middle = np.array([ORIGIN_X + lake.half_x, ORIGIN_Y + lake.half_y])
    parts = []
    for number in range(5):
        course = rng.uniform(0, np.pi)
        place = middle + rng.uniform(-0.5, 0.5, 2) * [lake.half_x, lake.half_y]
        xy = place + np.arange(-900, 900, 3.0)[:, None] * np.array([np.cos(course), np.sin(course)])
        xy = xy[lake.inside(xy[:, 0], xy[:, 1])]
        depth = lake.depth_at(xy[:, 0], xy[:, 1])
        value = depth + (0.05 + 0.01 * depth) * rng.standard_normal(len(xy)) + 0.1 * rng.standard_normal()
        parts.append((xy + rng.normal(0, 0.7, xy.shape), value, np.full(len(xy), number)))
    xy, value, number = (np.concatenate(column) for column in zip(*parts, strict=True))
    return Observations.of("depth_m", xy, value, 0.05 + 0.01 * value, number)


def old_map(lake, frame, rng) -> DepthPriors:
    turn = rng.uniform(0, 2 * np.pi)
    smooth = gaussian_filter(lake.depth_m, 20 / STEP_M)
    x, y = ORIGIN_X + np.arange(smooth.shape[1]) * STEP_M, ORIGIN_Y + np.arange(smooth.shape[0]) * STEP_M
    generator = contourpy.contour_generator(x, y, smooth)
    levels = np.arange(CONTOUR_M, smooth.max(), CONTOUR_M)
    lines = [(level, line) for level in levels for line in generator.lines(level)]
    places = np.concatenate([line[::4] for _, line in lines]) + SHIFT_M * np.array([np.cos(turn), np.sin(turn)])
    depths = np.concatenate([np.full(len(line[::4]), level + ZERO_M) for level, line in lines])
    lon, lat = unproject(frame.crs, *places.T)
    return DepthPriors((DepthPrior(lon, lat, depths, "old map"),))


def main(lakes: int) -> None:
    print("lake  RMSE away from passes: without, with, ratio; on them: without, with; away within 1.96 sigma; seconds")
    rows = []
    for seed in range(FIRST_SEED, FIRST_SEED + lakes):
        lake, rng = rough_lake(seed), np.random.default_rng(seed)
        frame = lake.frame(5.0)
        obs, settings = five_passes(lake, rng), GridSettings(method="field")
        unknown = PassBias(np.arange(5, dtype=np.int32), np.zeros(5), np.full(5, 0.15))
        plain = make_surface(obs, frame, settings, unknown)
        start = time.perf_counter()
        helped = hold_up(plain, obs, frame, settings, old_map(lake, frame, rng))
        took = time.perf_counter() - start
        away, truth = cKDTree(obs.xy).query(frame.water_xy())[0], lake.pixel_means(frame)
        error = [one.estimate.values[frame.water] - truth for one in (plain, helped)]
        far = [float(np.sqrt(np.nanmean(one[away > 30] ** 2))) for one in error]
        near = [float(np.sqrt(np.nanmean(one[away < 5] ** 2))) for one in error]
        inside = np.mean((np.abs(error[1]) < 1.96 * helped.sigma.values[frame.water])[away > 30])
        rows.append([far[1] / far[0], near[1] / near[0], inside])
        print(f"{seed:4d}  {far[0]:.3f}  {far[1]:.3f}  {rows[-1][0]:.2f}    {near[0]:.3f}  {near[1]:.3f}    "
              f"{inside:.3f}    {took:.1f}", flush=True)
    ratio, beside, inside = np.array(rows).T
    print(f"geometric mean of ratios {np.exp(np.log(ratio).mean()):.2f} (worst {ratio.max():.2f}); on passes "
          f"{np.exp(np.log(beside).mean()):.2f} (worst {beside.max():.2f}); within 1.96 sigma {inside.mean():.3f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10)
