"""Trips beside nearest-first on large cases, and beside an exact answer on small ones.

Twenty cases of 40 to 60 spots with time for 40 to 60 % of the full tour; cases of 10 to 14 spots against a dynamic
programme over subsets of its own, and the search alone, which larger cases get.
Run: python tests/bench/bench_trip.py [large cases] [small cases]
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from trips.test_tour import drawn, exact_worth, nearest_first

from lakemap.trips.tour import best_tour, searched_tour


def main(large: int, small: int) -> None:
    gains, took = [], []
    for case in range(large):
        task = drawn(500 + case, 40 + case % 21, 0.4 + 0.2 * case / max(large - 1, 1))
        start = time.perf_counter()
        order = best_tour(task)
        took.append(time.perf_counter() - start)
        gains.append(task.worth[order].sum() / task.worth[nearest_first(task)].sum())
    print(f"{large} large cases: worth over nearest-first mean {np.mean(gains):.3f}, least {min(gains):.3f}; "
          f"seconds mean {np.mean(took):.2f}, most {max(took):.2f}")
    tasks = [drawn(900 + case, 10 + case % 5, (0.3, 0.5, 0.7)[case % 3]) for case in range(small)]
    exact = np.array([exact_worth(task) for task in tasks])
    for name, tour in (("trip", best_tour), ("search alone", searched_tour)):
        shares = np.array([task.worth[tour(task)].sum() for task in tasks]) / exact
        print(f"{small} small cases, {name}: share of the exact worth mean {shares.mean():.4f}, least "
              f"{shares.min():.4f}; exact in {(shares > 1 - 1e-9).mean():.0%}")


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:3]) if len(sys.argv) > 2 else (20, 20))
