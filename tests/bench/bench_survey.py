"""Planned lines beside the best mown lawn, random lines and a long search, from five uneven passes on invented lakes.

Gains are shares of the error variance before. The long search starts from the plan and from random lines and exchanges
lines by simulated annealing. What is driven reads the true floor, and its gain is the share of the map's true squared
error that goes. Run: python tests/bench/bench_survey.py [lakes] [steps of the long search] [first lake]
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from rough_lake import ORIGIN_X, ORIGIN_Y, rough_lake
from trips.test_survey import FLOOR, driven_error, five_uneven_passes, left_after, mown_lawns, random_lines

from lakemap.trips.error_field import ErrorField, error_field
from lakemap.trips.lines import Line, candidate_lines
from lakemap.trips.of_map import follow_at
from lakemap.trips.route import Outing, duration_s
from lakemap.trips.survey import plan_lines

OUTING_S, SPEED_MPS = 3600.0, 1.8


def long_search(field: ErrorField, candidates: list[Line], outing: Outing, route: list[Line], steps: int) -> float:
    "Least error variance left by any route that simulated annealing meets: give up lines, put in others, keep time."
    rng = np.random.default_rng(0)
    now = best = left_after(field, route)
    for step in range(steps):
        heat = 0.02 * field.total * (1 - step / steps) ** 2 + 1e-9
        tried = list(route)
        for _ in range(rng.integers(1, 3)):
            if tried:
                tried.pop(int(rng.integers(len(tried))))
        for i in rng.permutation(len(candidates))[:60]:
            place = int(rng.integers(len(tried) + 1))
            line = candidates[i]
            line = line if rng.random() < 0.5 else line.turned()
            longer = [*tried[:place], line, *tried[place:]]
            if duration_s(longer, outing) <= outing.time_s:
                tried = longer
        left = left_after(field, tried)
        if left < now or rng.random() < np.exp((now - left) / heat):
            route, now, best = tried, left, min(best, left)
    return best


def main(lakes: int, steps: int, first: int) -> None:
    print("lake  planned  lawn   random  long search  of it  seconds | driven: planned  best lawn  best random")
    shares = []
    for seed in range(first, first + lakes):
        lake, rng = rough_lake(seed), np.random.default_rng(seed)
        frame = lake.frame(10.0)
        nodes, step_m = follow_at(frame, frame.water)
        nodes, step_m = (nodes, step_m) if len(nodes) < 500 else follow_at_most(frame, 400)
        before = five_uneven_passes(lake, rng)
        field = error_field(nodes, step_m, FLOOR, before)
        candidates = candidate_lines(frame, frame.water, field, before)
        outing = Outing(np.array([ORIGIN_X + 150.0, ORIGIN_Y + lake.half_y]), OUTING_S, SPEED_MPS)
        start = time.perf_counter()
        plan = plan_lines(field, candidates, outing)
        took = time.perf_counter() - start
        lawns = list(mown_lawns(candidates, outing))
        lawn = 1 - min(left_after(field, route) for route in lawns) / field.total
        chance = [random_lines(candidates, outing, rng) for _ in range(20)]
        luck = 1 - min(left_after(field, route) for route in chance) / field.total
        least = min(long_search(field, candidates, outing, list(begun), steps) for begun in (plan.lines, chance[0]))
        was, now, *beside = driven_error(lake, nodes, step_m, [[], plan.lines, *lawns, *chance], field.near(before))
        real = 1 - now / was, 1 - min(beside[: len(lawns)]) / was, 1 - min(beside[len(lawns) :]) / was
        shares.append((plan.gain, lawn, luck, 1 - least / field.total, *real))
        print(f"{seed:4d}  {plan.gain:7.3f}  {lawn:.3f}  {luck:.3f}   {shares[-1][3]:.3f}        "
              f"{plan.gain / shares[-1][3]:.2f}   {took:.1f}     |         ", *(f"{share:.3f}    " for share in real),
              flush=True)
    gain, lawn, luck, most, driven, driven_lawn, driven_luck = np.array(shares).T
    print(f"better than lawn and luck in {np.mean(gain > np.maximum(lawn, luck)):.0%}; least share of the long search "
          f"{(gain / most).min():.2f}, mean {(gain / most).mean():.2f}; driven, better than lawn and luck in "
          f"{np.mean(driven > np.maximum(driven_lawn, driven_luck)):.0%}")


def follow_at_most(frame, count):
    "Fewer places, so that the long search ends."
    import lakemap.trips.of_map as of_map

    of_map.MOST_NODES = count
    return follow_at(frame, frame.water)


if __name__ == "__main__":
    given = [int(word) for word in sys.argv[1:4]]
    main(*given, *(10, 1500, 100)[len(given):])
