"""Side by side on invented lakes: our surfaces, SciPy's linear triangulation of the same blocks, GSTools' ordinary
kriging where it is installed (global, so on a thinned part). Prints time, accuracy, coverage and memory.

Run: python tests/bench/bench_grid.py [number of lakes]
"""

from __future__ import annotations

import resource
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from rough_lake import rough_lake, survey

from lakemap.geo.crossovers import find_crossovers
from lakemap.geo.pass_bias import solve_pass_bias
from lakemap.grid import GridSettings, make_surface
from lakemap.grid.blocks import block_means
from lakemap.grid.linear import linear_value
from lakemap.model.frame import GridFrame
from lakemap.model.observations import Observations
from lakemap.model.soundings import PassBias, Soundings

THINNED_FOR_GSTOOLS = 500


def bias_of(obs: Observations) -> PassBias:
    "Pass biases as the pipeline solves them, from crossovers."
    rows = Soundings.build(
        len(obs), x_m=obs.xy[:, 0], y_m=obs.xy[:, 1], depth_m=obs.value, depth_sigma_m=obs.sigma, pass_id=obs.pass_id,
        time_s=np.arange(len(obs)),
    )
    return solve_pass_bias(find_crossovers(rows))


def by_gstools(blocks: Observations, at: np.ndarray) -> np.ndarray | None:
    "Ordinary kriging with GSTools' own fit on every k-th block; None without GSTools."
    try:
        import gstools
    except ImportError:
        return None
    some = blocks.take(np.arange(0, len(blocks), max(1, len(blocks) // THINNED_FOR_GSTOOLS)))
    x, y = (some.xy - some.xy.mean(axis=0)).T
    edges = np.linspace(0, 300, 21)
    model = gstools.Exponential(dim=2)
    model.fit_variogram(*gstools.vario_estimate((x, y), some.value, edges, mesh_type="unstructured"), nugget=True)
    krige = gstools.krige.Ordinary(model, (x, y), some.value, exact=False)
    return np.asarray(krige((at - some.xy.mean(axis=0)).T, return_var=False))


Told = dict[str, tuple[float, np.ndarray, np.ndarray | None]]


def judge(frame: GridFrame, obs: Observations) -> Told:
    "Seconds, estimate and sigma on the water pixels by tool."
    at, water = frame.water_xy(), frame.water
    blocks = block_means(obs, frame.pixel_m)

    def ours(method: str, bias: PassBias | None) -> Callable[[], tuple[np.ndarray, np.ndarray]]:
        def make() -> tuple[np.ndarray, np.ndarray]:
            surface = make_surface(obs, frame, GridSettings(method=method), bias)
            return surface.estimate.values[water].astype(float), surface.sigma.values[water].astype(float)

        return make

    tools: dict[str, Callable[[], tuple[np.ndarray | None, np.ndarray | None]]] = {
        "scipy linear": lambda: (linear_value(blocks, at), None),
        "gstools, thinned": lambda: (by_gstools(blocks, at), None),
        "ours linear": ours("linear", None),
        "ours kriging, no bias solved": ours("kriging", PassBias.none()),
        "ours kriging": ours("kriging", bias_of(obs)),
    }
    told = {}
    for name, run in tools.items():
        start = time.perf_counter()
        estimate, sigma = run()
        if estimate is not None:
            told[name] = (time.perf_counter() - start, estimate, sigma)
    return told


def main(lakes: int) -> None:
    "All lakes at three spacings."
    for spacing_m in (30.0, 60.0, 150.0):
        table: dict[str, list[tuple[float, ...]]] = {}
        for seed in range(1, lakes + 1):
            lake = rough_lake(seed)
            frame, obs = lake.frame(), survey(lake, seed, spacing_m, ties=3 if spacing_m < 100 else 1)
            truth, told = lake.pixel_means(frame), judge(frame, obs)
            drawn = np.all([np.isfinite(estimate) for _, estimate, _ in told.values()], axis=0)
            base = rms((told["scipy linear"][1] - truth)[drawn])
            for name, (seconds, estimate, sigma) in told.items():
                error = estimate - truth
                known = np.isfinite(estimate)
                within = np.nan if sigma is None else np.mean(np.abs(error[known]) <= 1.96 * sigma[known])
                figures = (seconds, rms(error[drawn]), rms(error[drawn]) / base, float(within), known.mean())
                table.setdefault(name, []).append(figures)
        print(f"\npasses {spacing_m:g} m apart, {lakes} lakes, {int(frame.water.sum())} pixels of {frame.pixel_m:g} m, "
              f"{len(obs)} soundings")
        print(f"{'':30s}{'s':>8s}{'RMSE m':>8s}{'ratio':>8s}{'worst':>8s}{'in 1.96':>9s}{'drawn':>8s}")
        for name, figures in table.items():
            seconds, error, ratio, within, share = np.mean(figures, axis=0)
            worst = np.max([row[2] for row in figures])
            print(f"{name:30s}{seconds:8.2f}{error:8.3f}{ratio:8.3f}{worst:8.3f}{within:9.3f}{share:8.3f}")
    print(f"\npeak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


def rms(values: np.ndarray) -> float:
    "Root mean square."
    return float(np.sqrt(np.mean(values**2)))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 4)
