"""Hardness on invented lakes that the classifier was not fitted to, and a million readings against k nearest readings.

Run: python tests/bench/bench_hardness.py [lakes] [first] [confounded] [drawn]   figures on lakes numbered from first;
     drawn: each day's second echo is off by what the stage believes a day may be off
     python tests/bench/bench_hardness.py named [lakes] [first]   how often confounders are named, and how often falsely
     python tests/bench/bench_hardness.py million              speed, memory and accuracy
"""

from __future__ import annotations

import resource
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from affine import Affine
from pyproj import CRS
from scipy.ndimage import distance_transform_edt, gaussian_filter
from scipy.spatial import cKDTree

sys.path.insert(0, str(Path(__file__).parent))

from hardness_world import (
    DAYS,
    LONE_WALL_DEG,
    PIXEL_M,
    STEP_M,
    World,
    lake_frame,
    make_world,
    probe,
    record,
    reflection_of,
    truly_hard,
    truly_soft,
)

from lakemap.grid import GridSettings, make_surface
from lakemap.hardness import HardnessSettings, classify_bottom, read_hardness
from lakemap.hardness.from_echoes import OFFSET_DB
from lakemap.model.frame import Grid, GridFrame
from lakemap.model.hardness_notes import HardnessNote
from lakemap.model.log_facts import LogFacts
from lakemap.model.samples import BottomSamples
from lakemap.model.soundings import Soundings
from lakemap.physics.absorption import absorption_db_per_m
from lakemap.physics.reflection import bottom_loss_db, hardness_index, two_echo_levels_db
from lakemap.read.bottom_words import felt_sigma_phi, grain_of_words
from lakemap.terrain.slope import horn_slope_deg

NEAR_M = 20.0
SETTINGS = HardnessSettings(classes="standard")
FIRST_UNSEEN = 5001
"""Lakes below this number were looked at while the classifier was made."""
METHOD = "kriging"


def samples_of(world, number: int, n: int) -> BottomSamples:
    "Probed places as a file of samples would give them, on the working CRS."
    if n == 0:
        return BottomSamples.none()
    probed = probe(world, number, n)
    sizes = np.array([grain_of_words(word) for word in probed.word])
    sigma = np.hypot(sizes[:, 1], felt_sigma_phi("pole"))
    nowhere = np.full(n, np.nan)
    made = BottomSamples.of((nowhere, nowhere), probed.word, ("pole",) * n, (sizes[:, 0], sigma), np.arange(n) + 2)
    return BottomSamples(**{**made.__dict__, "x_m": probed.x_m, "y_m": probed.y_m})


@dataclass(frozen=True)
class Judged:
    "Cells within NEAR_M of a reading: probability of hard, called soft or not, truth, and where they lie."

    hard: np.ndarray
    called_soft: np.ndarray
    truly_hard: np.ndarray
    truly_soft: np.ndarray
    on_slope: np.ndarray
    short_range: np.ndarray
    in_doubt: np.ndarray
    rmse: float
    told_right: float


@dataclass(frozen=True)
class Sailed:
    "One lake as recorded, with the slope of its depth surface under each row, as the pipeline hands it in."

    number: int
    world: World
    soundings: Soundings
    slope_deg: np.ndarray


def sailed(number: int, confounders: bool, method: str, drawn: bool = False) -> Sailed:
    "Lake, recording and depth surface."
    world = make_world(number, confounders)
    soundings = record(world, number)
    if drawn:
        off = OFFSET_DB["told"] * np.random.default_rng([number, 9]).standard_normal(len(DAYS))
        soundings = soundings.with_columns(second_echo_db=soundings.second_echo_db - off[soundings.log])
    depth = make_surface(soundings.observed("depth_m"), lake_frame(), GridSettings(method=method))
    slope = Grid(depth.frame, horn_slope_deg(depth.estimate.values.astype(float), PIXEL_M), "slope_deg", "deg")
    return Sailed(number, world, soundings, slope.at(soundings.x_m, soundings.y_m))


def map_of(lake: Sailed, n: int, method: str):
    "The stage's own way from soundings to classes with n samples."
    read = read_hardness(lake.soundings, SETTINGS, samples_of(lake.world, lake.number, n), lake.slope_deg)
    surface = make_surface(read.soundings.observed("hardness"), lake_frame(), GridSettings(method=method))
    bottom, widened = classify_bottom(surface, read.soundings, read.calibration, SETTINGS)
    return read.soundings, widened, bottom


def judge(lake: Sailed, n: int, method: str = METHOD) -> Judged:
    "One lake, n samples."
    world, frame = lake.world, lake_frame()
    soundings, surface, bottom = map_of(lake, n, method)
    read = np.isfinite(soundings.hardness)
    x_m, y_m = np.meshgrid(*frame.centres())
    at = np.column_stack([x_m.ravel(), y_m.ravel()])
    xy = np.column_stack([soundings.x_m, soundings.y_m])
    judged = (cKDTree(xy[read]).query(at)[0] <= NEAR_M).reshape(frame.shape) & np.isfinite(bottom.doubt.values)
    slope = world.pixel_mean(world.slope_deg) > LONE_WALL_DEG
    band = (y_m - y_m.min() > DAYS[0].skip_m[0]) & (y_m - y_m.min() < DAYS[0].skip_m[1])
    planted = np.zeros(frame.shape, dtype=bool)
    for where in world.confounded.values():
        planted |= world.pixel_mean(where.astype(float)) > 0.9
    probability = np.stack([grid.values for grid in bottom.probability])
    left_out = surface.left_out
    return Judged(
        probability[2][judged], (probability.argmax(axis=0) == 0)[judged], truly_hard(world)[judged],
        truly_soft(world)[judged], slope[judged], band[judged], planted[judged],
        left_out.rmse if left_out else float("nan"), float("nan") if bottom.accuracy is None else bottom.accuracy,
    )


def balanced(told: Judged) -> float:
    "Mean of the shares of hard and of other cells that are called so."
    called = told.hard > 0.5
    return float((called[told.truly_hard].mean() + (~called[~told.truly_hard]).mean()) / 2.0)


def false_soft(told: list[Judged], where: list[np.ndarray]) -> float:
    "Share of cells that are not soft, of those meant, that are called soft."
    called = np.concatenate([one.called_soft[w & ~one.truly_soft] for one, w in zip(told, where, strict=True)])
    return float(called.mean())


def reliability(told: list[Judged]) -> list[tuple[float, float, int]]:
    "By decile of the probability of hard: mean stated, share true, cells; lakes pooled."
    stated = np.concatenate([one.hard for one in told])
    truth = np.concatenate([one.truly_hard for one in told])
    tenth = np.clip((stated * 10).astype(int), 0, 9)
    return [(float(stated[tenth == k].mean()), float(truth[tenth == k].mean()), int((tenth == k).sum()))
            for k in range(10) if (tenth == k).any()]


def figures(numbers: range, confounders: bool = False, method: str = METHOD, drawn: bool = False
            ) -> dict[int, list[Judged]]:
    "All lakes at 12, 3 and no samples, printed and given back."
    out: dict[int, list[Judged]] = {12: [], 3: [], 0: []}
    for number in numbers:
        lake = sailed(number, confounders, method, drawn)
        for n, judged in out.items():
            judged.append(judge(lake, n, method))
    for n, told in out.items():
        scores = [balanced(one) for one in told]
        plain = [~one.on_slope & ~one.short_range for one in told]
        off = [abs(stated - true) for stated, true, cells in reliability(told) if cells >= 200]
        print(f"\n{n} samples, {len(told)} lakes: balanced accuracy mean {np.mean(scores):.3f}, "
              f"least {min(scores):.3f}")
        print("  stated and true share of hard by decile: "
              + "  ".join(f"{stated:.2f}/{true:.2f} ({cells})" for stated, true, cells in reliability(told)))
        print(f"  farthest off in a decile with 200 cells: {max(off):.3f}")
        print(f"  called soft though not: elsewhere {false_soft(told, plain):.4f}, on the slope "
              f"{false_soft(told, [one.on_slope for one in told]):.4f}, where only the short range went "
              f"{false_soft(told, [one.short_range & ~one.on_slope for one in told]):.4f}")
        print(f"  passes held back: RMSE {np.mean([one.rmse for one in told]):.3f}; samples left out told right "
              f"{np.nanmean([one.told_right for one in told] or [np.nan]) if n else float('nan'):.2f}")
        if confounders:
            sure = np.concatenate([np.maximum(one.hard, 1 - one.hard)[one.in_doubt] for one in told])
            wrong = np.concatenate([((one.hard > 0.5) != one.truly_hard)[one.in_doubt] for one in told])
            print(f"  where confounders lie: mean sureness {sure.mean():.2f}; wrong and more than 0.8 sure "
                  f"{np.mean(wrong & (sure > 0.8)):.3f} of cells")
    return out


PLANTED = {"gas": HardnessNote.gas, "boulders": HardnessNote.scatter, "silt over rock": HardnessNote.layered}


def told_of(numbers: range) -> dict[str, tuple[list[float], list[float]]]:
    """What is named, by confounder: share of the rows over each lake's planted disc that carry its note, and share of
    the rows that carry it on the same lake without any. Slopes are the true ones."""
    out: dict[str, tuple[list[float], list[float]]] = {name: ([], []) for name in (*PLANTED, "gas with mud all round")}
    for number in numbers:
        for planted in (True, False):
            world = make_world(number, planted)
            rows = record(world, number)
            slope = world.at(world.slope_deg, rows.x_m, rows.y_m)
            found = read_hardness(rows, SETTINGS, None, slope).soundings
            read = np.isfinite(found.hardness)
            for name, note in PLANTED.items():
                noted = (found.hardness_notes & np.uint32(note.value)) != 0
                if not planted:
                    out[name][1].append(float(noted[read].mean()))
                    continue
                disc = world.confounded[name]
                told = float(noted[read & (world.at(disc.astype(float), rows.x_m, rows.y_m) > 0.9)].mean())
                out[name][0].append(told)
                if name == "gas" and _soft_round(world, disc) > 0.7:
                    out["gas with mud all round"][0].append(told)
    return out


def _soft_round(world: World, disc: np.ndarray) -> float:
    "Share of truly soft floor within 30 m round a planted disc."
    away = distance_transform_edt(~disc) * STEP_M
    return float((reflection_of(world.phi) < 0.1)[(away > 0) & (away <= 30.0)].mean())


def print_told(numbers: range) -> None:
    "How often each confounder is named, and how often it is where there is none."
    for name, (told, false) in told_of(numbers).items():
        clean = f"; named in {np.mean(false):.4f} of all rows of lakes without any" if false else ""
        print(f"{name}: named in {np.mean(told):.2f} of the rows over it, in {np.mean(np.array(told) > 0.5):.2f} of "
              f"{len(told)} lakes over half of it{clean}")


BIG_WIDTH_M, BIG_HEIGHT_M, BIG_PIXEL_M = 4000.0, 2500.0, 10.0


def big_lake():
    "A million rows on 500 passes 5 m apart over 4 km: reflection on a lattice of 10 m, and that lattice."
    rng = np.random.default_rng(7)
    shape = (int(BIG_HEIGHT_M / BIG_PIXEL_M), int(BIG_WIDTH_M / BIG_PIXEL_M))
    rough = gaussian_filter(rng.standard_normal(shape), 6.0)
    phi = 2.5 + 3.5 * np.tanh(2.0 * rough / rough.std())
    depth = 8.0 + 2.0 * gaussian_filter(rng.standard_normal(shape), 25.0) * 25.0
    x = np.tile(np.linspace(1.0, BIG_WIDTH_M - 1.0, 2000), 500)
    y = np.repeat(np.linspace(2.0, BIG_HEIGHT_M - 2.0, 500), 2000)
    at = (shape[0] - 1 - (y / BIG_PIXEL_M).astype(int), (x / BIG_PIXEL_M).astype(int))
    reflection, deep = reflection_of(phi), np.clip(depth, 2.0, 30.0)
    first, second = two_echo_levels_db(deep[at], reflection[at], absorption_db_per_m(200.0, 16.0), 0.0, "20logR")
    noise = 1.8 * rng.standard_normal((2, len(x)))
    rows = Soundings.build(
        len(x), [LogFacts("big.csv", gain_law="20logR", frequency_khz=200.0, beam_deg=20.0)], x_m=x, y_m=y,
        time_s=np.arange(len(x)), pass_id=np.repeat(np.arange(500), 2000), depth_m=deep[at], logged_depth_m=deep[at],
        first_echo_db=150.0 + first + noise[0], second_echo_db=150.0 + second + noise[1], water_c=np.full(len(x), 16.0),
        display_range_m=np.full(len(x), 100.0),
    )
    transform = Affine(BIG_PIXEL_M, 0, 0, 0, -BIG_PIXEL_M, BIG_HEIGHT_M)
    frame = GridFrame(shape, transform, CRS.from_epsg(32632), np.ones(shape, dtype=bool), True)
    return rows, frame, hardness_index(bottom_loss_db(reflection))


def peak_mb() -> float:
    "Highest memory of this process so far."
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def gaussian_process(observed, frame, truth) -> None:
    "scikit-learn's own kriging on every 800th reading: all of them would need a matrix of a million squared."
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import RBF, ConstantKernel, WhiteKernel

    start = time.perf_counter()
    some = slice(None, None, 800)
    kernel = ConstantKernel(0.1) * RBF(60.0, (10.0, 500.0)) + WhiteKernel(0.005)
    process = GaussianProcessRegressor(kernel, normalize_y=True).fit(observed.xy[some], observed.value[some])
    told, sigma = (part.reshape(frame.shape) for part in process.predict(frame.water_xy(), return_std=True))
    within = np.mean(np.abs(told - truth) <= 1.96 * sigma)
    print(f"scikit-learn, Gaussian process on {len(observed.value[some])}: {time.perf_counter() - start:.1f} s, peak "
          f"{peak_mb():.0f} MB, RMSE {np.sqrt(np.mean((told - truth) ** 2)):.4f}, within 1.96 sigma {within:.2f}",
          flush=True)


def million() -> None:
    "A million readings to a hardness surface, beside k nearest readings of the same hardness."
    from sklearn.neighbors import KNeighborsRegressor

    rows, frame, truth = big_lake()
    print(f"{len(rows)} rows, {truth.size} pixels of {frame.pixel_m:g} m; memory with the rows {peak_mb():.0f} MB")
    start = time.perf_counter()
    read = read_hardness(rows, HardnessSettings(wind_mps=0.0))
    print(f"levels to hardness: {time.perf_counter() - start:.1f} s, peak {peak_mb():.0f} MB")
    observed = read.soundings.observed("hardness")
    start = time.perf_counter()
    nearest = KNeighborsRegressor(n_neighbors=32, weights="distance", n_jobs=1).fit(observed.xy, observed.value)
    told = nearest.predict(frame.water_xy()).reshape(frame.shape)
    off = told - truth
    print(f"scikit-learn, 32 nearest: {time.perf_counter() - start:.1f} s, peak {peak_mb():.0f} MB, RMSE "
          f"{np.sqrt(np.mean(off**2)):.4f}, no error told")
    gaussian_process(observed, frame, truth)
    for method in ("field", "kriging"):
        start = time.perf_counter()
        surface = make_surface(observed, frame, GridSettings(method=method))
        seconds = time.perf_counter() - start
        off = surface.estimate.values - truth
        within = np.nanmean(np.abs(off) <= 1.96 * surface.sigma.values)
        print(f"ours, {surface.method}: {seconds:.1f} s, peak {peak_mb():.0f} MB, RMSE "
              f"{np.sqrt(np.nanmean(off**2)):.4f}, within 1.96 sigma {within:.2f}", flush=True)
    start = time.perf_counter()
    bottom, _ = classify_bottom(surface, read.soundings, read.calibration, SETTINGS)
    print(f"classes and {len(bottom.edges)} edges: {time.perf_counter() - start:.1f} s")


def asked(words: list[str]) -> range:
    "Lakes as given on the command line: how many, and the first."
    numbers = [int(word) for word in words if word.isdigit()]
    first = numbers[1] if len(numbers) > 1 else FIRST_UNSEEN
    return range(first, first + (numbers[0] if numbers else 20))


if __name__ == "__main__":
    start, words = time.perf_counter(), sys.argv[1:]
    if "million" in words:
        million()
    elif "named" in words:
        print_told(asked(words))
    else:
        figures(asked(words), confounders="confounded" in words, drawn="drawn" in words)
    print(f"\n{time.perf_counter() - start:.0f} s, peak memory {peak_mb():.0f} MB")
