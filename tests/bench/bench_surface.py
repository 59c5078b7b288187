"""Surfaces against the truth and against other tools, all given the same soundings after one spike filter.

Run: python tests/bench/bench_surface.py [PART] [seeds] [methods, by commas], PART one of all, dense, cover, moved,
bound, sparse, real, seams, speed, quick
"""

from __future__ import annotations

import sys
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from functools import partial
from itertools import product

import anchors
import numpy as np
from boats import DENSE_LAYOUTS, Survey, dense_layout, layout, merged_blocks, sail
from lakes import HELD_BACK, BenchLake, flooded_lake, flooded_names, simulated_lake
from ours import by_ours
from scores import Judge, Told, bias_left, geometric_mean

PASSES = (1, 3, 7, 15)
SIMULATED = "simulated"
DENSE_SPACING_M, DENSE_TIES_M, DENSE_PING_M = 25.0, 150.0, 1.6
FIRST_DENSE_SEED = 101
"""The dense lakes before it were looked at while the model was made."""
UNSEEN_EVERY = 8
SEEDS = {"dense": 10, "cover": 20, "moved": 5, "bound": 3, "sparse": 4, "real": 6, "seams": 3, "speed": 1, "quick": 1}
"""Seeds of each part where none are asked for: those of the figures in DEVELOPERS.md."""
SPARSE_PIXEL_M = 10.0
Rows = dict[str, list[dict[str, float]]]


def by_anchors(
    survey: Survey, judge: Judge, shore_every_m: float, skip: tuple[str, ...] = ()
) -> Iterator[tuple[str, Told]]:
    "Every anchor that is here but for ``skip``, with zeros at the shore and without."
    blocks = merged_blocks(survey.obs, judge.frame.pixel_m)
    shore = judge.lake.shore_points(shore_every_m)
    for tool, zeros in product(anchors.TOOLS, (False, True)):
        if tool in anchors.missing() or tool in skip or (tool == "mean" and zeros):
            continue
        begin = time.perf_counter()
        estimate, sigma = anchors.run_once(tool, blocks, judge.frame, shore if zeros else None)
        yield f"{tool}{' 0' if zeros else ''}", Told(estimate, sigma, time.perf_counter() - begin)


def judged(told: dict[str, Told], judge: Judge, unseen: np.ndarray | None = None) -> dict[str, dict[str, float]]:
    "Figures of every tool on the cells that all of them draw."
    common = np.all([np.isfinite(one.estimate) for one in told.values()], axis=0)
    return {name: judge.figures(one, common, unseen) for name, one in told.items()}


def dense_survey(lake: BenchLake, seed: int) -> Survey:
    "100k soundings; the layouts in turn."
    lines = dense_layout(lake, DENSE_SPACING_M, DENSE_TIES_M, seed, DENSE_LAYOUTS[seed % len(DENSE_LAYOUTS)])
    return sail(lake, lines, seed, DENSE_PING_M)


def dense(seeds: list[int], methods: list[str]) -> None:
    "100k soundings on the simulated lake; every eighth pass is held back and judged apart."
    rows: Rows = defaultdict(list)
    for seed in (FIRST_DENSE_SEED - 1 + seed for seed in seeds):
        lake = simulated_lake(seed)
        judge = Judge.of(lake)
        survey = dense_survey(lake, seed)
        lines = survey.lines
        held = np.arange(len(lines)) % UNSEEN_EVERY == 3
        part = survey.obs.take(~held[survey.obs.pass_id])
        some = Survey(part, survey.bias_m, lines)
        unseen = _cells_of(survey.obs.xy[held[survey.obs.pass_id]], judge)
        told, again = (dict(by_anchors(one, judge, 5.0, ("mean", "spline"))) for one in (survey, some))
        for method in methods:
            told[f"ours {method}"] = by_ours(survey.obs, judge.frame, method, len(lines))
            again[f"ours {method}"] = by_ours(part, judge.frame, method, len(lines))
        figures = judged(told, judge)
        for name, one in judged(again, judge, unseen).items():
            figures[name]["unseen"] = one["unseen"]
        for name, one in told.items():
            if one.bias_m is not None:
                figures[name]["bias left"] = bias_left(one.bias_m, survey.bias_m)
            rows[name].append(figures[name])
        print(f"  {lake.name}: {len(survey.obs)} soundings, {len(lines)} passes, {len(judge.truth)} cells", flush=True)
    table(f"dense, {len(seeds)} lakes", rows, ["gstat 0", "gmt 0", "linear 0"])


def _cells_of(xy: np.ndarray, judge: Judge) -> np.ndarray:
    row, column, inside = judge.frame.pixel_of(xy[:, 0], xy[:, 1])
    seen = np.zeros(judge.frame.shape, dtype=bool)
    seen[row[inside], column[inside]] = True
    return seen[judge.frame.water]


def sparse(seeds: list[int], methods: list[str], names: list[str] | None = None) -> None:
    "Few passes: every lake and number of passes, the layouts in turn."
    cases: dict[int, dict[str, Rows]] = {n: defaultdict(lambda: defaultdict(list)) for n in PASSES}
    for seed, name, passes, kind in sparse_cases(seeds, names):
        judge, survey = sparse_case(seed, name, passes, kind)
        told = dict(by_anchors(survey, judge, 10.0))
        for method in methods:
            told[f"ours {method}"] = by_ours(survey.obs, judge.frame, method, passes)
        for tool, figures in judged(told, judge).items():
            cases[passes][f"{name} {kind}"][tool].append(figures)
    for passes, by_case in cases.items():
        sparse_table(passes, by_case)
        apart = {name: rows for name, rows in by_case.items() if name.startswith(HELD_BACK)}
        if apart:
            print(f"  of these the lake held back from all tuning:\n{_ratios(apart, _best(by_case))}")


def sparse_cases(seeds: list[int], names: list[str] | None = None) -> Iterator[tuple[int, str, int, str]]:
    "Seed, lake, number of passes and layout of each case; in four seeds each lake meets each layout."
    for seed in seeds:
        for k, name in enumerate([SIMULATED, *flooded_names(True)]):
            for j, passes in enumerate(PASSES):
                if names is None or name in names:
                    yield seed, name, passes, "EIZP"[(seed + k + j) % 4]


def sparse_case(seed: int, name: str, passes: int, kind: str) -> tuple[Judge, Survey]:
    "Truth and soundings of one case."
    lake = simulated_lake(seed) if name == SIMULATED else flooded_lake(name)
    judge = Judge.of(lake, SPARSE_PIXEL_M)
    return judge, sail(lake, layout(lake, kind, passes, seed), seed)


def sparse_table(passes: int, by_case: dict[str, Rows]) -> None:
    "Against the anchor that is best over all cases at this number of passes."
    tools, mean, best = list(next(iter(by_case.values()))), _means(by_case), _best(by_case)
    print(f"\n{passes} passes, {sum(len(case[best]) for case in by_case.values())} cases; best anchor: {best}")
    print(f"{'':16s}{'rmse m':>8s}{'ratio':>7s}{'lake':>7s}{'case':>7s}{'in 50%':>8s}{'in 80%':>8s}{'in 95%':>8s}"
          f"{'least':>7s}{'strip':>7s}{'drawn':>7s}{'s':>7s}")
    for tool in sorted(tools, key=mean.__getitem__):
        ratio = {name: [one["rmse"] / other["rmse"] for one, other in zip(case[tool], case[best], strict=True)]
                 for name, case in by_case.items()}
        lakes = defaultdict(list)
        for name, values in ratio.items():
            lakes[name[:-2]] += values
        worst_lake = max(lakes, key=lambda name: geometric_mean(lakes[name]))
        worst = max(ratio, key=lambda name: max(ratio[name]))
        rows = [one for case in by_case.values() for one in case[tool]]
        print(f"{tool:16s}{np.mean([one['rmse'] for one in rows]):8.3f}{mean[tool] / mean[best]:7.3f}"
              f"{geometric_mean(lakes[worst_lake]):7.3f}{max(ratio[worst]):7.3f}" + _coverage(rows)
              + f"{np.mean([one['drawn'] for one in rows]):7.3f}{np.mean([one['s'] for one in rows]):7.2f}"
              + (f"  worst: {worst_lake}, {worst}" if tool.startswith("ours") else ""))


def _means(by_case: dict[str, Rows]) -> dict[str, float]:
    "Geometric mean of each tool's RMSE."
    tools = next(iter(by_case.values()))
    return {tool: geometric_mean([one["rmse"] for case in by_case.values() for one in case[tool]]) for tool in tools}


def _best(by_case: dict[str, Rows]) -> str:
    mean = _means(by_case)
    return min((tool for tool in mean if not tool.startswith("ours")), key=mean.__getitem__)


def _ratios(by_case: dict[str, Rows], best: str) -> str:
    mean = _means(by_case)
    return "\n".join(f"  {tool:14s}{mean[tool]:8.3f}{mean[tool] / mean[best]:7.3f}" for tool in mean
                     if tool == best or tool.startswith("ours"))


def _coverage(rows: list[dict[str, float]]) -> str:
    if "in 95%" not in rows[0]:
        return " " * 38
    mean = [np.mean([one[key] for one in rows]) for key in ("in 50%", "in 80%", "in 95%")]
    least, strip = min(one["in 95%"] for one in rows), np.nanmean([one["strip 95%"] for one in rows])
    return "".join(f"{value:8.3f}" for value in mean) + f"{least:7.3f}{strip:7.3f}"


def table(title: str, rows: Rows, against: list[str]) -> None:
    "Mean of every figure by tool, then ratios of RMSE and others to each anchor: geometric mean and worst."
    keys = sorted({key for values in rows.values() for one in values for key in one})
    print(f"\n{title}\n{'':18s}" + "".join(f"{key:>15s}" for key in keys))
    for tool, values in rows.items():
        print(f"{tool:18s}" + "".join(
            f"{np.mean([one[key] for one in values]):15.3f}" if key in values[0] else f"{'-':>15s}" for key in keys))
    for other in against:
        if other not in rows:
            continue
        for key in ("rmse", "unseen", "crps", "peninsula p99"):
            both = [name for name in rows if key in rows[name][0] and key in rows[other][0]]
            for tool in (name for name in both if name.startswith("ours")):
                ratio = [one[key] / base[key] for one, base in zip(rows[tool], rows[other], strict=True)]
                print(f"  {tool} / {other}, {key}: {geometric_mean(ratio):.3f}, worst {max(ratio):.3f}")
    for tool in (tool for tool in rows if "in 95%" in rows[tool][0]):
        within = [one["in 95%"] for one in rows[tool]]
        print(f"  {tool}: within 1.96 sigma {np.mean(within):.3f}, from {min(within):.3f} to {max(within):.3f}")


def main(words: list[str]) -> None:
    "What the command line asks for."
    from bench_more import bound, cover, moved, real, seams, speed

    what = words[0] if words else "dense"
    methods = words[2].split(",") if len(words) > 2 else ["field"]
    for tool, why in anchors.missing().items():
        print(f"{tool} left out: {why}")
    parts: dict[str, Callable[[list[int], list[str]], None]] = {
        "dense": dense, "cover": cover, "moved": moved, "bound": bound, "sparse": sparse, "real": real,
        "seams": seams, "speed": speed,
        "quick": partial(sparse, names=["forked", "bays", "dam"]),
    }
    for part in ("dense", "cover", "moved", "bound", "sparse", "real", "seams", "speed") if what == "all" else (what,):
        count = int(words[1]) if len(words) > 1 else SEEDS[part]
        parts[part](list(range(1, count + 1)), methods)


if __name__ == "__main__":
    main(sys.argv[1:])
